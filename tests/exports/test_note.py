"""The plain-text note as a person reads it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from leaving import leaving
from test_fhir import GLIDE, RAISE, session

from logger.core.errors import SessionError
from logger.core.events import Finding, RowStatus
from logger.core.session import Bout, Edit
from logger.exports.note import note_text, read_note
from logger.exports.sessions import ExportedRow, ExportedSession

NOTE = """\
FINDINGS AS SPOKEN BY THE EXAMINER
Session: monday
Patient: P1
Examiner: E1
Start: 2026-11-25T10:00:00+01:00
Recording: a.mp4
Pack: glenohumeral
1. left side | test inferior glide | mobility 2 of 6 | mobility hypomobile
   | pain 5 of 10
   at 0:12.5; set-up: arm 45 degrees, in range
   note "sore <b>here</b> & there"
   changed: pain from 3 to 5, by E2
2. TO CHECK | right side | motion abduction | passive motion | 120 degrees
   at 0:20.0; set-up: not seen
   check: side: left or right?
Treatment: left inferior glide grade 2+, from 1:00.0 not ended
Written down by a program from what was said: it grades nothing itself, and
this is no diagnosis.
"""


def test_note_is_laid_out_one_finding_after_the_other() -> None:

    edit = Edit(1, "pain", 3, 5, "E2", "2026-11-25T11:00:00+01:00")
    doubtful = replace(RAISE, status=RowStatus.CHECK, reasons=("side: left or right?",))
    made = replace(
        session(),
        rows=(
            ExportedRow(1, replace(GLIDE, pain=5), GLIDE, (edit,), ()),
            ExportedRow(2, doubtful, None, (), ()),
        ),
        bouts=(Bout(60, None, "left", "inferior_glide", "2+"),),
    )
    assert note_text([made]) == NOTE


@settings(max_examples=25)
@given(leaving())
def test_free_words_cannot_leave_their_line(made: ExportedSession) -> None:
    """Every line begins as one of the layout does, and no character turns what follows."""
    text = note_text([made])
    assert not set(text) & set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u2028\r\0")
    own: tuple[str, ...] = (
        "FINDINGS",
        "Session: ",
        "Patient: ",
        "Examiner: ",
        "Start: ",
        "Involved side: ",
    )
    own += ("Recording: ", "Pack: ", "   ", "No findings.", "Treatment: ", "Written", "this is")
    for line in text.splitlines():
        assert line.startswith(own) or line.split(".")[0].isdigit(), line


def test_note_that_was_changed_by_hand_is_refused_by_its_line() -> None:
    with pytest.raises(SessionError, match=r"x\.txt: line 8 is no finding"):
        read_note(NOTE.replace("pain 5 of 10", "pain five of 10"), "x.txt")
    with pytest.raises(SessionError, match="cut off"):
        read_note(NOTE[:-30], "x.txt")
    with pytest.raises(SessionError, match="is no note of this tool"):
        read_note("hello", "x.txt")


def test_session_without_findings_says_so() -> None:
    assert "No findings." in note_text([session()])
    assert read_note(note_text([session(), session(Finding(0, 1))]), "x")["row"].tolist() == [1]
    assert "(no test or motion named)" in note_text([session(Finding(0, 1))])


def test_row_numbers_are_those_of_the_session() -> None:
    table = read_note(note_text([session(GLIDE, RAISE)]), "x")
    assert table["row"].tolist() == [1, 2]
    assert table["motion"].tolist()[1] == "abduction"
