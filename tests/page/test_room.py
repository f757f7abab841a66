"""The room: pages, one session, what is heard and seen, and what goes wrong with the disk."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from room_kit import TALK, Gate, MovableClock, Page, room_in

from logger.core.errors import JournalError
from logger.core.session import SessionFacts
from logger.core.sound import SAMPLE_RATE_HZ
from logger.grammar.loading import load_pack
from logger.keeping.journal import Journal
from logger.live.session import LiveSession
from logger.page.timing import SampleClock

GLIDE = "right inferior glide grade two hypomobile pain three"
SCRIPT = ("", GLIDE, "symptoms reproduced", TALK, "scratch that", "left anterior glide normal")


def rows_of(state: dict[str, Any]) -> list[tuple[str, str]]:
    return [(row["what"], row["status"]) for row in state["rows"]]


def has_rows(count: int) -> Any:
    return lambda state: len(state["rows"]) == count


def test_a_finding_is_shown_kept_and_read_back(tmp_path: Path) -> None:
    """One block of sound, one row, in the words in which it may be said."""
    with room_in(tmp_path, SCRIPT) as room, room.page() as page:
        assert page.until("welcome")["role"] == "lead"
        page.begin(patient_code="P-017", examiner_code="T2", involved_side="right")
        page.speak(1)
        state = page.until("state", has_rows(1))
        assert state["side"] == "right"
        assert state["test"] == "inferior glide"
        assert state["window"] == [30, 90]
        assert state["rows"][0]["values"]["grade"] == "2"
        heard = page.until("heard")
        assert heard["what"] == "logged"
        assert heard["say"] == "right, inferior glide, grade two, hypomobile, pain three"


def test_talk_makes_no_row_and_is_said_to_be_none(tmp_path: Path) -> None:
    """It is shown for a moment, so that the clinician learns what works."""
    with room_in(tmp_path, SCRIPT) as room, room.page() as page:
        page.begin()
        page.speak(3)
        assert page.until("heard")["what"] == "refused"
        page.speak(1)
        assert rows_of(page.until("state", has_rows(1))) == [("inferior glide", "logged")]


def test_keys_do_what_the_words_do(tmp_path: Path) -> None:
    """Backspace withdraws, p pauses; what is said while paused makes no row."""
    with room_in(tmp_path, SCRIPT) as room, room.page() as page:
        page.begin()
        page.speak(1)
        page.until("state", has_rows(1))
        page.say("do", what="withdraw", page_ms=page.page_ms)
        page.until("state", lambda s: s["rows"][0]["status"] == "withdrawn")
        assert page.until("heard")["what"] == "withdrawn"
        page.say("do", what="pause", page_ms=page.page_ms)
        page.until("state", lambda s: s["phase"] == "paused")
        page.page_ms += 500
        page.hear_anew()
        page.speak(5)
        assert page.until("heard", lambda m: "glide" in m["text"])["what"] == "unplaced"
        page.say("do", what="resume", page_ms=page.page_ms)
        assert len(page.until("state", lambda s: s["phase"] == "testing")["rows"]) == 1


def test_times_are_those_of_the_session(tmp_path: Path) -> None:
    """A finding captured two seconds after the page met the room, whenever it is heard."""
    with room_in(tmp_path, SCRIPT) as room, room.page() as page:
        page.begin()
        page.page_ms += 2000
        page.speak(1)
        row = page.until("state", has_rows(1))["rows"][0]
        assert 1.0 <= row["start_s"] <= 2.1


@pytest.mark.parametrize(
    ("answers", "why"),
    [
        ([], "Every caution"),
        ([{"present": True, "reason": " "}], "needs the reason"),
    ],
)
def test_testing_waits_for_every_caution(tmp_path: Path, answers: list[Any], why: str) -> None:
    """No session begins before all are answered, each that is present with a reason."""
    cautions = load_pack("glenohumeral").cautions
    if answers:
        answers = answers + [{"present": False, "reason": ""}] * (len(cautions) - 1)
    with room_in(tmp_path) as room, room.page() as page:
        page.say("begin", answers=answers)
        assert why in page.until("refused")["text"]
        assert room.kit.journal.sessions() == ()


def test_an_override_is_kept_with_its_reason(tmp_path: Path) -> None:
    """In the session, beside the caution's own words."""
    cautions = load_pack("glenohumeral").cautions
    answers = [{"present": i == 0, "reason": "cleared by T9" if i == 0 else ""} for i in range(14)]
    with room_in(tmp_path, SCRIPT) as room, room.page() as page:
        state = page.begin(answers=answers)
        assert state["present"] == [{"text": cautions[0].text, "reason": "cleared by T9"}]


