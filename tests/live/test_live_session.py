"""The live session: what it says equals the table of the whole, and the disk has it first."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from arms import led
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.core.errors import JournalError, UsageError
from logger.core.events import Alternative, ArmAngle, RowStatus, SetupStatus, Utterance, Verdict
from logger.core.session import CautionAnswer, SessionFacts
from logger.files.saving import save_session
from logger.findings.merging import MergeRules, merge
from logger.grammar.interpreting import interpret
from logger.grammar.loading import load_pack, pack_of_text
from logger.grammar.parsing import Parser
from logger.keeping.journal import Event, Journal, KeptPack
from logger.live import actions
from logger.live.session import LiveSession

WITHOUT_CAUTIONS = load_pack("glenohumeral").text.partition("[[cautions]]")[0]
PACK = pack_of_text(WITHOUT_CAUTIONS, "glenohumeral")
PARSER = Parser(PACK)
RULES = MergeRules(PACK.setup, PACK.mobility_of_score)
BEGAN = datetime(2026, 1, 1, 10, tzinfo=UTC)


class Wall:
    """A clock that is set by hand."""

    def __init__(self) -> None:
        """Begin at the session's start."""
        self.s = 0.0

    def __call__(self) -> datetime:
        """Return the time now."""
        return BEGAN + timedelta(seconds=self.s)


def said(text: str, start_s: float, verdict: Verdict = Verdict.HEARD) -> Utterance:
    return Utterance(text, start_s, start_s + 1.5, 0.9, verdict)


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    with Journal(tmp_path / "journal.db") as opened:
        yield opened


@pytest.fixture
def wall() -> Wall:
    return Wall()


@pytest.fixture
def session(journal: Journal, wall: Wall) -> Iterator[LiveSession]:
    begun = LiveSession.begin(journal, SessionFacts("P7"), PACK, wall)
    yield begun
    begun.close()


WORDS = st.sampled_from(
    [
        "right inferior glide grade two stiff",
        "left posterior glide pain three",
        "inferior glide",
        "pain five",
        "correction left",
        "correction pain four",
        "left shoulder",
        "other side",
        "scratch that",
        "note sore",
        "check position",
        "pause listening",
        "resume listening",
        "begin bout grade three",
        "end bout",
        "end session",
        "whatever else",
    ]
)
SPOKEN = st.lists(
    st.tuples(WORDS, st.sampled_from(list(Verdict)), st.floats(1.6, 22)), min_size=1, max_size=6
)
WAY: list[tuple[float, float | None]] = [(4, 45), (2, 80), (5, 80), (3, None), (2, 50), (200, 50)]


@settings(max_examples=12)
@given(SPOKEN, st.floats(0.8, 6))
def test_it_says_what_the_merging_says_and_what_it_says_again_after_a_restart(
    tmp_path_factory: pytest.TempPathFactory,
    spoken: list[tuple[str, Verdict, float]],
    lag_s: float,
) -> None:
    now_s, utterances = 3.0, []
    for text, verdict, gap_s in spoken:
        utterances.append(said(text, now_s, verdict))
        now_s += gap_s
    angles = [a for a in led(WAY) if a.time_s < now_s + 8][::4]
    wall = Wall()
    with Journal(tmp_path_factory.mktemp("live") / "journal.db") as journal:
        session = LiveSession.begin(journal, SessionFacts(), PACK, wall)
        waiting = list(utterances)
        for sample in angles:
            wall.s = sample.time_s
            while waiting and waiting[0].end_s + lag_s <= sample.time_s:
                session.hear(waiting.pop(0))
            session.see([sample])
        for utterance in waiting:
            session.hear(utterance)
        state = session.state()
        whole = merge([interpret(each, PARSER) for each in utterances], angles, RULES)
        assert tuple(row.heard for row in state.rows) == whole.rows
        assert state.position_checks == whole.position_checks
        assert state.bouts == whole.bouts
        assert state.unplaced == whole.unplaced
        record = session.record("moonshine", {})
        assert session.angles() == tuple(angles)
        session.close()
        again = LiveSession.resume(journal, session.session_id, wall)
        assert again.state() == replace(state, last_heard=None)
        assert again.record("moonshine", {}) == record
        assert again.angles() == tuple(angles)
        again.close()


