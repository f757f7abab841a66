"""The capsular pattern as proportional loss, against shares by hand and published stages."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from invented import PACK, row

from logger.core.events import Finding, Side
from logger.report.correlating import Pattern, PatternFound, pattern_of, patterns
from logger.report.tested import numbered, stages

ORDER = ("external_rotation", "abduction", "internal_rotation")
FULL = (90, 180, 70)
"""The ranges of the AAOS as in Norkin and White 2016, table A.1 (seen): lateral rotation 90,
abduction 180, medial rotation 70."""
Degrees = tuple[int | None, int | None, int | None]


def rows(right: Degrees, left: Degrees, mode: str = "passive") -> list[Finding]:
    both: list[tuple[Side, Degrees]] = [("right", right), ("left", left)]
    return [
        row(10.0 * i + 5 * (side == "left"), side, motion, mode=mode, range_deg=deg)
        for side, degrees in both
        for i, (motion, deg) in enumerate(zip(ORDER, degrees, strict=True))
    ]


def of_right(*findings: Finding) -> PatternFound:
    found = pattern_of(stages(numbered(findings))[0].tested, "right", PACK)
    assert found is not None
    return found


def test_shares_by_hand() -> None:
    """(90 - 36) / 90 = 0.6, (180 - 108) / 180 = 0.4, (70 - 56) / 70 = 0.2."""
    found = of_right(*rows((36, 108, 56), FULL))
    assert [loss.share for loss in found.losses] == pytest.approx([0.6, 0.4, 0.2])
    assert found.pattern is Pattern.MET


@pytest.mark.parametrize(
    ("stage", "lost", "expected"),
    [
        # Ombregt's stages (seen): degrees lost of external rotation, abduction, internal rotation.
        ("slight", (30, 10, 0), Pattern.MET),
        ("moderate, least", (45, 20, 5), Pattern.MET),
        # At the upper end of the same stage: 30 / 180 = 0.17 and 10 / 70 = 0.14.
        ("moderate, most", (45, 30, 10), Pattern.MET),
        # 45 / 180 = 0.25 of abduction and 15 / 70 = 0.21 of internal rotation.
        ("severe, least", (60, 45, 15), Pattern.MET),
        # 30 / 70 = 0.43 of internal rotation: in degrees still the order, as shares no longer.
        ("severe, most", (90, 45, 30), Pattern.NOT_MET),
    ],
)
def test_published_stages(stage: str, lost: tuple[int, int, int], expected: Pattern) -> None:
    right = tuple(full - gone for full, gone in zip(FULL, lost, strict=True))
    assert of_right(*rows((right[0], right[1], right[2]), FULL)).pattern is expected, stage


def test_rotation_lost_most_with_the_arm_raised_is_not_met() -> None:
    """Rundquist and Ludewig 2004 (abstract): internal rotation lost most in 23 of 25."""
    assert of_right(*rows((60, 130, 15), FULL)).pattern is Pattern.NOT_MET


@pytest.mark.parametrize(
    ("right", "left", "expected", "why"),
    [
        ((90, 180, 70), FULL, Pattern.NOT_MET, "not limited by more than measurement error"),
        # 15 degrees are the measurement error itself.
        ((75, 175, 70), FULL, Pattern.NOT_MET, "not limited by more than measurement error"),
        ((36, 108, None), FULL, Pattern.NOT_COMPUTABLE, "internal rotation: no degrees"),
        ((36, 108, 56), (0, 180, 70), Pattern.NOT_COMPUTABLE, "a range of 0 degrees"),
        # Equal shares are no order.
        ((45, 90, 35), FULL, Pattern.NOT_MET, ""),
    ],
)
def test_not_met_and_not_computable(
    right: Degrees, left: Degrees, expected: Pattern, why: str
) -> None:
    found = of_right(*rows(right, left))
    assert found.pattern is expected
    assert why in found.why


def test_an_order_within_measurement_error_is_told() -> None:
    """0.50, 0.42 and 0.40: a 15 degree error is more than 0.02 of 70 and than 0.08 of 90."""
    found = of_right(*rows((45, 105, 42), FULL))
    assert found.pattern is Pattern.MET
    assert found.why.count("within measurement error") == 2


def test_one_mode_for_all_three() -> None:
    """The passive ranges lack one, the active ones are whole."""
    found = of_right(*rows((36, 108, None), FULL), *rows((40, 120, 60), FULL, "active"))
    assert {loss.ranges.mode for loss in found.losses} == {"active"}
    assert found.pattern is Pattern.MET


def test_a_row_to_check_makes_it_to_check() -> None:
    said = rows((36, 108, 56), FULL)
    doubtful = row(0, "right", ORDER[0], mode="passive", range_deg=36, reasons=("heard unsurely",))
    assert of_right(doubtful, *said[1:]).pattern is Pattern.TO_CHECK


def test_the_side_is_the_involved_one_and_both_where_that_is_not_known() -> None:
    tested = stages(numbered(rows((36, 108, 56), FULL)))[0].tested
    assert [one.side for one in patterns(tested, "right", PACK)] == ["right"]
    both = {one.side: one.pattern for one in patterns(tested, None, PACK)}
    assert both == {"right": Pattern.MET, "left": Pattern.NOT_MET}


@given(st.lists(st.integers(1, 180), min_size=6, max_size=6))
def test_the_pattern_is_met_only_in_order(degrees: list[int]) -> None:
    right, left = tuple(degrees[:3]), tuple(degrees[3:])
    found = of_right(*rows((right[0], right[1], right[2]), (left[0], left[1], left[2])))
    shares = [1 - mine / other for mine, other in zip(right, left, strict=True)]
    assert found.pattern in (Pattern.MET, Pattern.NOT_MET)
    assume(all(abs(a - b) > 1e-9 for a, b in itertools.pairwise(shares)))
    assert (found.pattern is Pattern.MET) == (
        shares[0] > shares[1] > shares[2] and left[0] - right[0] > 15
    )