def test_a_second_tab_watches_until_it_takes_over(tmp_path: Path) -> None:
    """It is told so, sees everything and changes nothing."""
    with room_in(tmp_path, SCRIPT) as room, room.page() as first:
        first.begin()
        with room.page() as second:
            welcome = second.until("welcome")
            assert (welcome["role"], welcome["running"]) == ("watch", True)
            second.say("do", what="end", page_ms=1.0)
            assert "only watches" in second.until("refused")["text"]
            second.speak(1)
            first.speak(5)
            assert rows_of(second.until("state", has_rows(1))) == [("anterior glide", "logged")]
            second.say("take_over")
            assert second.until("role")["role"] == "lead"
            assert first.until("role")["role"] == "watch"
            second.speak(1)
            assert len(first.until("state", has_rows(2))["rows"]) == 2


def test_a_page_that_is_loaded_anew_goes_on(tmp_path: Path) -> None:
    """The tab is closed in mid-session and opened again: it leads, with every row."""
    with room_in(tmp_path, SCRIPT) as room:
        with room.page() as page:
            page.begin()
            page.speak(1)
            page.until("state", has_rows(1))
        with room.page() as page:
            assert page.until("welcome")["role"] == "lead"
            assert rows_of(page.until("state")) == [("inferior glide", "logged")]
            page.speak(2)
            assert page.until("heard")["what"] == "completed"


def test_a_session_goes_on_after_a_restart(tmp_path: Path) -> None:
    """The start page offers it; it has its rows and takes more."""
    with room_in(tmp_path, SCRIPT) as room, room.page() as page:
        page.begin(patient_code="P-017")
        page.speak(1)
        page.until("state", has_rows(1))
    with room_in(tmp_path, SCRIPT) as room, room.page() as page:
        (kept,) = page.until("welcome")["sessions"]
        assert (kept["patient_code"], kept["rows"], kept["ended"]) == ("P-017", 1, False)
        page.say("open", session_id=kept["id"])
        assert rows_of(page.until("state")) == [("inferior glide", "logged")]
        page.speak(5)
        state = page.until("state", has_rows(2))
        starts = [row["start_s"] for row in state["rows"]]
        assert starts == sorted(starts)


def test_cautions_left_open_by_a_kill_are_asked_again(tmp_path: Path) -> None:
    """Killed between the session's beginning and its answers: nothing is tested before them."""
    with Journal(tmp_path / "journal.db") as journal:
        pack = load_pack("glenohumeral")
        killed = LiveSession.begin(journal, SessionFacts("P-017"), pack, MovableClock())
        killed.close()
    with room_in(tmp_path, SCRIPT) as room, room.page() as page:
        (left,) = page.until("welcome")["sessions"]
        page.say("open", session_id=left["id"])
        assert page.until("state")["phase"] == "cautions"
        page.speak(1)
        assert page.begin()["rows"] == []
        page.speak(1)
        assert rows_of(page.until("state", has_rows(1))) == [("inferior glide", "logged")]
        (kept,) = room.kit.journal.sessions()
        assert (kept.patient_code, kept.rows) == ("P-017", 1)


def test_a_session_that_is_not_there_is_said_to_be_none(tmp_path: Path) -> None:
    """And the page is back where it was."""
    with room_in(tmp_path) as room, room.page() as page:
        page.say("open", session_id="20200101-000000-abcdef")
        assert "has no session" in page.until("refused")["text"]
        page.until("left")
        page.begin()


def test_the_table_is_changed_settled_and_saved(tmp_path: Path) -> None:
    """What was heard stays beside the change, and the files are those of `read`."""
    with room_in(tmp_path, SCRIPT) as room, room.page() as page:
        page.begin(patient_code="P-017", examiner_code="T2")
        page.speak(1)
        page.until("state", has_rows(1))
        page.say("do", what="end", page_ms=page.page_ms)
        page.until("state", lambda s: s["phase"] == "ended")
        page.say("edit", row=1, slot="pain", value=5)
        state = page.until("state", lambda s: s["rows"][0]["values"]["pain"] == 5)
        assert state["rows"][0]["edits"] == {"pain": 3}
        page.say("edit", row=1, slot="pain", value=77)
        assert "77" in page.until("refused")["text"]
        page.say("save")
        folder = Path(page.until("saved")["folder"])
    assert folder.parent == tmp_path / "out"
    table = pd.read_csv(folder / "findings.csv", dtype={"grade": str})
    assert (table["pain"][0], table["test"][0], table["grade"][0]) == (5, "inferior_glide", "2")
    session = json.loads((folder / "session.json").read_text("utf-8"))
    assert session["facts"]["patient_code"] == "P-017"
    assert session["findings"][0]["pain"] == 3
    assert (session["edits"][0]["before"], session["edits"][0]["by"]) == (3, "T2")