def test_what_was_heard_is_told_with_what_became_of_it(session: LiveSession) -> None:
    def told(text: str, at_s: float, verdict: Verdict = Verdict.HEARD) -> tuple[str, int | None]:
        last = session.hear(said(text, at_s, verdict)).last_heard
        assert last
        assert (last.text, last.at_s) == (text, at_s)
        return last.kind, last.row

    assert told("right inferior glide stiff", 1) == ("logged", 1)
    assert told("pain three", 4) == ("completed", 1)
    assert told("so how was your week", 7, Verdict.TALK) == ("refused", None)
    assert told("pain five", 9) == ("check", 1)
    assert told("left shoulder", 12) == ("side", None)
    assert told("inferior glide", 15, Verdict.UNSURE) == ("check", 2)
    assert told("scratch that", 18) == ("withdrawn", 2)
    assert told("pain two", 21) == ("unplaced", None)
    assert told("pause listening", 24) == ("command", None)
    state = session.state()
    assert (state.phase, state.side, state.test) == ("paused", "left", "inferior_glide")
    assert state.window == PACK.setup["inferior_glide"]
    assert state.last_heard
    assert state.last_heard.reason == ""


def test_the_open_row_closes_by_itself(session: LiveSession, wall: Wall) -> None:
    wall.s = 3.0
    state = session.hear(said("right inferior glide", 1))
    assert state.open_row is not None
    wall.s = 2.5 + RULES.open_row_s + 0.1
    assert session.see([ArmAngle(wall.s, "right", 40, visible=True)]).open_row is None


def test_the_gauge_says_where_the_arm_is(session: LiveSession, wall: Wall) -> None:
    assert session.state().gauge.words == "say a side"
    session.hear(said("right inferior glide", 0.5))
    for sample in led([(4, 52)], jitter_deg=0):
        wall.s = sample.time_s
        gauge = session.see([sample]).gauge
    assert (gauge.words, gauge.status) == ("52\u00b0, in range", SetupStatus.IN_RANGE)
    assert gauge.steady_s == pytest.approx(3.9, abs=0.01)
    gauge = session.see([ArmAngle(4.0, "right", None, visible=False, reason="hidden")]).gauge
    assert (gauge.angle_deg, gauge.words) == (None, "hidden")
    session.see([ArmAngle(4.1, "right", 100, visible=True)])
    assert session.state().gauge.words == "100\u00b0, out of range"
    wall.s = 9.0
    assert session.state().gauge.words == "not seen"


def test_keys_do_what_words_do(session: LiveSession) -> None:
    session.act(actions.SetSide(1.0, "left"))
    session.hear(said("inferior glide", 2))
    state = session.act(actions.CheckPosition(5.0))
    assert [check.side for check in state.position_checks] == ["left"]
    state = session.act(actions.BeginBout(6.0, "3"))
    assert state.running_bout
    assert (state.running_bout.test, state.running_bout.grade) == ("inferior_glide", "3")
    state = session.act(actions.EndBout(36.0))
    assert [bout.end_s for bout in state.bouts] == [36.0]
    assert session.act(actions.Pause(40)).phase == "paused"
    assert session.act(actions.End(41)).phase == "ended"
    assert session.act(actions.Resume(42)).phase == "testing"
    session.hear(said("left posterior glide", 43))
    state = session.act(actions.Withdraw(46))
    assert state.rows[-1].finding.status is RowStatus.WITHDRAWN
    assert "[by hand: scratch that]" in state.rows[-1].finding.said


def test_missing_sound_is_kept_and_doubts_what_takes_the_side_over(
    session: LiveSession, journal: Journal, wall: Wall
) -> None:
    """A change of side may have been in it; the session that is opened again says the same."""
    session.hear(said("right inferior glide stiff", 10))
    state = session.act(actions.SoundMissing(20, 23.4))
    assert state.warnings == ("3 s of sound are missing from 20 s on: say it again.",)
    assert state.rows[0].finding.status is RowStatus.LOGGED
    state = session.hear(said("lateral distraction normal", 30))
    row = state.rows[1].finding
    assert (row.side, row.status) == ("right", RowStatus.CHECK)
    assert row.reasons == ("side: perhaps changed while sound was missing at 20 s",)
    session.close()
    again = LiveSession.resume(journal, session.session_id, wall)
    assert again.rows() == tuple(kept.finding for kept in state.rows)
    again.close()


