"""Percent agreement and the kappas of values on a fixed list of categories.

The kappas are those of statsmodels, with the large-sample standard errors of Fleiss, Cohen and
Everitt (1969). The list of categories is given and never taken from the values that occur: the
distance between two grades does not depend on which others were used.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.stats import binomtest
from statsmodels.stats.inter_rater import cohens_kappa, fleiss_kappa

from logger.agreement.estimates import LEVEL, Estimate, estimate, undefined
from logger.core.statements import SlotValue

Weighting = Literal["unweighted", "linear", "quadratic"]
WEIGHTINGS: Final[tuple[Weighting, ...]] = ("unweighted", "linear", "quadratic")
_OF_PAIRS: Final = 2


def contingency(
    pairs: Sequence[tuple[SlotValue, SlotValue]], categories: Sequence[SlotValue]
) -> NDArray[np.int64]:
    """Return how often each value of the first rater (rows) met each of the second (columns).

    Raises:
        ValueError: for a value that is not among the categories.

    """
    place = {category: index for index, category in enumerate(categories)}
    table = np.zeros((len(place), len(place)), dtype=np.int64)
    for pair in pairs:
        for value in pair:
            if value not in place:
                raise ValueError(f"{value!r} is not among the categories")
        table[place[pair[0]], place[pair[1]]] += 1
    return table


def percent_agreement(table: NDArray[np.int64]) -> Estimate:
    """Return the share of pairs in the same category, 0 to 1, with Wilson's interval."""
    count = int(table.sum())
    if count == 0:
        return undefined("no pairs")
    same = int(np.trace(table))
    ends = binomtest(same, count).proportion_ci(LEVEL, method="wilson")
    return estimate(same / count, float(ends.low), float(ends.high))


def disagreement_weights(count: int, weighting: Weighting) -> NDArray[np.float64]:
    """Return how bad each disagreement is, 0 to 1, shape (count, count): 0 on the diagonal."""
    apart = np.abs(np.subtract.outer(np.arange(count), np.arange(count))).astype(np.float64)
    if weighting == "unweighted":
        return (apart > 0).astype(np.float64)
    scaled = apart / max(count - 1, 1)
    return scaled if weighting == "linear" else scaled**2


def kappa(table: NDArray[np.int64], weights: Weighting | NDArray[np.float64]) -> Estimate:
    """Return Cohen's kappa of a square table of counts, shape (categories, categories).

    Args:
        table: the first rater in rows, the second in columns.
        weights: unweighted, linear or quadratic, or a matrix of disagreements scaled to 0 to 1.

    """
    if isinstance(weights, str):
        weights = disagreement_weights(len(table), weights)
    if table.sum() == 0:
        return undefined("no pairs")
    share = table / table.sum()
    expected = float((weights * np.outer(share.sum(axis=1), share.sum(axis=0))).sum())
    if np.isclose(expected, 0.0, atol=1e-12):
        return undefined("both raters gave one and the same value throughout")
    with warnings.catch_warnings():
        # A variance of 0 that is rounded to a little below gives a warning and no number.
        warnings.simplefilter("ignore", RuntimeWarning)
        found = cohens_kappa(table, weights)
        value, low, high = (float(found[key]) for key in ("kappa", "kappa_low", "kappa_upp"))
    same = float((weights * share).sum()) == 0.0
    lacking = "the raters never differ: such an interval would have no width" if same else ""
    return estimate(value, max(low, -1.0), min(high, 1.0), lacking)


def fleiss(ratings: Sequence[Sequence[SlotValue]], categories: Sequence[SlotValue]) -> Estimate:
    """Return Fleiss' kappa of many raters: one entry a finding, with each rater's value in it.

    It takes every difference for equally bad, and has no interval here.

    Raises:
        ValueError: for a value that is not among the categories.

    """
    if not ratings:
        return undefined("no finding was rated by all")
    place = {category: index for index, category in enumerate(categories)}
    counts = np.zeros((len(ratings), len(place)), dtype=np.int64)
    for line, values in zip(counts, ratings, strict=True):
        for value in values:
            if value not in place:
                raise ValueError(f"{value!r} is not among the categories")
            line[place[value]] += 1
    if np.count_nonzero(counts.sum(axis=0)) < _OF_PAIRS:
        return undefined("all raters gave one and the same value throughout")
    return Estimate(float(fleiss_kappa(counts)), reason="no interval is computed for it")
