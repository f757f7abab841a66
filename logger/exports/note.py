"""A session as a plain-text note, to paste into any record, and back.

One line a finding, its marks of time and set-up below it. What people wrote or said freely stands
in quotes on a line of its own, with everything escaped that could break out of it: a line break, a
quote, or a character that turns the direction of writing.
"""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

import pandas as pd

from logger.core.errors import SessionError
from logger.core.events import RowStatus, SetupStatus
from logger.core.session import Bout
from logger.core.statements import SLOTS
from logger.core.words import clock, status_text
from logger.exports.sessions import ExportedRow, ExportedSession, export_frame
from logger.files.tables import column_type, table_frame

NOTE_COLUMNS: Final = (
    "session",
    "patient_code",
    "examiner_code",
    "started_at",
    "involved_side",
    "recording",
    "pack",
    "row",
    *SLOTS,
    "note",
    "status",
)
"""What a note holds of the table."""
_TITLE: Final = "FINDINGS AS SPOKEN BY THE EXAMINER"
_FACTS: Final = {
    "session": "Session",
    "patient_code": "Patient",
    "examiner_code": "Examiner",
    "started_at": "Start",
    "involved_side": "Involved side",
    "recording": "Recording",
    "pack": "Pack",
}
_TEMPLATES: Final = {
    "side": "{} side",
    "test": "test {}",
    "motion": "motion {}",
    "mode": "{} motion",
    "range_deg": "{} degrees",
    "grade": "grade {}",
    "mobility_score": "mobility {} of 6",
    "mobility": "mobility {}",
    "pain": "pain {} of 10",
    "end_feel": "end feel {}",
    "symptoms": "symptoms {}",
    "comparison": "compared: {}",
}
_STATUS_WORDS: Final = {
    RowStatus.LOGGED: "",
    RowStatus.CHECK: "TO CHECK",
    RowStatus.WITHDRAWN: "WITHDRAWN",
}
_END: Final = (
    "Written down by a program from what was said: it grades nothing itself, and",
    "this is no diagnosis.",
)
_UNNAMED: Final = "(no test or motion named)"
_SIMPLE: Final = re.compile(r"[a-z]+(?:_[a-z]+)*|\d+[+-]?")
"""A name of a pack, which is written with spaces, or a number."""
_READ_SIMPLE: Final = re.compile(r"[a-z]+(?: [a-z]+)*|\d+[+-]?")
_ROW: Final = re.compile(r"(\d+)\.(?: |$)")
_INDENT: Final = "   "
_BETWEEN: Final = " | "
_WIDTH: Final = 80
_TURNS_WRITING: Final = frozenset(["Cc", "Cf", "Zl", "Zp", "Cs"])
"""Unicode categories of characters that cannot be seen but move what follows."""


def note_text(sessions: Sequence[ExportedSession]) -> str:
    """Return the note of each session, one after the other."""
    return "\n".join("\n".join(_session_lines(session)) + "\n" for session in sessions)


def _session_lines(session: ExportedSession) -> Iterator[str]:
    frame = export_frame([session])
    lines = [
        {str(name): None if pd.isna(cell) else cell for name, cell in line.items()}
        for line in frame.to_dict("records")
    ]
    facts = _facts(session)
    yield _TITLE
    yield from (f"{label}: {_free(facts[name])}" for name, label in _FACTS.items() if facts[name])
    for row, cells in zip(session.rows, lines, strict=True):
        yield from _row_lines(row, cells)
    if not session.rows:
        yield "No findings."
    yield from (_bout_line(bout) for bout in session.bouts)
    yield from _END


def _facts(session: ExportedSession) -> dict[str, str | None]:
    facts = session.facts
    return {
        "session": session.session,
        "patient_code": facts.patient_code,
        "examiner_code": facts.examiner_code,
        "started_at": facts.started_at,
        "involved_side": facts.involved_side,
        "recording": session.recording.name,
        "pack": session.pack.name,
    }


def _row_lines(row: ExportedRow, cells: Mapping[str, Any]) -> Iterator[str]:
    said = [
        template.format(_word(cells[name]))
        for name, template in _TEMPLATES.items()
        if cells[name] is not None
    ]
    if cells["test"] is None and cells["motion"] is None:
        said.insert(0, _UNNAMED)
    status = _STATUS_WORDS[row.in_force.status]
    # First, so that nobody takes in a finding before reading that it does not stand.
    yield from _folded(f"{row.row}.", [status, *said] if status else said)
    setup = row.in_force.setup
    if setup.status is not SetupStatus.NOT_REQUIRED:
        angle = "" if setup.angle_deg is None else f"arm {setup.angle_deg:.0f} degrees, "
        at = clock(row.in_force.start_s)
        yield f"{_INDENT}at {at}; set-up: {angle}{status_text(setup.status)}"
    if cells["note"] is not None:
        yield f"{_INDENT}note {_quoted(cells['note'])}"
    yield from (f"{_INDENT}check: {_free(reason)}" for reason in row.in_force.reasons)
    yield from (f"{_INDENT}caution: {_free(caution)}" for caution in row.in_force.cautions)
    for edit in row.edits:
        before, after = ("not said" if v is None else _word(v) for v in (edit.before, edit.after))
        yield f"{_INDENT}changed: {_free(edit.slot)} from {before} to {after}, by {_free(edit.by)}"


