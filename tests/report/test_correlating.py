"""Limited directions beside the motions they are taught to go with."""

from __future__ import annotations

from typing import Any

import pytest
from invented import PACK, row

from logger.core.events import Finding, RowStatus
from logger.report.correlating import Direction, Outcome, directions
from logger.report.sides import Moves
from logger.report.tested import numbered, stages

GLIDE = "inferior_glide"


def found(*findings: Finding) -> tuple[Direction, ...]:
    return directions(stages(numbered(findings))[0].tested, PACK)


def limited_right() -> list[Finding]:
    """Return an inferior glide that moves less on the right."""
    return [row(0, "right", GLIDE, mobility_score=1), row(5, "left", GLIDE, mobility_score=3)]


def ranges(right_deg: int | None, left_deg: int | None, **slots: Any) -> list[Finding]:
    """Return the passive abduction of both sides."""
    return [
        row(10, "right", "abduction", mode="passive", range_deg=right_deg, **slots),
        row(15, "left", "abduction", mode="passive", range_deg=left_deg),
    ]


def outcome(*findings: Finding) -> Outcome:
    """Return how abduction goes with the inferior glide of the right."""
    (direction,) = found(*findings)
    return direction.motions[0].outcome


@pytest.mark.parametrize(
    ("right_deg", "left_deg", "expected"),
    [
        # The pack's measurement error is 15 degrees, and has to be exceeded.
        (100, 170, Outcome.AGREES),
        (154, 170, Outcome.AGREES),
        (155, 170, Outcome.DOES_NOT_AGREE),
        (170, 170, Outcome.DOES_NOT_AGREE),
        # Further than the other side is not limited, by however much.
        (170, 100, Outcome.DOES_NOT_AGREE),
        (None, 170, Outcome.NOT_COMPARED),
        (100, None, Outcome.NOT_COMPARED),
    ],
)
def test_a_motion_agrees_only_beyond_measurement_error(
    right_deg: int | None, left_deg: int | None, expected: Outcome
) -> None:
    assert outcome(*limited_right(), *ranges(right_deg, left_deg)) is expected


def test_what_was_not_screened_is_told_so() -> None:
    (direction,) = found(*limited_right())
    assert direction.side == "right"
    assert [m.ranges.motion for m in direction.motions] == ["abduction", "flexion"]
    assert {m.outcome for m in direction.motions} == {Outcome.NOT_SCREENED}
    (only_left,) = found(*limited_right(), ranges(100, 170)[1])
    assert only_left.motions[0].outcome is Outcome.NOT_SCREENED
    assert only_left.motions[0].ranges.why == "only on the left"
    (only_right,) = found(*limited_right(), ranges(100, 170)[0])
    assert only_right.motions[0].outcome is Outcome.NOT_COMPARED
    assert only_right.motions[0].ranges.why == "no degrees on the left side"


def test_passive_goes_before_active_and_modes_are_not_mixed() -> None:
    active = [
        row(20, "right", "abduction", mode="active", range_deg=170),
        row(25, "left", "abduction", mode="active", range_deg=170),
    ]
    (direction,) = found(*limited_right(), *ranges(100, 170), *active)
    assert direction.motions[0].ranges.mode == "passive"
    (direction,) = found(*limited_right(), *active)
    assert direction.motions[0].ranges.mode == "active"
    assert direction.motions[0].outcome is Outcome.DOES_NOT_AGREE
    (direction,) = found(*limited_right(), ranges(100, 170)[0], active[1])
    assert direction.motions[0].outcome is Outcome.NOT_COMPARED
    assert "different modes" in direction.motions[0].ranges.why


def test_rows_to_check_count_only_as_to_check() -> None:
    doubtful: dict[str, Any] = {"reasons": ("range_deg: 100 or 110?",)}
    assert outcome(*limited_right(), *ranges(100, 170, **doubtful)) is Outcome.TO_CHECK
    glide = [row(0, "right", GLIDE, mobility_score=1, reasons=("heard unsurely",)),
             row(5, "left", GLIDE, mobility_score=3)]  # fmt: skip
    assert outcome(*glide, *ranges(100, 170)) is Outcome.TO_CHECK


def test_withdrawn_rows_do_not_count() -> None:
    gone: dict[str, Any] = {"status": RowStatus.WITHDRAWN}
    assert outcome(*limited_right(), *ranges(100, 170, **gone)) is Outcome.NOT_SCREENED
    assert not found(row(0, "right", GLIDE, mobility_score=1, **gone), limited_right()[1])


def test_contradictory_ranges_are_to_check_and_give_no_number() -> None:
    again = row(30, "right", "abduction", mode="passive", range_deg=130)
    (direction,) = found(*limited_right(), *ranges(100, 170), again)
    assert direction.motions[0].outcome is Outcome.TO_CHECK
    assert direction.motions[0].ranges.lost_deg is None


def test_contradictory_mobility_is_held_against_no_motion() -> None:
    rows = [row(0, "right", GLIDE, mobility="hypomobile"), row(3, "right", GLIDE,
            mobility="normal"), row(5, "left", GLIDE, mobility="normal")]  # fmt: skip
    (direction,) = found(*rows, *ranges(100, 170))
    assert direction.contradictory
    assert not direction.compared
    assert not direction.motions


@pytest.mark.parametrize(
    ("left", "moves"),
    [
        ([], Moves.UNKNOWN),
        ([row(5, "left", GLIDE, mobility_score=1)], Moves.ALIKE),
        ([row(5, "left", GLIDE, mobility_score=0)], Moves.MORE),
    ],
)
def test_a_direction_not_limited_against_the_other_side_is_held_against_no_motion(
    left: list[Finding], moves: Moves
) -> None:
    right = next(
        d for d in found(row(0, "right", GLIDE, mobility_score=1), *left, *ranges(100, 170))
        if d.side == "right"
    )  # fmt: skip
    assert right.against.moves is moves
    assert not right.compared
    assert not right.motions


def test_both_sides_can_be_limited_in_different_directions() -> None:
    rows = [
        *limited_right(),
        row(20, "right", "posterior_glide", mobility="normal"),
        row(25, "left", "posterior_glide", mobility="hypomobile"),
    ]
    assert [(d.side, d.test) for d in found(*rows)] == [
        ("right", "inferior_glide"),
        ("left", "posterior_glide"),
    ]


def test_distraction_is_taught_for_the_joint_as_a_whole() -> None:
    rows = [row(0, "right", "lateral_distraction", mobility_score=2),
            row(5, "left", "lateral_distraction", mobility_score=3)]  # fmt: skip
    (direction,) = found(*rows, *ranges(100, 170))
    assert direction.whole_joint
    assert direction.compared
    assert not direction.motions


def test_a_normal_or_loose_direction_is_no_limited_one() -> None:
    assert not found(row(0, "right", GLIDE, mobility_score=3), row(5, "left", GLIDE,
                     mobility_score=5), *ranges(100, 170))  # fmt: skip
