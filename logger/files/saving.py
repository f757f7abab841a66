"""Writes the results of one recording, all of them or none."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

from logger.core.editing import rows_in_force
from logger.core.errors import OutputError, SessionError
from logger.core.events import ArmAngle, Finding
from logger.files.atomic import add_file, replace_folder
from logger.files.session_json import SessionRecord, document
from logger.files.stored import read_session
from logger.files.tables import angles_frame, findings_frame, write_csv, write_parquet

VIDEO: Final = "annotated.mp4"
"""Put in beside the tables, and taken away with the old ones: it shows what they say."""
REPORTS: Final = ("report.html", "report.pdf")
"""Put in and taken away in the same way."""
FILES: Final = ("findings.csv", "findings.parquet", "arm_angle.csv", "session.json")


def save_session(folder: Path, record: SessionRecord, angles: Sequence[ArmAngle]) -> None:
    """Write the table of a session, its angles and session.json into `folder`.

    Raises:
        OutputError: if that cannot be done, or if people changed or reviewed the session that is
            there and `record` does not know of it; the results that were there before then stay.

    """
    _keep_changes(folder, record)
    save(folder, rows_in_force(record.findings, record.edits), angles, document(record))


def _keep_changes(folder: Path, record: SessionRecord) -> None:
    """Refuse to write over what people did to the session that is in `folder`."""
    try:
        there = read_session(folder)
    except SessionError:
        # There is none, or none that could be read, let alone changed.
        return
    for name in ("edits", "judgements", "reviews"):
        done = getattr(there, name)
        if done != getattr(record, name)[: len(done)]:
            raise OutputError(
                f"{folder} holds {name} by {done[-1].by} that would be lost: move the folder, or "
                "give another --out."
            )


def save_changes(folder: Path, record: SessionRecord) -> None:
    """Put a session that people changed in the place of what is in `folder`.

    session.json goes first: it holds what was heard and every change. The tables, which hold what
    is in force, follow from it. Each file is put in place whole or not at all.

    Raises:
        OutputError: if one of them cannot be written.

    """
    table = findings_frame(rows_in_force(record.findings, record.edits))
    add_file(folder, "session.json", lambda path: _write_session(document(record), path))
    add_file(folder, "findings.csv", lambda path: write_csv(table, path))
    add_file(folder, "findings.parquet", lambda path: write_parquet(table, path))


def save(
    folder: Path,
    rows: Sequence[Finding],
    angles: Sequence[ArmAngle],
    session: Mapping[str, object],
) -> None:
    """Write findings.csv, findings.parquet, arm_angle.csv and session.json into `folder`.

    The same input gives the same bytes.

    Raises:
        OutputError: if that cannot be done; the results that were there before then stay.

    """

    def write(new: Path) -> None:
        table = findings_frame(rows)
        write_csv(table, new / "findings.csv")
        write_parquet(table, new / "findings.parquet")
        write_csv(angles_frame(angles), new / "arm_angle.csv")
        _write_session(session, new / "session.json")

    replace_folder(folder, (*FILES, VIDEO, *REPORTS), write)


def _write_session(session: Mapping[str, object], path: Path) -> None:
    text = json.dumps(session, indent=2, ensure_ascii=False, allow_nan=False)
    path.write_bytes((text + "\n").encode("utf-8"))
