"""Writes the results of one recording, all of them or none."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

from logger.core.events import ArmAngle, Finding
from logger.files.atomic import replace_folder
from logger.files.session_json import SessionRecord, document
from logger.files.tables import angles_frame, findings_frame, write_csv, write_parquet

VIDEO: Final = "annotated.mp4"
"""Put in beside the tables, and taken away with the old ones: it shows what they say."""
REPORTS: Final = ("report.html", "report.pdf")
"""Put in and taken away in the same way."""
FILES: Final = ("findings.csv", "findings.parquet", "arm_angle.csv", "session.json")


def save_session(folder: Path, record: SessionRecord, angles: Sequence[ArmAngle]) -> None:
    """Write the table of a session, its angles and session.json into `folder`.

    Raises:
        OutputError: if that cannot be done; the results that were there before then stay.

    """
    save(folder, record.findings, angles, document(record))


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
        text = json.dumps(session, indent=2, ensure_ascii=False, allow_nan=False)
        (new / "session.json").write_bytes((text + "\n").encode("utf-8"))

    replace_folder(folder, (*FILES, VIDEO, *REPORTS), write)