def test_a_full_disk_is_said_and_loses_nothing(tmp_path: Path) -> None:
    """Nothing is shown that is not kept; once there is room again the row is there."""
    with room_in(tmp_path, SCRIPT) as room, room.page() as page:
        page.begin()
        gate = Gate(room.kit.journal)
        gate.error = JournalError("The disk is full: free some space.")
        page.speak(1)
        assert "full" in page.until("trouble", lambda m: m["id"] == "disk")["text"]
        page.speak(5)
        assert not any(m["kind"] == "state" and m["rows"] for m in page.read)
        gate.error = None
        assert page.until("trouble", lambda m: m["id"] == "disk")["text"] == ""
        assert rows_of(page.until("state", has_rows(2)))[1] == ("anterior glide", "logged")


def test_a_slow_disk_is_said(tmp_path: Path) -> None:
    """The row comes late, and the page says why."""
    with room_in(tmp_path, SCRIPT) as room, room.page() as page:
        page.begin()
        gate = Gate(room.kit.journal)
        gate.wait.clear()
        page.speak(1)
        assert "slow" in page.until("trouble", lambda m: m["id"] == "slow")["text"]
        gate.wait.set()
        page.until("state", has_rows(1))
        assert page.until("trouble", lambda m: m["id"] == "slow")["text"] == ""


def test_a_machine_that_slept_says_what_is_missing(tmp_path: Path) -> None:
    """The page's clock stood still for a minute: rows after it have the right time."""
    with room_in(tmp_path, SCRIPT) as room, room.page() as page:
        page.begin()
        page.speak(1)
        page.until("state", has_rows(1))
        room.clock.more = timedelta(seconds=60)
        page.say("clock", page_ms=page.page_ms)
        for _ in range(SampleClock(SAMPLE_RATE_HZ).patience):
            page.speak(0)
        state = page.until("state", lambda s: s["warnings"])
        assert "sound are missing" in state["warnings"][0]
        page.speak(5)
        row = page.until("state", has_rows(2))["rows"][1]
        assert 59 < row["start_s"] < 64


def test_what_the_page_said_itself_makes_no_row(tmp_path: Path) -> None:
    """The read-back was heard, because a loudspeaker is near the microphone."""
    with room_in(tmp_path, SCRIPT) as room, room.page() as page:
        page.begin()
        page.speak(5)
        page.until("state", has_rows(1))
        start_ms = page.page_ms
        page.say("played", start_ms=start_ms, end_ms=start_ms + 900)
        page.speak(1)
        assert page.until("heard", lambda m: "grade" in m["text"])["what"] == "unplaced"
        page.page_ms += 2000
        page.hear_anew()
        page.speak(1)
        assert rows_of(page.until("state", has_rows(2)))[1] == ("inferior glide", "logged")


def test_the_arm_is_shown_and_stands_in_the_row(tmp_path: Path) -> None:
    """Twelve pictures of an arm at 61 degrees, then the finding."""
    with room_in(tmp_path, SCRIPT) as room, room.page() as page:
        page.begin()
        page.say("side", side="right", page_ms=page.page_ms)
        for number in range(12):
            page.show(number, 61)
            page.until("ack", lambda m, n=number: m["number"] == n)  # type: ignore[misc]
            page.page_ms += 100
        page.speak(1)
        row = page.until("state", has_rows(1))["rows"][0]
        assert row["setup"] == {
            "angle_deg": 61,
            "status": "in_range",
            "words": "61\u00b0, in range",
        }
        page.show(12, 61)
        gauge = page.until("gauge", lambda m: m["window"] is not None)
        assert gauge["words"] == "61\u00b0, in range"
        assert gauge["steady_s"] > 0.5
        assert gauge["body"]["left_shoulder"] == [0.5, 0.5]


