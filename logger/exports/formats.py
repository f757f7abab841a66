"""The formats of an export: how each is written, and read back."""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pandas as pd

from logger.core.errors import SessionError
from logger.exports.as_fhir import fhir_text
from logger.exports.from_fhir import read_fhir
from logger.exports.note import NOTE_COLUMNS, note_text, read_note
from logger.exports.sessions import (
    EXPORT_COLUMNS,
    ExportedSession,
    ExportFile,
    export_frame,
)
from logger.files.session_json import plain
from logger.files.tables import csv_text, read_table_csv
from logger.files.typed import typed

Sessions = Sequence[ExportedSession]
LARGEST_BYTES: Final = 256_000_000
"""Some 100,000 findings in the wordiest format: a bigger file is something else."""


@dataclass(frozen=True, slots=True)
class Format:
    """A way to write sessions down."""

    name: str
    endings: tuple[str, ...]
    columns: tuple[str, ...]
    """What it holds of the table."""
    write: Callable[[Sessions], bytes]
    read: Callable[[bytes, str], pd.DataFrame]
    """From the content and the name to show; raises SessionError and nothing else."""
    for_eyes: bool = True
    """Whether it can be printed on a terminal."""


def _write_parquet(sessions: Sessions) -> bytes:
    whole = io.BytesIO()
    export_frame(sessions).to_parquet(whole, index=False, engine="pyarrow")
    return whole.getvalue()


def _write_json(sessions: Sessions) -> bytes:
    text = json.dumps(plain(ExportFile(tuple(sessions))), indent=2, ensure_ascii=False)
    return (text + "\n").encode("utf-8")


def _text(content: bytes, shown: str) -> str:
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError as error:
        raise SessionError(f"{shown} is not UTF-8 text: export the session anew.") from error


def _read_csv(content: bytes, shown: str) -> pd.DataFrame:
    return _table(lambda: read_table_csv(io.BytesIO(content)), shown)


def _read_parquet(content: bytes, shown: str) -> pd.DataFrame:
    return _table(lambda: pd.read_parquet(io.BytesIO(content)), shown)


def _table(read: Callable[[], pd.DataFrame], shown: str) -> pd.DataFrame:
    try:
        return read()[list(EXPORT_COLUMNS)]
    except KeyError as error:
        raise SessionError(f"{shown} lacks columns of an export: {error.args[0]}.") from error
    except (ValueError, TypeError, OSError) as error:
        raise SessionError(f"{shown} is no such table, or is damaged: {error}.") from error


def _read_json(content: bytes, shown: str) -> pd.DataFrame:
    try:
        file = typed(ExportFile, json.loads(_text(content, shown)))
    except (ValueError, RecursionError) as error:
        raise SessionError(f"{shown} is no export of this tool, or is damaged: {error}.") from error
    return export_frame(file.sessions)


FORMATS: Final = {
    made.name: made
    for made in (
        Format(
            "csv",
            (".csv",),
            EXPORT_COLUMNS,
            lambda sessions: csv_text(export_frame(sessions)).encode("utf-8"),
            _read_csv,
        ),
        Format("parquet", (".parquet",), EXPORT_COLUMNS, _write_parquet, _read_parquet, False),
        Format("json", (".json",), EXPORT_COLUMNS, _write_json, _read_json),
        Format(
            "fhir",
            (".fhir.json",),
            EXPORT_COLUMNS,
            lambda sessions: fhir_text(sessions).encode("utf-8"),
            lambda content, shown: read_fhir(_text(content, shown), shown),
        ),
        Format(
            "text",
            (".txt",),
            NOTE_COLUMNS,
            lambda sessions: note_text(sessions).encode("utf-8"),
            lambda content, shown: read_note(_text(content, shown), shown),
        ),
    )
}


def format_of(path: Path) -> Format | None:
    """Return the format that a file's name tells, the longest ending first."""
    endings = ((ending, made) for made in FORMATS.values() for ending in made.endings)
    matching = [(e, made) for e, made in endings if path.name.lower().endswith(e)]
    return max(matching, key=lambda pair: len(pair[0]))[1] if matching else None


def read_export(path: Path, made: Format) -> pd.DataFrame:
    """Return the table of an exported file.

    Raises:
        SessionError: if it cannot be read, or is of another format.

    """
    try:
        with path.open("rb") as file:
            content = file.read(LARGEST_BYTES + 1)
    except OSError as error:
        raise SessionError(f"{path} cannot be read: {error.strerror or error}.") from error
    if len(content) > LARGEST_BYTES:
        raise SessionError(f"{path} is larger than {LARGEST_BYTES // 1_000_000} MB: no export.")
    return made.read(content, str(path))


def differs(sessions: Sessions, made: Format, content: bytes) -> str:
    """Return in what column `content` does not read back as the sessions' table; else nothing."""
    wanted = export_frame(sessions)[list(made.columns)]
    back = made.read(content, f"the {made.name} export")
    if len(back) != len(wanted):
        return "number of rows"
    return next((c for c in made.columns if not _same(back[c], wanted[c])), "")


def _same(one: pd.Series[Any], other: pd.Series[Any]) -> bool:
    cells = ([None if pd.isna(cell) else cell for cell in column] for column in (one, other))
    return next(cells) == next(cells)
