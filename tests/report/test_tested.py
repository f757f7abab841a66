"""Rows of one test as one: what counts, what contradicts, what is another occasion."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from invented import row

from logger.core.events import Finding, RowStatus
from logger.core.session import Bout
from logger.report.tested import OneTest, What, numbered, stages

GLIDE = What("right", "inferior_glide")


def of_rows(*findings: Finding) -> OneTest:
    """Return the one test on the right that the rows tell of."""
    return stages(numbered(findings))[0].tested[GLIDE]


def test_two_rows_complete_each_other() -> None:
    one = of_rows(
        row(10, "right", "inferior_glide", mobility_score=1),
        row(20, "right", "inferior_glide", pain=4),
    )
    assert one.said("mobility").value == "hypomobile"
    assert one.said("pain").number == 4
    assert not one.contradictions
    assert [r.number for r in one.rows] == [1, 2]


def test_rows_that_differ_contradict_and_give_no_value() -> None:
    one = of_rows(
        row(10, "right", "inferior_glide", mobility="hypomobile", pain=3),
        row(20, "right", "inferior_glide", mobility="normal", pain=3),
    )
    assert one.said("mobility").values == ("hypomobile", "normal")
    assert one.said("mobility").value is None
    assert not one.said("mobility").sure
    assert one.contradictions == ("mobility",)
    assert one.said("pain").sure


def test_a_withdrawn_row_does_not_count_and_keeps_its_number() -> None:
    one = of_rows(
        row(10, "right", "inferior_glide", mobility="normal", status=RowStatus.WITHDRAWN),
        row(20, "right", "inferior_glide", mobility="hypomobile"),
    )
    assert one.said("mobility").value == "hypomobile"
    assert [r.number for r in one.rows] == [2]


def test_what_only_a_row_to_check_says_is_to_check() -> None:
    doubtful = row(10, "right", "inferior_glide", pain=5, reasons=("pain: 5 or 9?",))
    assert of_rows(doubtful).said("pain").to_check
    sure = row(20, "right", "inferior_glide", pain=5)
    assert of_rows(doubtful, sure).said("pain").sure, "another row says the same"
    other = replace(sure, pain=6)
    assert not of_rows(doubtful, other).said("pain").sure


@pytest.mark.parametrize(
    "finding",
    [
        row(10, None, "inferior_glide", mobility="normal"),
        replace(row(10, "right", "inferior_glide"), motion="flexion"),
        replace(row(10, "right", "inferior_glide"), test=None),
        row(10, "right", "inferior_glide", status=RowStatus.WITHDRAWN),
    ],
)
def test_a_row_that_tells_of_no_one_test_is_left_out(finding: Finding) -> None:
    (stage,) = stages(numbered([finding]))
    assert not stage.tested


def test_a_test_repeated_after_a_bout_is_no_contradiction() -> None:
    rows = numbered(
        [
            row(10, "right", "inferior_glide", mobility_score=1),
            row(15, "left", "inferior_glide", mobility_score=3),
            row(60, "right", "inferior_glide", mobility_score=2),
            row(65, "left", "inferior_glide", mobility_score=3),
        ]
    )
    before, after = stages(rows, [Bout(30, 50, "right", "inferior_glide")])
    assert before.tested[GLIDE].said("mobility_score").number == 1
    assert after.tested[GLIDE].said("mobility_score").number == 2
    # The bout was on the right: the left was tested twice before any.
    assert len(before.tested[GLIDE.across()].rows) == 2
    assert GLIDE.across() not in after.tested


def test_a_bout_of_unknown_side_parts_both_sides() -> None:
    rows = numbered([row(60, "left", "inferior_glide", mobility_score=3)])
    assert [stage.bouts_before for stage in stages(rows, [Bout(30, None)])] == [0, 1]


def test_modes_are_never_mixed() -> None:
    rows = numbered(
        [
            row(10, "right", "flexion", mode="active", range_deg=120),
            row(20, "right", "flexion", mode="passive", range_deg=140),
            row(30, "right", "flexion", range_deg=150),
        ]
    )
    found = stages(rows)[0].tested
    modes = {what.mode: one.said("range_deg").number for what, one in found.items()}
    assert modes == {"active": 120, "passive": 140, None: 150}


@given(st.lists(st.tuples(st.sampled_from(["right", "left"]), st.integers(0, 10)), max_size=12))
def test_every_row_that_counts_is_in_one_place(said: list[tuple[str, int]]) -> None:
    findings = [
        row(10.0 * i, "right" if side == "right" else "left", "inferior_glide", pain=pain)
        for i, (side, pain) in enumerate(said)
    ]
    found = stages(numbered(findings), [Bout(35, 38, "right"), Bout(75, None)])
    numbers = [r.number for stage in found for one in stage.tested.values() for r in one.rows]
    assert sorted(numbers) == list(range(1, len(said) + 1))