def test_a_picture_that_is_none_is_let_go(tmp_path: Path) -> None:
    """It is acknowledged, so that the next one comes."""
    with room_in(tmp_path) as room, room.page() as page:
        page.raw(b"V\0\0\0" + bytes(4) + bytes(8) + b"no picture")
        assert page.until("ack")["number"] == 0
        page.show(1, 40)
        assert page.until("gauge")["arms"][0]["angle_deg"] == 40


def test_the_patient_is_looked_for_again_when_asked(tmp_path: Path) -> None:
    """The camera was moved."""
    with room_in(tmp_path) as room, room.page() as page:
        page.show(0, 40)
        page.until("gauge")
        page.say("look_again")
        page.page_ms += 100
        page.show(1, 40)
        page.until("ack", lambda m: m["number"] == 1)
        assert room.eye.forgotten == 1


def test_an_ear_that_cannot_be_opened_is_said(tmp_path: Path) -> None:
    """The session stays open: keys and the table still work."""
    with room_in(tmp_path, ear_fails=True) as room, room.page() as page:
        page.begin()
        page.speak(0)
        assert "no speech model" in page.until("trouble", lambda m: m["id"] == "ear")["text"]
        page.say("do", what="end", page_ms=page.page_ms)
        page.until("state", lambda s: s["phase"] == "ended")


def test_a_code_is_warned_of_while_it_is_typed(tmp_path: Path) -> None:
    """The program looks at it, not the page."""
    with room_in(tmp_path) as room, room.page() as page:
        page.say("code", text="Nomen Nescio")
        assert "looks like a name" in page.until("code")["advice"]


def test_bouts_are_timed(tmp_path: Path) -> None:
    """By the button as by the voice."""
    with room_in(tmp_path, SCRIPT) as room, room.page() as page:
        page.begin()
        page.speak(1)
        page.until("state", has_rows(1))
        page.say("do", what="begin_bout", page_ms=page.page_ms, grade="3")
        assert page.until("state", lambda s: s["running_bout"])["running_bout"]["grade"] == "3"
        page.say("do", what="end_bout", page_ms=page.page_ms + 5000)
        (bout,) = page.until("state", lambda s: not s["running_bout"])["bouts"]
        assert bout["end_s"] - bout["start_s"] == pytest.approx(5.0, abs=0.2)


def leave(page: Page) -> dict[str, Any]:
    page.say("leave")
    return page.until("welcome")


def test_a_session_that_was_left_can_be_opened_again(tmp_path: Path) -> None:
    """From the list of the start page."""
    with room_in(tmp_path, SCRIPT) as room, room.page() as page:
        page.until("welcome")
        page.begin()
        page.speak(1)
        page.until("state", has_rows(1))
        page.say("do", what="end", page_ms=page.page_ms)
        page.until("state", lambda s: s["phase"] == "ended")
        (kept,) = leave(page)["sessions"]
        assert (kept["ended"], kept["in_use"], kept["rows"]) == (True, False, 1)
        page.say("open", session_id=kept["id"])
        assert page.until("state")["phase"] == "ended"


def test_practice_needs_no_speech_and_keeps_a_score_sheet(tmp_path: Path) -> None:
    """The arm is held at 45 degrees for three seconds, then moved away: one attempt, in range."""
    with room_in(tmp_path, haste=100) as room, room.page() as page:
        page.until("welcome")
        page.say("practise", test="inferior_glide", side="right")
        assert page.until("practice")["target"] == "right inferior glide"
        # In room time from now on: the practice begins when it is asked for.
        page.page_ms += 500
        levels = [5] * 10 + [15, 25, 35] + [55] * 30 + [40, 20] + [5] * 20
        for number, level in enumerate(levels):
            page.show(number, level)
            page.until("ack", lambda m, n=number: m["number"] == n)  # type: ignore[misc]
            page.page_ms += 100
        sheets = [each for each in page.read if each["kind"] == "practice" and each["attempts"]]
        (attempt,) = sheets[-1]["attempts"]
        assert (attempt["angle_deg"], attempt["fit"], attempt["off_deg"]) == (55, "in_range", 0)
        assert attempt["held_s"] == pytest.approx(3.0, abs=0.3)
        assert any(each["kind"] == "practice" and each["in_place"] for each in page.read)
        assert room.kit.journal.sessions() == ()


def test_a_target_that_the_pack_lacks_is_refused(tmp_path: Path) -> None:
    """With what it has."""
    with room_in(tmp_path) as room, room.page() as page:
        page.say("practise", test="thrust", side="left")
        assert "inferior_glide" in page.until("refused")["text"]
