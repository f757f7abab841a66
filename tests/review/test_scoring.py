"""The session sheet as it is filled in. The facts of the trade here: common practice, no source."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.core.events import Finding, RowStatus, SetupReading, SetupStatus
from logger.grammar.loading import load_pack
from logger.review.criteria import SHIPPED, load_sheet
from logger.review.scoring import Outcome, Practised, Score, filled_in, total

_PLAN = load_sheet(SHIPPED, load_pack("glenohumeral"))
_KINDS: list[str] = [criterion.kind for criterion in _PLAN.criteria]
_TESTS = (
    "lateral_distraction",
    "long_axis_distraction",
    "inferior_glide",
    "posterior_glide",
    "anterior_glide",
)
_IN = SetupReading(SetupStatus.IN_RANGE, 45.0)


def _test(at_s: float, test: str, side: str = "right", **slots: str) -> Finding:
    given_slots = {"mobility": "normal", **slots}
    return Finding(at_s, at_s + 2.0, side=side, test=test, setup=_IN, **given_slots)  # type: ignore[arg-type]


def _motion(at_s: float, mode: str, end_feel: str | None = None) -> Finding:
    return Finding(
        at_s,
        at_s + 2.0,
        side="right",
        motion="abduction",
        mode=mode,
        end_feel=end_feel,
        setup=SetupReading(SetupStatus.NOT_REQUIRED),
    )


def _whole() -> list[Finding]:
    rows = [_motion(0, "active"), _motion(10, "passive"), _motion(20, "overpressure", "firm")]
    rows[2] = replace(rows[2], note="elbow, wrist and hand cleared")
    at_s = 40.0
    for side in ("left", "right"):
        for test in _TESTS:
            rows.append(_test(at_s, test, side))
            at_s += 30
    return rows


def _score(kind: str, rows: list[Finding], notes: tuple[tuple[float, str], ...] = ()) -> Score:
    return filled_in(_PLAN, Practised(rows, notes))[_KINDS.index(kind)]


def test_a_whole_session_meets_everything() -> None:
    scores = filled_in(_PLAN, Practised(_whole()))
    assert [s.outcome for s in scores] == [Outcome.MET] * 8
    assert total(scores) == "8 of 8 met"


def test_an_empty_session_can_be_told_only_what_it_lacks() -> None:
    scores = filled_in(_PLAN, Practised([]))
    told = {kind: s.outcome for kind, s in zip(_KINDS, scores, strict=True)}
    assert told.pop("each_direction") is Outcome.NOT_MET
    assert set(told.values()) == {Outcome.CANNOT_TELL}
    assert total(scores) == "0 of 8 met, 1 not met, 7 cannot be told"


def test_screening_after_the_first_test_is_not_first() -> None:
    rows = _whole()
    rows[2] = replace(rows[2], start_s=500.0)
    score = _score("screened_first", rows)
    assert score.outcome is Outcome.NOT_MET
    assert score.detail == "not before the first test: overpressure"


def test_one_side_only() -> None:
    rows = [row for row in _whole() if row.side == "right" or row.test != "inferior_glide"]
    score = _score("both_sides", rows)
    assert score == Score(score.text, Outcome.NOT_MET, "on one side only: inferior glide")


def test_a_row_without_a_side_may_have_been_the_other_one() -> None:
    rows = [_test(0, "inferior_glide"), replace(_test(9, "inferior_glide"), side=None)]
    assert _score("both_sides", rows).outcome is Outcome.CANNOT_TELL


def test_withdrawn_rows_do_not_count() -> None:
    rows = [
        replace(row, status=RowStatus.WITHDRAWN) if row.test == "anterior_glide" else row
        for row in _whole()
    ]
    assert _score("each_direction", rows).detail == "not tested: anterior glide"


@pytest.mark.parametrize(
    ("inside", "outside", "unseen", "outcome"),
    [
        (8, 2, 0, Outcome.MET),
        (7, 3, 0, Outcome.NOT_MET),
        (5, 0, 5, Outcome.MET),
        (4, 0, 6, Outcome.CANNOT_TELL),
    ],
)
def test_setup_in_window(inside: int, outside: int, unseen: int, outcome: Outcome) -> None:
    statuses = (
        [SetupStatus.IN_RANGE] * inside
        + [SetupStatus.OUT_OF_RANGE] * outside
        + [SetupStatus.NOT_SEEN] * unseen
    )
    rows = [
        replace(_test(i * 10, "inferior_glide"), setup=SetupReading(status))
        for i, status in enumerate(statuses)
    ]
    assert _score("setup_in_window", rows).outcome is outcome


def test_what_was_not_said_may_have_been_done() -> None:
    rows = [replace(row, note=None) for row in _whole()]
    score = _score("noted_before", rows)
    assert score.outcome is Outcome.CANNOT_TELL
    assert score.detail == "no note before it names elbow, wrist, hand"
    said = _score("noted_before", rows, ((5.0, "Wrist and elbow."), (6.0, "hand cleared")))
    assert said.outcome is Outcome.MET
    late = _score("noted_before", rows, ((5000.0, "elbow wrist hand cleared"),))
    assert late.outcome is Outcome.CANNOT_TELL


def test_a_test_without_a_judgement() -> None:
    rows = _whole()
    rows[-1] = replace(rows[-1], mobility=None)
    assert _score("judged", rows).detail == "9 of 10 judged"
    rows[-1] = replace(rows[-1], mobility_score=2)
    assert _score("judged", rows).outcome is Outcome.MET


def test_time_a_test_is_the_median_and_repeats_do_not_count() -> None:
    starts = [0.0, 5.0, 100.0, 200.0]
    tests = ["inferior_glide", "inferior_glide", "posterior_glide", "anterior_glide"]
    rows = [_test(at_s, test) for at_s, test in zip(starts, tests, strict=True)]
    # The gaps are 95 and 100 s; 0 to 5 is the same test said again.
    score = _score("time_a_test", rows)
    assert score == Score(score.text, Outcome.NOT_MET, "98 s a test in the middle")


@given(st.lists(st.sampled_from(_whole()), max_size=13))
def test_any_part_of_a_session_can_be_scored(rows: list[Finding]) -> None:
    """And more rows never unmeet "every direction tested"."""
    part = sorted(rows, key=lambda row: row.start_s)
    scores = filled_in(_PLAN, Practised(part))
    assert len(scores) == len(_PLAN.criteria)
    assert all(score.detail for score in scores)
    if _score("each_direction", part).outcome is Outcome.MET:
        assert _score("each_direction", _whole()).outcome is Outcome.MET
