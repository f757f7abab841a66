"""What leaves the tool of a session, whatever the format: the values in force and what was heard.

The table has one row a finding. Its values are those in force; the changes that led there stand in
a column of their own, so that what was heard can always be had back.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

import pandas as pd

from logger.core.editing import rows_in_force
from logger.core.events import Finding
from logger.core.session import Bout, Edit, Judgement, SessionFacts
from logger.files.session_json import PackFacts, RecordingFacts, SessionRecord, plain, schema_of
from logger.files.tables import FINDING_COLUMNS, column_type, finding_cells, table_frame

OF_SESSION: Final = (
    "session",
    "recording",
    "pack",
    "patient_code",
    "examiner_code",
    "started_at",
    "involved_side",
)
CHANGES: Final = ("edits", "judgements")
"""Lists in JSON: who changed or judged what and when, with the value before."""
EXPORT_COLUMNS: Final = (*OF_SESSION, "row", *FINDING_COLUMNS, *CHANGES)
_FRICTIONLESS: Final = {"string": "string", "Int64": "integer", "Float64": "number"}


@dataclass(frozen=True, slots=True)
class ExportedRow:
    """One finding."""

    row: int
    """From 1, in the order of start; withdrawn rows count too."""
    in_force: Finding
    as_heard: Finding | None
    """Before any edit; None where there was none."""
    edits: tuple[Edit, ...]
    judgements: tuple[Judgement, ...]


@dataclass(frozen=True, slots=True)
class ExportedSession:
    """One session."""

    session: str
    """The name of its folder."""
    tool_version: str
    recording: RecordingFacts
    pack: PackFacts
    facts: SessionFacts
    rows: tuple[ExportedRow, ...]
    bouts: tuple[Bout, ...]
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ExportFile:
    """All of an export in JSON."""

    sessions: tuple[ExportedSession, ...]
    kind: Literal["spoken-findings export"] = "spoken-findings export"
    format: Literal[1] = 1


def exported(name: str, record: SessionRecord) -> ExportedSession:
    """Return what leaves the tool of a session that is stored as `name`."""
    in_force = rows_in_force(record.findings, record.edits)
    rows = []
    for number, (heard, now) in enumerate(zip(record.findings, in_force, strict=True), 1):
        edits = tuple(edit for edit in record.edits if edit.row == number)
        judgements = tuple(judged for judged in record.judgements if judged.row == number)
        rows.append(ExportedRow(number, now, heard if edits else None, edits, judgements))
    return ExportedSession(
        name,
        record.tool_version,
        record.recording,
        record.pack,
        record.facts,
        tuple(rows),
        record.bouts,
        record.warnings,
    )


def export_frame(sessions: Sequence[ExportedSession]) -> pd.DataFrame:
    """Return one row a finding with the columns of `EXPORT_COLUMNS`; missing means not said."""
    return table_frame([_cells(s, row) for s in sessions for row in s.rows], EXPORT_COLUMNS)


def of_session(session: ExportedSession) -> dict[str, str | None]:
    """Return the cells that are the same in all rows of a session."""
    facts = session.facts
    values = (
        session.session,
        session.recording.name,
        session.pack.name,
        facts.patient_code,
        facts.examiner_code,
        facts.started_at,
        facts.involved_side,
    )
    return dict(zip(OF_SESSION, values, strict=True))


def _cells(session: ExportedSession, row: ExportedRow) -> dict[str, object]:
    changes = {"edits": as_text(row.edits), "judgements": as_text(row.judgements)}
    return {**of_session(session), "row": row.row, **finding_cells(row.in_force), **changes}


def as_text(changes: Sequence[Edit | Judgement]) -> str:
    """Return changes as JSON in one line; empty where there are none."""
    if not changes:
        return ""
    return json.dumps([plain(change) for change in changes], ensure_ascii=False)


def export_schema() -> dict[str, Any]:
    """Return the JSON schema (draft 2020-12) of an export in JSON."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Spoken findings, exported",
        **schema_of(ExportFile),
    }


def table_schema() -> dict[str, Any]:
    """Return the Table Schema of an export in CSV or Parquet: names and types of the columns."""
    return {
        "fields": [
            {"name": column, "type": _FRICTIONLESS[column_type(column)]}
            for column in EXPORT_COLUMNS
        ],
        "missingValues": [""],
        "primaryKey": ["session", "row"],
    }
