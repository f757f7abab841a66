"""Agreement on numbers: intraclass correlations and limits of agreement.

The formulas are those of Shrout and Fleiss (1979), with the intervals of McGraw and Wong (1996,
from memory; those of one matrix were compared with an independent library's), and of Bland and
Altman (1986 and 1999).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.stats import f as f_distribution
from scipy.stats import t as t_distribution

from logger.agreement.estimates import LEVEL, Estimate, estimate, undefined

_UPPER: Final = 1 - (1 - LEVEL) / 2
_LEAST: Final = 2
_CONSTANT: Final = "the raters differ by the same everywhere: the interval is not defined"
LIMIT_SDS: Final = 1.96
"""Bland and Altman: about 95 % of differences lie within so many standard deviations."""


@dataclass(frozen=True, slots=True)
class Limits:
    """Within what differences two raters stay; in the unit of the values, second less first."""

    bias: Estimate
    low: Estimate
    high: Estimate


@dataclass(frozen=True, slots=True)
class MeanSquares:
    """A two-way analysis of variance without repetition."""

    findings: int
    raters: int
    between: float
    of_raters: float
    error: float


def mean_squares(values: NDArray[np.float64]) -> MeanSquares:
    """Return the mean squares of `values`, shape (findings, raters), both at least 2."""
    findings, raters = values.shape
    by_finding, by_rater = values.mean(axis=1), values.mean(axis=0)
    rest = values - by_finding[:, None] - by_rater[None, :] + values.mean()
    return MeanSquares(
        findings,
        raters,
        raters * float(by_finding.var(ddof=1)),
        findings * float(by_rater.var(ddof=1)),
        float((rest**2).sum()) / ((findings - 1) * (raters - 1)),
    )


def icc_agreement(values: NDArray[np.float64]) -> Estimate:
    """Return ICC(2,1) of `values`, shape (findings, raters): single ratings, raters at random."""
    if trouble := _trouble(values):
        return undefined(trouble)
    found = mean_squares(values)
    n, k = found.findings, found.raters
    whole = found.between + (k - 1) * found.error + k * (found.of_raters - found.error) / n
    if _is_zero(whole, values):
        return undefined("neither findings nor raters differ from each other on average")
    value = (found.between - found.error) / whole
    if _is_zero(found.error, values):
        return Estimate(value, reason=_CONSTANT)
    return estimate(value, *_agreement_ends(found, value))


def _agreement_ends(found: MeanSquares, value: float) -> tuple[float, float]:
    n, k = found.findings, found.raters
    ratio = found.of_raters / found.error
    inner = n * (1 + (k - 1) * value) - k * value
    freedom = ((k - 1) * (n - 1) * (k * value * ratio + inner) ** 2) / (
        (n - 1) * (k * value * ratio) ** 2 + inner**2
    )
    above = float(f_distribution.ppf(_UPPER, n - 1, freedom))
    below = float(f_distribution.ppf(_UPPER, freedom, n - 1))
    spread = k * found.of_raters + (k * n - k - n) * found.error
    low = n * (found.between - above * found.error) / (above * spread + n * found.between)
    high = n * (below * found.between - found.error) / (spread + n * below * found.between)
    return low, high


def icc_consistency(values: NDArray[np.float64]) -> Estimate:
    """Return ICC(3,1) of `values`, shape (findings, raters): these raters, their offsets aside."""
    if trouble := _trouble(values):
        return undefined(trouble)
    found = mean_squares(values)
    n, k = found.findings, found.raters
    if _is_zero(found.error, values):
        if _is_zero(found.between, values):
            return undefined("each rater gave one and the same value throughout")
        return Estimate(1.0, reason=_CONSTANT)
    ratio = found.between / found.error
    low = ratio / float(f_distribution.ppf(_UPPER, n - 1, (n - 1) * (k - 1)))
    high = ratio * float(f_distribution.ppf(_UPPER, (n - 1) * (k - 1), n - 1))
    ends = ((low - 1) / (low + k - 1), (high - 1) / (high + k - 1))
    return estimate((ratio - 1) / (ratio + k - 1), *ends)


def limits_of_agreement(values: NDArray[np.float64]) -> Limits:
    """Return the limits of agreement of `values`, shape (findings, 2)."""
    if len(values) < _LEAST:
        none = undefined("fewer than two pairs")
        return Limits(none, none, none)
    apart = values[:, 1] - values[:, 0]
    count, sd = len(apart), float(apart.std(ddof=1))
    factor = float(t_distribution.ppf(_UPPER, count - 1))
    bias_by, limit_by = factor * sd / count**0.5, factor * sd * (3 / count) ** 0.5
    lacking = "" if sd > 0 else "all differences are the same"

    def about(value: float, by: float) -> Estimate:
        return estimate(value, value - by, value + by, lacking)

    bias = float(apart.mean())
    return Limits(
        about(bias, bias_by),
        about(bias - LIMIT_SDS * sd, limit_by),
        about(bias + LIMIT_SDS * sd, limit_by),
    )


def _trouble(values: NDArray[np.float64]) -> str:
    findings, raters = values.shape
    if findings < _LEAST or raters < _LEAST:
        return "fewer than two findings rated by all"
    if np.all(values == values.flat[0]):
        return "all raters gave one and the same value throughout"
    return ""


def _is_zero(square: float, values: NDArray[np.float64]) -> bool:
    return square <= float(values.var()) * 1e-12
