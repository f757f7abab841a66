"""Intraclass correlations and limits of agreement against published examples."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray

from logger.agreement.measures import (
    icc_agreement,
    icc_consistency,
    limits_of_agreement,
    mean_squares,
)

SHROUT_FLEISS = np.array(
    [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]],
    dtype=np.float64,
)
"""Shrout and Fleiss 1979, table 2: 6 targets, 4 judges."""
WRIGHT = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
MINI = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]
"""Bland and Altman 1986: peak flow of 17 subjects by two meters, in l/min (from memory)."""


def test_published_analysis_of_variance_of_shrout_and_fleiss() -> None:
    """Between targets 11.24, between judges 32.49, residual 1.02."""
    found = mean_squares(SHROUT_FLEISS)
    assert round(found.between, 2) == 11.24
    assert round(found.of_raters, 2) == 32.49
    assert round(found.error, 2) == 1.02


def test_published_icc_of_shrout_and_fleiss() -> None:
    """ICC(2,1) .29 and ICC(3,1) .71; the intervals as an independent library gives them.

    pingouin 0.7.0 prints [0.02, 0.76] and [0.34, 0.95] for its ICC(A,1) and ICC(C,1).
    """
    two, three = icc_agreement(SHROUT_FLEISS), icc_consistency(SHROUT_FLEISS)
    for found, value, low, high in ((two, 0.29, 0.02, 0.76), (three, 0.71, 0.34, 0.95)):
        assert found.value is not None
        assert found.low is not None
        assert found.high is not None
        assert (round(found.value, 2), round(found.low, 2), round(found.high, 2)) == (
            value,
            low,
            high,
        )
    assert two.value == pytest.approx(0.28976, abs=5e-6)
    assert three.value == pytest.approx(0.71484, abs=5e-6)


def test_published_limits_of_bland_and_altman() -> None:
    """Mean difference -2.1, SD 38.8; its interval -22.0 to 17.8. They took 2 SD, here 1.96."""
    found = limits_of_agreement(np.array([MINI, WRIGHT], dtype=np.float64).T)
    assert found.bias.value is not None
    assert found.bias.low is not None
    assert found.bias.high is not None
    assert found.low.value is not None
    assert found.low.low is not None
    assert round(found.bias.value, 1) == -2.1
    assert round((found.bias.value - found.low.value) / 1.96, 1) == 38.8
    assert (round(found.bias.low, 1), round(found.bias.high, 1)) == (-22.0, 17.8)
    # The lower limit's interval is -114.3 to -45.1 there: as wide as this one.
    assert found.low.high is not None
    assert found.low.high - found.low.low == pytest.approx(114.3 - 45.1, abs=0.3)


MATRICES = arrays(np.float64, (6, 3), elements=st.integers(0, 180).map(float))


@given(MATRICES)
def test_icc_is_at_most_one_and_keeps_its_interval_about_it(values: NDArray[np.float64]) -> None:
    for found in (icc_agreement(values), icc_consistency(values)):
        if found.value is None:
            assert found.reason
            continue
        assert found.value <= 1 + 1e-9
        if found.low is not None and found.high is not None:
            assert found.low - 1e-9 <= found.value <= found.high + 1e-9


@given(MATRICES, st.integers(1, 50))
def test_an_offset_of_one_rater_lowers_agreement_and_leaves_consistency(
    values: NDArray[np.float64], offset: int
) -> None:
    moved = values + np.array([0.0, 0.0, float(offset)])
    before, after = icc_consistency(values), icc_consistency(moved)
    if before.value is not None and after.value is not None:
        assert after.value == pytest.approx(before.value, abs=1e-6)
    steady = values[:, :1] + np.array([0.0, 0.0, float(offset)])
    found = icc_agreement(steady)
    if icc_consistency(steady).value is not None:
        assert icc_consistency(steady).value == 1
        assert found.value is not None
        assert found.value < 1


def test_what_is_not_defined_is_none_with_the_reason() -> None:
    same = np.full((12, 2), 5.0)
    for icc in (icc_agreement, icc_consistency):
        assert icc(same).value is None
        assert "one and the same value" in icc(same).reason
        assert icc(np.zeros((1, 2))).value is None
        assert icc(np.zeros((0, 2))).value is None
    assert icc_agreement(np.array([[1.0, 2.0], [2.0, 1.0]])).value is None
    assert icc_consistency(np.array([[1.0, 3.0]] * 4)).value is None
    assert limits_of_agreement(np.zeros((1, 2))).bias.value is None
    constant = limits_of_agreement(np.array([[1.0, 3.0], [5.0, 7.0]]))
    assert (constant.bias.value, constant.bias.low) == (2.0, None)
    assert "the same" in constant.bias.reason


def test_second_less_first_is_the_difference() -> None:
    found = limits_of_agreement(np.array([[10.0, 15.0], [20.0, 27.0], [30.0, 33.0]]))
    assert found.bias.value == 5
