"""A class at a glance: one line a session, to sort and to take along."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import pandas as pd

from logger.core.errors import SpokenFindingsError
from logger.core.events import RowStatus
from logger.core.session import KeptRow
from logger.files.session_json import SessionRecord
from logger.review.criteria import SheetPlan, load_sheet
from logger.review.scoring import Outcome, Score, filled_in
from logger.review.store import (
    ReviewFolder,
    judgements_in_force,
    kept_rows,
    practised,
    to_check,
)

TO_CHECK: Final = "to check"
REVIEWED: Final = "reviewed"
COLUMNS: Final = (
    "session",
    "examiner_code",
    "started_at",
    "state",
    "rows",
    "to_check",
    "withdrawn",
    "edits",
    "judged",
    "judged_alike",
    "met",
    "not_met",
    "cannot_be_told",
)
_TEXTS: Final = ("session", "examiner_code", "started_at", "state")


@dataclass(frozen=True, slots=True)
class ClassLine:
    """One session of a class."""

    session: str
    examiner_code: str | None
    started_at: str | None
    state: str
    """`REVIEWED` where someone has looked through it and no check is open, else `TO_CHECK`."""
    rows: int
    """Those that stand, without the withdrawn ones."""
    to_check: int
    withdrawn: int
    edits: int
    judged: int
    """Values that an educator gave beside one of the student's, as it is in force."""
    judged_alike: int
    """Of those, the ones that are the same."""
    scores: tuple[Score, ...]


@dataclass(frozen=True, slots=True)
class ClassTable:
    """All sessions of a folder that could be read, and why others could not."""

    lines: tuple[ClassLine, ...]
    problems: tuple[str, ...]


def class_table(folder: ReviewFolder, sheet: str) -> ClassTable:
    """Return a line for each session of `folder`, scored by `sheet`, as `load_sheet` takes it.

    Raises:
        SessionError: if the folder cannot be looked into.
        PackError: if the sheet has a mistake.

    """
    plans: dict[str, SheetPlan] = {}
    lines, problems = [], []
    for name in folder.names():
        try:
            record = folder.read(name)
            pack = folder.pack_of(record)
            if pack.name not in plans:
                plans[pack.name] = load_sheet(sheet, pack)
            scores = filled_in(plans[pack.name], practised(record, pack))
            lines.append(line_of(name, record, scores))
        except SpokenFindingsError as error:
            problems.append(f"{name}: {error}")
    return ClassTable(tuple(lines), tuple(problems))


def line_of(name: str, record: SessionRecord, scores: Sequence[Score]) -> ClassLine:
    """Return the line of one session."""
    rows = kept_rows(record)
    withdrawn = sum(row.finding.status is RowStatus.WITHDRAWN for row in rows)
    unsettled = len(to_check(rows))
    both = list(_both(rows, record))
    return ClassLine(
        session=name,
        examiner_code=record.facts.examiner_code,
        started_at=record.facts.started_at,
        state=REVIEWED if record.reviews and not unsettled else TO_CHECK,
        rows=len(rows) - withdrawn,
        to_check=unsettled,
        withdrawn=withdrawn,
        edits=len(record.edits),
        judged=len(both),
        judged_alike=sum(student == educator for student, educator in both),
        scores=tuple(scores),
    )


def _both(rows: Sequence[KeptRow], record: SessionRecord) -> Iterator[tuple[object, object]]:
    for judgement in judgements_in_force(record):
        row = rows[judgement.row - 1].finding
        said = getattr(row, judgement.slot)
        # What a row to check says may be wrong, and a withdrawn one says nothing.
        if said is not None and row.status is RowStatus.LOGGED:
            yield said, judgement.value


def class_frame(lines: Sequence[ClassLine]) -> pd.DataFrame:
    """Return the columns of `COLUMNS`, then one a criterion, in words."""
    criteria = dict.fromkeys(score.text for line in lines for score in line.scores)
    frame = pd.DataFrame.from_records([_record(line) for line in lines])
    frame = frame.reindex(columns=[*COLUMNS, *criteria])
    texts = (*_TEXTS, *criteria)
    return frame.astype(dict.fromkeys(texts, "string"))


def _record(line: ClassLine) -> dict[str, object]:
    counts = {outcome: sum(s.outcome is outcome for s in line.scores) for outcome in Outcome}
    counted = {
        "met": counts[Outcome.MET],
        "not_met": counts[Outcome.NOT_MET],
        "cannot_be_told": counts[Outcome.CANNOT_TELL],
    }
    own = {name: getattr(line, name) for name in COLUMNS if name not in counted}
    return {**own, **counted, **{score.text: score.outcome.value for score in line.scores}}
