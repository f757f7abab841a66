"""Saved sessions for the tests of the commands: invented people, invented findings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from logger.core.events import Finding, SetupReading, SetupStatus
from logger.core.session import SessionFacts
from logger.files.saving import save_session
from logger.files.session_json import PackFacts, RecordingFacts, SessionRecord, Talk
from logger.grammar.loading import load_pack
from logger.grammar.pack import pack_digest

START = "2026-11-25T10:00:00+01:00"
PACK = PackFacts("glenohumeral", pack_digest(load_pack("glenohumeral")))
TESTS = ("inferior_glide", "posterior_glide", "anterior_glide", "lateral_distraction")


def rows_of(scores: Sequence[int], **more: Any) -> tuple[Finding, ...]:
    """Return one row a score, the sides in turn."""
    words = ("hypomobile", "hypomobile", "hypomobile", "normal", *("hypermobile",) * 3)
    return tuple(
        Finding(
            start_s=10.0 * i,
            end_s=10.0 * i + 2,
            side=("left", "right")[i % 2],
            test=TESTS[i // 2 % len(TESTS)],
            mobility=words[score],
            mobility_score=score,
            pain=score,
            setup=SetupReading(SetupStatus.IN_RANGE, 45.0, 1.0, 10.0 * i, "pose", 6.0),
            said=f"mobility {score}",
            **more,
        )
        for i, score in enumerate(scores)
    )


def record_of(
    rows: Sequence[Finding], examiner: str | None = "E1", recording: str = "a.mp4", **more: Any
) -> SessionRecord:
    """Return a session with these rows; recordings are the same where their names are."""
    facts = RecordingFacts(recording, 90.0, True, True, 48_000, 640, 480, 30.0, 0, None)
    made = SessionRecord(
        tool_version="0.1.0",
        recording=replace(facts, sha256=recording.encode().hex().ljust(64, "0")[:64]),
        pack=PACK,
        engine="moonshine",
        models=(),
        options={"camera": True},
        findings=tuple(rows),
        position_checks=(),
        unplaced=(),
        heard=(),
        talk=Talk(0, ()),
        warnings=(),
        facts=SessionFacts("P1", examiner, START, "left"),
    )
    return replace(made, **more)


def saved(folder: Path, record: SessionRecord) -> Path:
    """Save a session without a trace."""
    save_session(folder, record, ())
    return folder
