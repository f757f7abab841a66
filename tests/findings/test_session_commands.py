"""Pausing, ending and bouts: nothing is lost, and no doubtful word stops the record."""

from __future__ import annotations

import pytest
from said import OTHER, RULES, SCRATCH, at, doubted, glide, merged, more, say, unsure

from logger.core.events import RowStatus, Utterance, Verdict
from logger.core.statements import Act, Heard
from logger.findings.merging import Table

PAUSE, RESUME = say(Act.PAUSE_LISTENING), say(Act.RESUME_LISTENING)
END, END_BOUT = say(Act.END_SESSION), say(Act.END_BOUT)


def begin(**slots: str | tuple[str, ...]) -> Heard:
    """Return "begin bout"."""
    return say(Act.BEGIN_BOUT, **slots)


@pytest.mark.parametrize("stop", [PAUSE, END])
def test_what_is_said_while_stopped_is_kept_and_makes_no_row(stop: Heard) -> None:
    result = merged(glide(), stop, glide("left"), more(pain=3), SCRATCH, RESUME, glide(None))
    assert [row.side for row in result.rows] == ["right", "right"]
    assert all(row.status is RowStatus.LOGGED for row in result.rows)
    assert len(result.unplaced) == 3
    why = "paused" if stop is PAUSE else "end"
    assert all(why in reason for _, reason in result.unplaced)


def test_talk_while_paused_leaves_no_trace() -> None:
    talk = Heard(Utterance("whatever", 0, 1, 0, Verdict.TALK), None)
    words = Heard(Utterance("right", 0, 1, 0.9, Verdict.HEARD), None)
    assert merged(PAUSE, talk, words).unplaced == ()


@pytest.mark.parametrize("stop", [PAUSE, END])
@pytest.mark.parametrize("doubt", ["unsure", "rival"])
def test_a_doubtful_stop_only_asks(stop: Heard, doubt: str) -> None:
    item = (
        unsure(stop)
        if doubt == "unsure"
        else Heard(stop.utterance, stop.statement, question='or "pain seven"?')
    )
    result = merged(item, glide())
    assert len(result.rows) == 1
    ((_, reason),) = result.unplaced
    assert "listening goes on" in reason


def test_a_doubtful_resume_keeps_the_question_beside_what_follows() -> None:
    result = merged(PAUSE, unsure(RESUME), glide())
    assert result.rows == ()
    assert "perhaps resumed at 5.0 s" in result.unplaced[-1][1]


def test_a_paused_session_may_be_ended() -> None:
    result = merged(PAUSE, END, glide())
    assert [reason for _, reason in result.unplaced] == ["it was said after the session's end"]


def test_times_decide_and_not_the_order_of_arrival() -> None:
    """An utterance that began before the key was pressed is recognised after it."""
    table = Table(RULES)
    table.take(at(PAUSE, 12.5), by_hand=True)
    assert table.take(at(glide(), 11.0)).kind == "logged"
    table.take(at(RESUME, 30.0), by_hand=True)
    assert table.take(at(glide(), 29.0)).kind == "unplaced"
    assert table.take(at(glide(), 31.0)).kind == "logged"


def test_keys_work_while_paused() -> None:
    table = Table(RULES)
    table.take(at(glide(), 0.0))
    table.take(at(PAUSE, 5.0))
    assert table.take(at(SCRATCH, 8.0)).kind == "unplaced"
    assert table.take(at(SCRATCH, 9.0), by_hand=True).kind == "withdrawn"


@pytest.mark.parametrize("key", [SCRATCH, say(Act.SIDE, side="left")])
def test_a_row_that_was_being_said_when_a_key_was_pressed_is_checked(key: Heard) -> None:
    """Which row the key was meant for, nobody can tell."""
    table = Table(RULES)
    table.take(at(glide(), 0.0))
    table.take(at(key, 10.5), by_hand=True)
    table.take(at(glide(None), 10.0))
    row = table.merged().rows[-1]
    assert row.status is RowStatus.CHECK
    assert "a key was pressed while it was being said" in row.reasons
    assert table.take(at(glide(None), 15.0)).kind == "logged"
    assert "key" not in "".join(table.merged().rows[-1].reasons)


def test_a_bout_takes_side_and_direction_from_the_open_row() -> None:
    (bout,) = merged(glide(), begin(grade="3"), END_BOUT).bouts
    assert (bout.start_s, bout.end_s) == (5.0, 10.0)
    assert (bout.side, bout.test, bout.grade) == ("right", "inferior_glide", "3")
    assert bout.reasons == ()


def test_a_bout_invents_no_direction() -> None:
    """None was in force: no row, a row that is closed, or one of the other side."""
    assert merged(begin()).bouts[0].test is None
    assert merged(glide(), begin(), step_s=30.0).bouts[0].test is None
    (bout,) = merged(glide(), OTHER, begin()).bouts
    assert (bout.side, bout.test) == ("left", None)
    (bout,) = merged(glide(), begin(side="left", test="posterior_glide")).bouts
    assert (bout.side, bout.test) == ("left", "posterior_glide")


def test_what_is_said_in_a_bout_does_not_go_to_the_row_before() -> None:
    """Least of all the grade of the treatment."""
    result = merged(glide(), begin(), more(grade="3"), more(pain=2))
    assert (result.rows[0].grade, result.rows[0].pain) == (None, None)
    assert result.bouts[0].grade == "3"
    assert [u.text for u, _ in result.unplaced] == ["attributes 2"]


def test_doubts_about_a_bout_are_kept_with_it() -> None:
    (bout,) = merged(unsure(begin(grade=("2", "3")))).bouts
    assert bout.grade is None
    assert set(bout.reasons) == {"grade: 2 or 3?", "heard unsurely"}
    (bout,) = merged(doubted(begin(grade="2"), "grade", "2", "3")).bouts
    assert (bout.grade, bout.reasons) == ("2", ("grade: 2 or 3?",))
    (bout,) = merged(unsure(glide()), begin()).bouts
    assert any("side" in reason for reason in bout.reasons)


def test_a_doubtful_end_leaves_the_bout_running() -> None:
    (bout,) = merged(begin(), unsure(END_BOUT)).bouts
    assert bout.end_s is None
    assert bout.reasons == ("perhaps ended at 5.0 s, heard unsurely",)
    first, second = merged(begin(), begin(), END_BOUT).bouts
    assert (first.end_s, second.end_s) == (None, 10.0)
    assert first.reasons == ("another bout was begun before this one was ended",)
    (only,) = merged(begin(), unsure(begin()), END_BOUT).bouts
    assert only.reasons == ("perhaps another began at 5.0 s, heard unsurely",)


def test_an_end_without_a_bout_is_kept() -> None:
    result = merged(END_BOUT)
    assert result.bouts == ()
    assert [reason for _, reason in result.unplaced] == ["no bout was running"]


def test_scratch_that_after_a_bout_may_mean_the_bout() -> None:
    result = merged(glide(), begin(), SCRATCH)
    assert result.rows[0].status is RowStatus.CHECK
    assert result.bouts[0].reasons == ("perhaps withdrawn",)


def test_a_rival_reading_of_a_row_that_ends_the_session_is_asked() -> None:
    item = glide()
    asked = Heard(item.utterance, item.statement, question='or "end session"?')
    (row, after) = merged(asked, glide(None)).rows
    assert (row.status, after.status) == (RowStatus.CHECK, RowStatus.CHECK)
