"""One side's mobility against the other's."""

from __future__ import annotations

from typing import Any

import pytest
from invented import PACK, row

from logger.core.events import RowStatus, Side
from logger.report.sides import Difference, Moves, difference
from logger.report.tested import What, numbered, stages

STIFF: dict[str, Any] = {"mobility": "hypomobile"}


def against(right: dict[str, Any] | None, left: dict[str, Any] | None) -> Difference:
    """Return the right side against the left."""
    sides: list[tuple[Side, dict[str, Any] | None]] = [("right", right), ("left", left)]
    findings = [
        row(10.0 * (side == "left"), side, "inferior_glide", **slots)
        for side, slots in sides
        if slots is not None
    ]
    found = stages(numbered(findings))[0].tested
    return difference(
        found.get(What("right", "inferior_glide")), found.get(What("left", "inferior_glide")), PACK
    )


@pytest.mark.parametrize(
    ("right", "left", "moves", "steps"),
    [
        ({"mobility_score": 1}, {"mobility_score": 3}, Moves.LESS, -2),
        ({"mobility_score": 5}, {"mobility_score": 3}, Moves.MORE, 2),
        ({"mobility_score": 2}, {"mobility_score": 2}, Moves.ALIKE, 0),
        # Both hypomobile, one more so: the finer scale decides.
        ({"mobility_score": 1}, {"mobility_score": 2}, Moves.LESS, -1),
        # A word against a score: the words decide, and no step is made up.
        (STIFF, {"mobility_score": 3}, Moves.LESS, None),
        (STIFF, {"mobility": "normal"}, Moves.LESS, None),
        ({"mobility": "normal"}, {"mobility": "hypermobile"}, Moves.LESS, None),
        (STIFF, STIFF, Moves.ALIKE, None),
        (STIFF, None, Moves.UNKNOWN, None),
        (STIFF, {"pain": 3}, Moves.UNKNOWN, None),
        # What was said aloud of the other side counts where the values cannot tell.
        ({**STIFF, "comparison": "against_left"}, None, Moves.LESS, None),
        ({**STIFF, "comparison": "against_other_side"}, STIFF, Moves.LESS, None),
        ({**STIFF, "comparison": "against_right"}, None, Moves.UNKNOWN, None),
        ({"mobility": "normal", "comparison": "against_left"}, None, Moves.UNKNOWN, None),
    ],
)
def test_difference(
    right: dict[str, Any], left: dict[str, Any] | None, moves: Moves, steps: int | None
) -> None:
    found = against(right, left)
    assert (found.moves, found.steps) == (moves, steps)
    assert not found.to_check


@pytest.mark.parametrize(
    ("right", "left"),
    [
        # "Stiffer than the left", which is stiffer still.
        ({"mobility_score": 2, "comparison": "against_left"}, {"mobility_score": 1}),
        # "The same as the left", which has another score.
        ({"mobility_score": 2, "comparison": "same_as_left"}, {"mobility_score": 1}),
        ({**STIFF, "reasons": ("mobility: hypomobile or normal?",)}, {"mobility": "normal"}),
        ({**STIFF, "comparison": "against_left", "reasons": ("heard unsurely",)}, None),
    ],
)
def test_a_difference_to_check(right: dict[str, Any], left: dict[str, Any] | None) -> None:
    assert against(right, left).to_check


def test_a_side_said_in_two_ways_is_not_compared() -> None:
    findings = [
        row(0, "right", "inferior_glide", mobility="hypomobile"),
        row(5, "right", "inferior_glide", mobility="normal"),
        row(9, "left", "inferior_glide", mobility="normal"),
    ]
    found = stages(numbered(findings))[0].tested
    right, left = (found[What(side, "inferior_glide")] for side in ("right", "left"))
    assert difference(right, left, PACK).moves is Moves.UNKNOWN
    assert difference(right, left, PACK).to_check


def test_a_withdrawn_other_side_is_not_tested() -> None:
    found = against(STIFF, {"mobility": "normal", "status": RowStatus.WITHDRAWN})
    assert found.moves is Moves.UNKNOWN
    assert found.why == "the other side was not tested"