@pytest.mark.parametrize(
    ("action", "why"),
    [
        (actions.BeginBout(1, "9"), "grade cannot be"),
        (actions.SettleCheck(1, "e1"), "no row 1"),
        (actions.EditSlot(1, "pain", 3, "e1"), "no row 1"),
        (actions.Pause(float("nan")), "at_s"),
        (actions.Withdraw(-1), "at_s"),
        (actions.PlayedBack(5, 3), "cannot end before"),
        (actions.SoundMissing(5, 3), "cannot end before"),
    ],
)
def test_what_cannot_be_done_is_refused_and_not_kept(
    session: LiveSession, journal: Journal, action: actions.Action, why: str
) -> None:
    before = session.state()
    with pytest.raises(UsageError, match=why):
        session.act(action)
    assert session.state() == before
    assert len(list(journal.events(session.session_id))) == 1


def test_cautions_come_first(journal: Journal, wall: Wall) -> None:
    pack = load_pack("glenohumeral")
    session = LiveSession.begin(journal, SessionFacts(), pack, wall)
    assert session.state().phase == "cautions"
    state = session.hear(said("right inferior glide", 1))
    assert state.rows == ()
    assert [why for _, why in state.unplaced] == ["it was said before the cautions were answered"]
    answers = tuple(CautionAnswer(caution.text, present=False) for caution in pack.cautions)
    with pytest.raises(UsageError, match="is not answered"):
        session.act(actions.AnswerCautions(answers[1:]))
    with pytest.raises(UsageError, match="give the reason"):
        session.act(
            actions.AnswerCautions((CautionAnswer(answers[0].text, present=True), *answers[1:]))
        )
    asked = CautionAnswer(answers[0].text, present=True, reason="seen by the surgeon today")
    state = session.act(actions.AnswerCautions((asked, *answers[1:])))
    assert state.phase == "testing"
    assert session.facts.cautions[0] == asked
    assert session.hear(said("right inferior glide", 5)).rows
    session.close()


def test_the_pages_own_voice_is_no_finding(session: LiveSession) -> None:
    session.act(actions.PlayedBack(10.0, 13.0))
    state = session.hear(said("right inferior glide grade two", 12.9))
    assert state.rows == ()
    assert "while the page itself was speaking" in state.unplaced[0][1]
    assert session.hear(said("right inferior glide grade two", 13.3)).rows
    # Told too late, the row stays, to be looked at.
    state = session.act(actions.PlayedBack(13.0, 14.0))
    assert state.rows[0].finding.reasons == ("perhaps the page's own voice",)
    assert session.hear(said("pain three", 17)).rows[0].finding.pain == 3


def test_edits_stand_beside_what_was_heard(session: LiveSession, tmp_path: Path) -> None:
    session.hear(said("right inferior glide mobility three pain two", 1))
    session.hear(said("pain five", 4))
    with pytest.raises(UsageError, match="pain cannot be 11"):
        session.act(actions.EditSlot(1, "pain", 11, "e1"))
    with pytest.raises(UsageError, match="needs a test or a motion"):
        session.act(actions.EditSlot(1, "test", None, "e1"))
    with pytest.raises(UsageError, match="status cannot be"):
        session.act(actions.EditSlot(1, "status", "fine", "e1"))
    with pytest.raises(UsageError, match="cannot be edited"):
        session.act(actions.EditSlot(1, "confidence", 1, "e1"))
    session.act(actions.EditSlot(1, "pain", 5, "e1"))
    session.act(actions.EditSlot(1, "note", "  after rest ", "e1"))
    state = session.act(actions.SettleCheck(1, "e1"))
    (row,) = state.rows
    assert (row.heard.pain, row.heard.status) == (None, RowStatus.CHECK)
    assert (row.finding.pain, row.finding.note) == (5, "after rest")
    assert (row.finding.status, row.settled) == (RowStatus.LOGGED, True)
    assert [(e.slot, e.before, e.after) for e in row.edits] == [
        ("pain", None, 5),
        ("note", None, "after rest"),
        ("status", "check", "logged"),
    ]
    assert session.act(actions.EditSlot(1, "pain", 5, "e1")).rows[0].edits == row.edits
    with pytest.raises(UsageError, match="wants no check"):
        session.act(actions.SettleCheck(1, "e1"))
    save_session(tmp_path / "out", session.record("moonshine", {}), session.angles())
    assert ",5," in (tmp_path / "out" / "findings.csv").read_text().splitlines()[1]


