"""Kappas against published examples, each named, and at the edges."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from logger.agreement.categories import (
    WEIGHTINGS,
    Weighting,
    contingency,
    disagreement_weights,
    fleiss,
    kappa,
    percent_agreement,
)
from logger.agreement.estimates import Estimate

COHEN_1968 = np.array([[88, 14, 18], [10, 40, 10], [2, 6, 12]])
"""Cohen 1968, table 1, as given in the help of a psychometrics package for R."""
FLEISS_1969 = np.array([[106, 10, 4], [22, 28, 10], [2, 12, 6]])
"""Fleiss, Cohen and Everitt 1969, with similarity weights, from the same help."""
SKIN = np.array([[10, 4, 1, 0], [5, 10, 12, 2], [2, 4, 12, 5], [0, 2, 6, 13]])
"""Two dermatologists on a skin condition: the agreement example of a statistics manual (FREQ)."""
SIMILAR_1969 = np.array([[1, 0, 4 / 9], [0, 1, 2 / 3], [4 / 9, 2 / 3, 1]])


def error_of(found: Estimate) -> float:
    """Return the standard error behind a symmetric 95 % interval."""
    assert found.low is not None
    assert found.high is not None
    return (found.high - found.low) / 2 / 1.959964


@pytest.mark.parametrize(
    ("table", "weights", "printed", "digits"),
    [
        # Published by Cohen 1968.
        (COHEN_1968, "unweighted", 0.492, 3),
        (COHEN_1968, np.array([[0, 1, 3], [1, 0, 6], [3, 6, 0]]) / 6, 0.348, 3),
        (COHEN_1968, np.array([[0, 1, 4], [1, 0, 6], [2, 2, 0]]) / 6, 0.353, 3),
        # Published by Fleiss, Cohen and Everitt 1969 (the figures from memory).
        (FLEISS_1969, "unweighted", 0.429, 3),
        (FLEISS_1969, 1 - SIMILAR_1969, 0.507, 3),
        # Printed in the manual (from memory); the quadratic one is computed from the formula.
        (SKIN, "unweighted", 0.3449, 4),
        (SKIN, "linear", 0.5082, 4),
        (SKIN, "quadratic", 0.66072, 5),
        # Computed from the formula, no publication.
        (COHEN_1968, "linear", 0.47368, 5),
        (COHEN_1968, "quadratic", 0.45455, 5),
    ],
)
def test_published_kappas_to_their_digits(
    table: NDArray[np.int64], weights: Weighting | NDArray[np.float64], printed: float, digits: int
) -> None:
    value = kappa(table, weights).value
    assert value is not None
    assert round(value, digits) == printed


@pytest.mark.parametrize(
    ("table", "weights", "error"),
    [
        # By the formula of Fleiss, Cohen and Everitt 1969, computed by hand.
        (COHEN_1968, "unweighted", 0.05100),
        (COHEN_1968, np.array([[0, 1, 3], [1, 0, 6], [3, 6, 0]]) / 6, 0.07550),
        (FLEISS_1969, "unweighted", 0.05371),
        (FLEISS_1969, 1 - SIMILAR_1969, 0.05699),
        (SKIN, "unweighted", 0.0724),
        (SKIN, "linear", 0.06551),
    ],
)
def test_intervals_follow_from_the_standard_errors_of_1969(
    table: NDArray[np.int64], weights: Weighting | NDArray[np.float64], error: float
) -> None:
    assert error_of(kappa(table, weights)) == pytest.approx(
        error, abs=6e-6 if error < 0.07 else 6e-5
    )


def test_fleiss_kappa_of_many_raters() -> None:
    """A worked example in an online encyclopaedia: 14 raters, 10 subjects, 0.210 (from memory)."""
    counts = [
        (0, 0, 0, 0, 14),
        (0, 2, 6, 4, 2),
        (0, 0, 3, 5, 6),
        (0, 3, 9, 2, 0),
        (2, 2, 8, 1, 1),
        (7, 7, 0, 0, 0),
        (3, 2, 6, 3, 0),
        (2, 5, 3, 2, 2),
        (6, 5, 2, 1, 0),
        (0, 2, 2, 3, 7),
    ]
    ratings = [[c for c, n in enumerate(line) for _ in range(n)] for line in counts]
    value = fleiss(ratings, range(5)).value
    assert value is not None
    assert round(value, 3) == 0.210


PAIRS = st.lists(st.tuples(st.integers(0, 6), st.integers(0, 6)), min_size=1, max_size=30)


@given(PAIRS)
def test_kappas_stay_in_their_bounds_and_do_not_depend_on_who_is_first(
    pairs: list[tuple[int, int]],
) -> None:
    table = contingency(pairs, range(7))
    for weighting in WEIGHTINGS:
        found, swapped = kappa(table, weighting), kappa(table.T, weighting)
        assert (found.value is None) == (swapped.value is None)
        if found.value is None:
            assert found.reason
            continue
        assert swapped.value == pytest.approx(found.value)
        assert -1 - 1e-9 <= found.value <= 1 + 1e-9
        if found.low is not None and found.high is not None:
            assert found.low <= found.value <= found.high
    if all(a == b for a, b in pairs) and len(set(pairs)) > 1:
        assert kappa(table, "unweighted").value == pytest.approx(1)


@given(st.lists(st.tuples(st.integers(0, 1), st.integers(0, 1)), min_size=2, max_size=30))
def test_two_categories_know_no_distance(pairs: list[tuple[int, int]]) -> None:
    """With two categories all three weightings are one, and so is the closed form."""
    table = contingency(pairs, (0, 1))
    values = [kappa(table, weighting).value for weighting in WEIGHTINGS]
    if values[0] is None:
        assert values == [None] * 3
        return
    (a, b), (c, d) = table
    closed = 2 * (a * d - b * c) / ((a + b) * (b + d) + (a + c) * (c + d))
    assert values == pytest.approx([closed] * 3)


def test_categories_are_the_packs_and_not_those_that_occur() -> None:
    """Nobody used 3: from 2 to 4 is still two steps. An unused end changes nothing."""
    pairs = [(1, 1), (2, 2), (4, 4), (2, 4), (4, 2), (1, 2)]
    given_list = kappa(contingency(pairs, range(7)), "quadratic").value
    from_data = kappa(contingency(pairs, (1, 2, 4)), "quadratic").value
    without_ends = kappa(contingency(pairs, range(1, 5)), "quadratic").value
    assert given_list == pytest.approx(without_ends)
    assert given_list != pytest.approx(from_data, abs=1e-3)
    with pytest.raises(ValueError, match="7 is not among"):
        contingency([(1, 7)], range(7))


def test_what_is_not_defined_is_none_and_never_one() -> None:
    one_value = contingency([(3, 3)] * 20, range(7))
    for weighting in WEIGHTINGS:
        found = kappa(one_value, weighting)
        assert found.value is None
        assert "one and the same value" in found.reason
        assert kappa(contingency([], range(7)), weighting).value is None
        assert kappa(contingency([(3, 3)], (3,)), weighting).value is None
    assert fleiss([(1, 1, 1)] * 5, range(7)).value is None
    assert fleiss([], range(7)).value is None
    assert percent_agreement(contingency([], range(7))).value is None


def test_raters_who_always_agree_have_a_kappa_of_one_and_no_interval_without_width() -> None:
    found = kappa(contingency([(1, 1), (2, 2), (5, 5)] * 9, range(7)), "linear")
    assert found.value == pytest.approx(1)
    assert found.low is None
    assert "never differ" in found.reason


def test_percent_agreement_has_wilsons_interval() -> None:
    """Wilson 1927 for 81 of 263: 0.2553 to 0.3662, in Newcombe 1998, table I (from memory)."""
    table = np.array([[81, 182], [0, 0]])
    found = percent_agreement(table)
    assert found.value == pytest.approx(81 / 263)
    assert found.low == pytest.approx(0.2553, abs=5e-5)
    assert found.high == pytest.approx(0.3662, abs=5e-5)


def test_weights_go_from_nothing_to_one() -> None:
    linear, quadratic = (disagreement_weights(7, w) for w in WEIGHTINGS[1:])
    assert linear[0, 6] == quadratic[0, 6] == 1
    assert linear[2, 4] == pytest.approx(2 / 6)
    assert quadratic[2, 4] == pytest.approx(4 / 36)
    assert disagreement_weights(7, "unweighted").sum() == 42
