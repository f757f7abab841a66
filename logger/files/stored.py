"""Reads back what `saving` wrote, and finds the folders that hold it."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from math import isfinite
from pathlib import Path
from typing import Any, Final, cast, get_args

import pandas as pd

from logger.core.editing import rows_in_force
from logger.core.errors import SessionError
from logger.core.events import SIDES, ArmAngle, Side, Source
from logger.core.session import Edit, Judgement
from logger.files.session_json import FORMAT, SessionRecord
from logger.files.tables import ANGLE_COLUMNS, read_table_csv
from logger.files.typed import typed

SESSION: Final = "session.json"
ANGLES: Final = "arm_angle.csv"
LARGEST_BYTES: Final = 64_000_000
"""A session of 10 minutes has some 100 kB: a bigger file is something else."""
_OLDEST: Final = 1


def read_session(folder: Path) -> SessionRecord:
    """Return the session that `save_session` wrote into `folder`.

    An older format is read too: what it does not tell is left at its default.

    Raises:
        SessionError: if there is none, or none that this version can read; one sentence.

    """
    path = folder / SESSION
    data = _json(path, _content(path))
    number = data.get("format") if isinstance(data, dict) else None
    if type(number) is not int or "findings" not in data:
        raise SessionError(f"{path} is JSON, but no session of this tool: give a folder of `read`.")
    if number > FORMAT:
        raise SessionError(
            f"{path} has format {number} and this version reads up to {FORMAT}: "
            "install a newer spoken-findings."
        )
    if number < _OLDEST:
        raise SessionError(f"{path} has format {number}, which never was: read the recording anew.")
    try:
        record = typed(SessionRecord, {**data, "format": FORMAT}, older=number < FORMAT)
        _check_rows(record)
    except (ValueError, RecursionError) as error:
        raise SessionError(
            f"{path} is damaged or was changed by hand: {error}. Mend it, or read the recording "
            "anew."
        ) from error
    return cast("SessionRecord", record)


def read_angles(folder: Path) -> tuple[ArmAngle, ...]:
    """Return the trace that was written beside the session, in its order.

    The times are rounded to 0.001 s and the angles to 0.1 degrees, as in the file; what the file
    has no column for (`seen_deg`, `scapular_deg`) is None.

    Raises:
        SessionError: if there is none, or it is damaged.

    """
    path = folder / ANGLES
    _content(path)
    try:
        table = read_table_csv(path)
        return tuple(_angle(line) for line in table[list(ANGLE_COLUMNS)].to_dict("records"))
    except (ValueError, KeyError) as error:
        raise SessionError(
            f"{path} is damaged or was changed by hand: {error}. Read the recording anew."
        ) from error


def find_sessions(folder: Path) -> list[Path]:
    """Return the folders at or below `folder` that hold a session, sorted; hidden ones left out.

    Raises:
        SessionError: if `folder` is no folder that can be looked into.

    """
    if not folder.is_dir():
        raise SessionError(f"{folder} is no folder: give a folder of results.")
    return sorted(_below(folder))


def _below(folder: Path) -> Iterator[Path]:
    # A session folder holds no other; hidden folders are half-written or replaced results.
    for place, names, files in os.walk(folder):
        if SESSION in files:
            names.clear()
            yield Path(place)
        names[:] = [name for name in names if not name.startswith(".")]


def _content(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            content = file.read(LARGEST_BYTES + 1)
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise SessionError(f"{path} cannot be read: {why}. Give a folder of `read`.") from error
    if len(content) > LARGEST_BYTES:
        raise SessionError(
            f"{path} is larger than {LARGEST_BYTES // 1_000_000} MB and so none of this tool's "
            "files: give a folder of `read`."
        )
    return content


def _json(path: Path, content: bytes) -> Any:
    def refuse(word: str) -> None:
        raise ValueError(f"{word} is no JSON")

    try:
        return json.loads(content.decode("utf-8"), parse_constant=refuse)
    except (ValueError, RecursionError) as error:
        raise SessionError(
            f"{path} is no JSON file, or is cut off ({error}): read the recording anew."
        ) from error


def _check_rows(record: SessionRecord) -> None:
    """Refuse a change to a row that is not there, or to what it cannot be."""
    both: tuple[tuple[str, tuple[Edit | Judgement, ...]], ...] = (
        ("edits", record.edits),
        ("judgements", record.judgements),
    )
    for name, changes in both:
        for number, change in enumerate(changes):
            if not 1 <= change.row <= len(record.findings):
                raise ValueError(
                    f"{name}[{number}].row is {change.row}, and there are "
                    f"{len(record.findings)} rows"
                )
    rows_in_force(record.findings, record.edits)


def _angle(line: dict[Any, Any]) -> ArmAngle:
    side, source, time_s = line["side"], line["source"], line["time_s"]
    if side not in SIDES or source not in get_args(Source) or pd.isna(line["visible"]):
        raise ValueError(f"the line at {time_s} s has no side, source or visibility")
    if pd.isna(time_s) or not isfinite(time_s):
        raise ValueError("a line has no time")
    return ArmAngle(
        time_s=float(time_s),
        side=cast("Side", side),
        angle_deg=_number(line["angle_deg"]),
        visible=bool(line["visible"]),
        reason="" if pd.isna(line["reason"]) else str(line["reason"]),
        source=cast("Source", source),
        error_deg=_number(line["error_deg"]),
        plane_deg=_number(line["plane_deg"]),
    )


def _number(value: Any) -> float | None:
    return None if pd.isna(value) else float(value)