def test_what_is_said_after_an_edit_of_the_same_slot_holds(session: LiveSession) -> None:
    session.hear(said("right inferior glide pain two", 1))
    session.act(actions.EditSlot(1, "pain", 3, "e1"))
    assert session.hear(said("grade two", 4)).rows[0].finding.pain == 3
    state = session.hear(said("correction pain four", 7))
    assert (state.rows[0].finding.pain, state.rows[0].edits) == (4, ())


def test_a_doubt_after_a_row_was_settled_asks_again(session: LiveSession) -> None:
    session.hear(said("right inferior glide", 1, Verdict.UNSURE))
    assert session.act(actions.SettleCheck(1, "e1")).rows[0].settled
    state = session.hear(said("scratch that", 4, Verdict.UNSURE))
    assert (state.rows[0].finding.status, state.rows[0].settled) == (RowStatus.CHECK, False)
    assert session.act(actions.SettleCheck(1, "e1")).rows[0].settled
    state = session.hear(said("scratch that", 8))
    assert state.rows[0].finding.status is RowStatus.WITHDRAWN


def test_talk_is_shown_and_never_kept(session: LiveSession, journal: Journal) -> None:
    state = session.hear(said("my neighbour said so", 1, Verdict.TALK))
    assert state.last_heard
    assert state.last_heard.text == "my neighbour said so"
    kept = "".join(event.data for event in journal.events(session.session_id))
    assert "neighbour" not in kept
    assert "neighbour" not in repr(session.record("moonshine", {}))


def test_a_loud_room_is_told_once(session: LiveSession) -> None:
    loud = said("right inferior glide", 1, Verdict.UNSURE)
    assert session.hear(loud).warnings == ()
    for start_s in (5.0, 10.0):
        state = session.hear(replace(loud, start_s=start_s, end_s=start_s + 1, drowned=True))
    assert [text for text in state.warnings if "nearly as loud" in text] == list(state.warnings)
    assert len(state.warnings) == 1


def test_what_talk_did_to_the_table_is_there_after_a_crash(
    session: LiveSession, journal: Journal, wall: Wall
) -> None:
    """A side said alone is talk, as is what was perhaps "other side": the rows stay asked."""
    session.hear(said("right inferior glide", 1))
    session.hear(replace(said("Left.", 6, Verdict.TALK), end_s=6.5))
    session.hear(said("posterior glide", 7.3))
    asked = Alternative("other side", 2.0)
    session.hear(replace(said("on the other hand", 20, Verdict.TALK), alternatives=(asked,)))
    session.hear(said("anterior glide", 24))
    rows = session.rows()
    assert [(row.side, row.status) for row in rows[1:]] == [("left", RowStatus.CHECK)] * 2
    assert 'perhaps "other side"' in "".join(rows[2].reasons)
    kept = "".join(event.data for event in journal.events(session.session_id))
    assert "hand" not in kept
    session.close()
    again = LiveSession.resume(journal, session.session_id, wall)
    assert again.rows() == rows
    again.close()


