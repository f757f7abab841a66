"""A row's own rules: scores, motions, cautions."""

from __future__ import annotations

import pytest
from said import correction, doubted, glide, merged, more, note, say, unsure

from logger.core.events import RowStatus
from logger.core.statements import Act, Heard


@pytest.mark.parametrize(
    ("score", "means"),
    # The 0 to 6 scale attributed to Paris and Kaltenborn (from memory).
    [(0, "hypomobile"), (2, "hypomobile"), (3, "normal"), (4, "hypermobile"), (6, "hypermobile")],
)
def test_score_fills_mobility(score: int, means: str) -> None:
    (row,) = merged(glide(), more(mobility_score=score)).rows
    assert (row.mobility, row.mobility_score, row.status) == (means, score, RowStatus.LOGGED)


def test_score_that_contradicts_the_word_is_checked_and_both_stay() -> None:
    """Each is what was said; which is wrong is not for a program to choose."""
    (row,) = merged(glide(mobility_score=2, mobility="hypermobile")).rows
    assert (row.mobility, row.mobility_score) == ("hypermobile", 2)
    assert row.reasons == ("mobility: said hypermobile, but the score 2 means hypomobile",)


@pytest.mark.parametrize(
    ("first", "fix", "mobility", "score"),
    [
        ({"mobility_score": 2}, {"mobility": "hypermobile"}, "hypermobile", None),
        ({"mobility_score": 2}, {"mobility": "hypomobile"}, "hypomobile", 2),
        ({"mobility": "normal"}, {"mobility_score": 5}, "hypermobile", 5),
        ({"mobility_score": 2}, {"mobility_score": 5}, "hypermobile", 5),
        ({"mobility": "normal"}, {"pain": 1}, "normal", None),
    ],
)
def test_correcting_mobility_takes_back_a_score_that_disagrees(
    first: dict[str, int | str], fix: dict[str, int | str], mobility: str, score: int | None
) -> None:
    (row,) = merged(glide(**first), correction(**fix)).rows
    assert (row.mobility, row.mobility_score, row.status) == (mobility, score, RowStatus.LOGGED)


def test_two_scores_fill_no_mobility() -> None:
    (row,) = merged(glide(mobility_score=(2, 5))).rows
    assert (row.mobility, row.mobility_score, row.status) == (None, None, RowStatus.CHECK)


@pytest.mark.parametrize("grade", ["5", "5+"])
def test_thrust_grade_is_a_caution_and_no_check(grade: str) -> None:
    """Common practice, no source: grade 5 is the thrust of graded mobilisation."""
    (row,) = merged(glide(grade=grade)).rows
    assert (row.grade, row.status, row.reasons) == (grade, RowStatus.LOGGED, ())
    assert row.cautions == ("grade 5 is a thrust, not a test",)
    assert merged(glide(grade="4")).rows[0].cautions == ()


@pytest.mark.parametrize(
    ("items", "says"),
    [
        ([glide(motion="flexion")], "a test and a motion"),
        ([glide(), more(range_deg=110)], "range_deg: belongs to a motion"),
        ([unsure(glide())], "heard unsurely"),
        ([glide(), unsure(more(pain=1))], "heard unsurely"),
        ([glide(), unsure(note("sore"))], "heard unsurely"),
        (
            [doubted(glide(mobility="hypomobile"), "mobility", "hypomobile", "hypermobile")],
            "mobility: hypomobile or hypermobile?",
        ),
        ([doubted(glide(), "pain", None, 5)], "pain: not said or 5?"),
        ([Heard(glide().utterance, glide().statement, question='or "scratch that"?')], "scratch"),
    ],
)
def test_what_is_uncertain_is_marked_with_the_reason(items: list[Heard], says: str) -> None:
    (row,) = merged(*items).rows
    assert row.status is RowStatus.CHECK
    assert any(says in reason for reason in row.reasons)


def test_motion_row_has_mode_and_degrees() -> None:
    opening = say(Act.FINDING, side="left", motion="external_rotation")
    (row,) = merged(opening, more(mode="passive", range_deg=45)).rows
    assert (row.test, row.motion, row.mode, row.range_deg) == (
        None,
        "external_rotation",
        "passive",
        45,
    )
    assert row.status is RowStatus.LOGGED