def _folded(number: str, parts: Sequence[str]) -> Iterator[str]:
    """Yield the parts in as few lines as fit; each line but the first begins with a bar."""
    line = number
    for place, part in enumerate(parts):
        between = " " if place == 0 else _BETWEEN
        if place and len(line) + len(between) + len(part) > _WIDTH:
            yield line
            line, between = _INDENT, _BETWEEN.lstrip()
        line += between + part
    yield line


def _bout_line(bout: Bout) -> str:
    test = bout.test and bout.test.replace("_", " ")
    what = " ".join(filter(None, (bout.side, test, bout.grade and f"grade {bout.grade}")))
    end = "not ended" if bout.end_s is None else f"to {clock(bout.end_s)}"
    return f"Treatment: {_free(what or 'not named')}, from {clock(bout.start_s)} {end}"


def read_note(text: str, shown: str) -> pd.DataFrame:
    """Return the table of a note, with the columns of `NOTE_COLUMNS`.

    Raises:
        SessionError: if it is none of `note_text`; `shown` names the file.

    """
    if not text.startswith(_TITLE):
        raise SessionError(f"{shown} is no note of this tool: give one of `export --as text`.")
    if not text.rstrip().endswith(_END[-1]):
        raise SessionError(f"{shown} is cut off before its last line: copy it again.")
    rows: list[dict[str, object]] = []
    facts: dict[str, object] = {}
    for number, line in enumerate(text.replace(f"\n{_INDENT}| ", _BETWEEN).split("\n"), 1):
        try:
            _take(line, facts, rows)
        except (ValueError, KeyError, IndexError, StopIteration) as error:
            raise SessionError(f"{shown}: line {number} is no finding: {line!r:.60}.") from error
    return table_frame(rows, NOTE_COLUMNS)


def _take(line: str, facts: dict[str, object], rows: list[dict[str, object]]) -> None:
    label, _, rest = line.partition(": ")
    names = {label: name for name, label in _FACTS.items()}
    if line == _TITLE:
        facts.clear()
    elif label in names:
        facts[names[label]] = _unquoted(rest)
    elif _ROW.match(line):
        rows.append({**dict.fromkeys(NOTE_COLUMNS), **facts, **_row(line)})
    elif line.startswith(f'{_INDENT}note "'):
        rows[-1]["note"] = json.loads(line.removeprefix(f"{_INDENT}note "))


def _row(line: str) -> dict[str, object]:
    number, _, said = line.partition(".")
    cells: dict[str, object] = {"row": int(number), "status": RowStatus.LOGGED.value}
    statuses = {words: status.value for status, words in _STATUS_WORDS.items() if words}
    for part in _split(said.strip()):
        if part in statuses:
            cells["status"] = statuses[part]
        elif part != _UNNAMED:
            name, value = next(_readings(part))
            cells[name] = value
    return cells


def _readings(part: str) -> Iterator[tuple[str, object]]:
    for name, template in _TEMPLATES.items():
        before, after = template.split("{}")
        word = part.removeprefix(before).removesuffix(after)
        if f"{before}{word}{after}" != part:
            continue
        if word.startswith('"'):
            yield name, json.loads(word)
        elif column_type(name) != "Int64" and _READ_SIMPLE.fullmatch(word):
            yield name, word.replace(" ", "_")
        elif column_type(name) == "Int64" and word.removeprefix("-").isdigit():
            yield name, int(word)


def _split(text: str) -> list[str]:
    """Split at the bars that are outside quotes."""
    inside = r'"(?:[^"\\]|\\.)*"'
    bar = re.escape(_BETWEEN)
    return re.findall(rf"((?:{inside}|(?!{bar}).)+)(?:{bar}|$)", text)


def _word(value: str | int) -> str:
    """Return a value as it is said where it is a name or number, else in quotes."""
    if isinstance(value, str):
        return value.replace("_", " ") if _SIMPLE.fullmatch(value) else _quoted(value)
    return str(int(value))


def _free(text: str | None) -> str:
    """Return free words on their own line: in quotes only where they need it."""
    plain = text and text.isprintable() and text.strip() == text and not text.startswith('"')
    return str(text) if plain and _escaped(str(text)) == text else _quoted(str(text))


def _quoted(text: str) -> str:
    return _escaped(json.dumps(text, ensure_ascii=False))


def _escaped(text: str) -> str:
    return "".join(
        json.dumps(c)[1:-1] if unicodedata.category(c) in _TURNS_WRITING else c for c in text
    )


def _unquoted(word: str) -> str:
    return str(json.loads(word)) if word.startswith('"') else word
