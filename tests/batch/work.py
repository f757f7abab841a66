"""A reader that is fast: it takes the recording's text for what was said."""

from __future__ import annotations

import os
import time
from dataclasses import replace
from pathlib import Path

from logger.batch.planning import Wanted
from logger.batch.tasks import Outcome, Task
from logger.core.events import Finding
from logger.files.saving import save_session
from logger.files.session_json import PackFacts, RecordingFacts, SessionRecord, Talk
from logger.recording.digest import content_digest

WANTED = Wanted("0.1.0", "glenohumeral", "p1", "fake", {"camera": True})


def record_of(recording: Path, tool: str = "0.1.0") -> SessionRecord:
    """Return the session of a recording that holds a number: so many findings."""
    text = recording.read_text(encoding="utf-8")
    facts = RecordingFacts(recording.name, 1.0, True, False, None, None, None, None, 0, None)
    return SessionRecord(
        tool_version=tool,
        recording=replace(facts, sha256=content_digest(recording)),
        pack=PackFacts("glenohumeral", "p1"),
        engine="fake",
        models=(),
        options={"camera": True},
        findings=tuple(Finding(i, i + 1, note=text) for i in range(int(text.split()[0]))),
        position_checks=(),
        unplaced=(),
        heard=(),
        talk=Talk(0, ()),
        warnings=(),
    )


def read(task: Task) -> Outcome:
    """Read one; a text that says so fails, takes its process with it, or is slow."""
    text = task.recording.read_text(encoding="utf-8")
    if "slow" in text:
        time.sleep(0.02)
    if "kill" in text:
        os._exit(9)
    if "fail" in text:
        return Outcome(task, f"{task.recording} cannot be read.", 3)
    made = record_of(task.recording)
    save_session(task.folder, made, ())
    return Outcome(task, findings=len(made.findings))


def write(folder: Path, texts: dict[str, str]) -> Path:
    """Write "recordings" with these texts."""
    for name, text in texts.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return folder
