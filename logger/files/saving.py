"""Writes the results of one recording: into a new folder, which then takes the old one's place."""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path

from logger.core.errors import OutputError
from logger.core.events import ArmAngle, Finding
from logger.files.tables import angles_frame, findings_frame


def save(
    folder: Path,
    rows: Sequence[Finding],
    angles: Sequence[ArmAngle],
    session: Mapping[str, object],
) -> None:
    """Write findings.csv, findings.parquet, arm_angle.csv and session.json into `folder`.

    Raises:
        OutputError: if that cannot be done; the results that were there before then stay.

    """
    if folder.exists() and not folder.is_dir():
        raise OutputError(f"{folder} is a file: move it, or give another --out.")
    new: Path | None = None
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        new = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
        _write(new, rows, angles, session)
        old = new.with_name(new.name + "-old")
        if folder.exists():
            folder.rename(old)
        new.rename(folder)
        folder.chmod(0o755)
        shutil.rmtree(old, ignore_errors=True)
    except OSError as error:
        if new is not None:
            shutil.rmtree(new, ignore_errors=True)
        why = error.strerror or str(error)
        raise OutputError(
            f"The results cannot be written to {folder}: {why}. Free space or give another --out."
        ) from error


def _write(
    folder: Path,
    rows: Sequence[Finding],
    angles: Sequence[ArmAngle],
    session: Mapping[str, object],
) -> None:
    table = findings_frame(rows)
    table.to_csv(folder / "findings.csv", index=False)
    table.to_parquet(folder / "findings.parquet", index=False)
    angles_frame(angles).to_csv(folder / "arm_angle.csv", index=False)
    text = json.dumps(session, indent=2, ensure_ascii=False)
    (folder / "session.json").write_text(text + "\n", encoding="utf-8")