def test_what_cannot_be_kept_changes_nothing_and_may_be_tried_again(
    session: LiveSession, journal: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    session.see([ArmAngle(0.5, "right", 40, visible=True)])
    before = session.state()

    def full(*_: object) -> None:
        raise JournalError("The disk is full.")

    with monkeypatch.context() as patch:
        patch.setattr(journal, "append", full)
        with pytest.raises(JournalError):
            session.hear(said("right inferior glide", 1))
        with pytest.raises(JournalError):
            session.act(actions.Pause(2))
        assert session.state() == before
    assert session.hear(said("right inferior glide", 1)).rows
    assert len(session.angles()) == 1
    kinds = [event.kind for event in journal.events(session.session_id)]
    assert kinds == ["begun", "seen", "said"]


def test_a_kept_session_goes_on_with_its_own_pack(journal: Journal, wall: Wall) -> None:
    text = WITHOUT_CAUTIONS.replace('"scratch that"', '"take it back"')
    journal.begin(
        "s1",
        BEGAN.isoformat(),
        None,
        KeptPack("older", text),
        Event("begun", 1, f'{{"facts": {{"started_at": "{BEGAN.isoformat()}"}}}}'),
    )
    session = LiveSession.resume(journal, "s1", wall)
    assert session.pack.name == "older"
    session.hear(said("right inferior glide", 1))
    assert session.hear(said("take it back", 4)).rows[0].finding.status is RowStatus.WITHDRAWN
    session.close()


def test_two_processes_cannot_have_one_session(session: LiveSession, wall: Wall) -> None:
    with Journal(session._journal.path) as other:
        with pytest.raises(JournalError, match="open in another window"):
            LiveSession.resume(other, session.session_id, wall)
        session.close()
        LiveSession.resume(other, session.session_id, wall).close()


def test_an_event_of_a_newer_version_is_told(
    session: LiveSession, journal: Journal, wall: Wall
) -> None:
    session.close()
    journal.append(session.session_id, Event("said", 2, "{}"))
    with pytest.raises(JournalError, match="newer version"):
        LiveSession.resume(journal, session.session_id, wall)
    # And it was let go of.
    with pytest.raises(JournalError, match="newer version"):
        LiveSession.resume(journal, session.session_id, wall)


def test_times_never_run_back(session: LiveSession, wall: Wall) -> None:
    wall.s = 30.0
    assert session.now_s() == 30.0
    session.hear(said("right inferior glide", 31))
    wall.s = 10.0
    assert session.now_s() == 32.5


def test_the_list_shows_rows_and_the_end(session: LiveSession, journal: Journal) -> None:
    session.hear(said("right inferior glide", 1))
    session.hear(said("end session", 4))
    (kept,) = journal.sessions()
    assert (kept.rows, kept.ended, kept.patient_code, kept.in_use) == (1, True, "P7", True)


def speak_for_ever(path: Path, writing: int) -> None:
    """Say one row after the other, and write how many there are after each."""
    facts = SessionFacts(started_at=BEGAN.isoformat())
    session = LiveSession.begin(Journal(path), facts, PACK, Wall())
    for i in range(1000):
        session.see([ArmAngle(4.0 * i, "right", 45, visible=True)])
        rows = session.hear(said(f"right inferior glide pain {i % 10}", 4.0 * i)).rows
        os.write(writing, f"{len(rows)}\n".encode())


@pytest.mark.skipif(os.name != "posix", reason="SIGKILL and fork are POSIX")
@pytest.mark.parametrize("after_rows", [1, 7, 23])
def test_a_killed_session_goes_on_from_its_last_row(tmp_path: Path, after_rows: int) -> None:
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            speak_for_ever(tmp_path / "journal.db", writing)
        finally:
            os._exit(0)
    os.close(writing)
    with os.fdopen(reading, "rb") as pipe:
        told = [int(pipe.readline()) for _ in range(after_rows)]
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        told += [int(line) for line in pipe if line.endswith(b"\n")]
    with Journal(tmp_path / "journal.db") as journal:
        (kept,) = journal.sessions()
        session = LiveSession.resume(journal, kept.session_id, Wall())
        rows = session.state().rows
        assert told[-1] <= len(rows) <= told[-1] + 1
        assert [row.finding.pain for row in rows] == [i % 10 for i in range(len(rows))]
        state = session.hear(said("right inferior glide", 4.0 * len(rows) + 4))
        assert len(state.rows) == len(rows) + 1
        session.close()
