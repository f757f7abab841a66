"""Practice sessions for the tests, all invented."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from logger.core.events import Finding, RowStatus, SetupReading, SetupStatus
from logger.core.session import SessionFacts
from logger.files.saving import save_session
from logger.files.session_json import (
    HeardWords,
    PackFacts,
    RecordingFacts,
    SessionRecord,
    Talk,
    UnplacedWords,
)
from logger.grammar.loading import load_pack
from logger.review.store import Reviewer, ReviewFolder

IN_RANGE = SetupReading(SetupStatus.IN_RANGE, 45.0, 2.0, 9.0)
ROWS = (
    Finding(10, 12, side="left", test="inferior_glide", mobility="normal", setup=IN_RANGE),
    Finding(
        20,
        22,
        side="right",
        test="inferior_glide",
        grade="2",
        mobility="hypomobile",
        mobility_score=2,
        pain=5,
        setup=IN_RANGE,
        status=RowStatus.CHECK,
        reasons=("pain: 5 or 9?",),
    ),
    Finding(30, 32, side="right", test="posterior_glide", pain=1, status=RowStatus.WITHDRAWN),
)
EDUCATOR = Reviewer("tutor-1", lambda: datetime(2026, 11, 25, 10, 0, tzinfo=UTC))


def record(rows: Sequence[Finding] = ROWS, examiner: str = "student-7") -> SessionRecord:
    note = HeardWords(5, 7, "note elbow wrist and hand cleared", 0.9, unsure=False)
    return SessionRecord(
        tool_version="0.1.0",
        recording=RecordingFacts("p.mp4", 60.0, True, True, 16000, 640, 480, 5.0, 0, None),
        pack=PackFacts("glenohumeral", "x"),
        engine="moonshine",
        models=(),
        options={},
        findings=tuple(rows),
        position_checks=(),
        unplaced=(UnplacedWords(note, "no row was open for the note"),),
        heard=(),
        talk=Talk(0, ()),
        warnings=(),
        facts=SessionFacts(examiner_code=examiner),
    )


def folder_of(root: Path, *names: str) -> ReviewFolder:
    """Save a session under each of the names and return the folder."""
    for name in names:
        save_session(root / name, record(), ())
    return ReviewFolder(root, load_pack)
