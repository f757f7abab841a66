"""Rows against truth: what was right, what was lost, what was wrong without a word of warning."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Final

from logger.bench.hearing.scripts import TimedLine, Truth, TruthRow
from logger.core.events import Finding, RowStatus, Verdict
from logger.core.statements import SLOTS, Act, Heard, SlotValue

CRITICAL: Final = ("side", "test", "motion", "range_deg", "grade", "mobility", "pain")
"""A wrong value in one of these can hurt somebody."""
_NEAR_S: Final = 0.5
"""How far the times of a row may be off and it still be taken for the same row."""
_AMENDING: Final = frozenset(
    {Act.ATTRIBUTES, Act.SIDE, Act.CORRECTION, Act.WITHDRAW, Act.OTHER_SIDE, Act.NOTE}
)
"""What changes a row or the side without opening one."""


@dataclass(frozen=True, slots=True)
class CriticalError:
    """A wrong value in a row that is not marked for a check."""

    at_s: float
    slot: str
    truth: SlotValue | None
    heard: SlotValue | None
    said: str

    def sentence(self) -> str:
        """Return the error in one line."""
        return (
            f"{self.at_s:.1f} s: {self.slot} is {_shown(self.truth)}, heard {_shown(self.heard)} "
            f'in "{self.said}"'
        )


@dataclass(frozen=True, slots=True)
class Score:
    """The counts of one or more tracks; they add up with `+`."""

    seconds: float = 0.0
    rows: int = 0
    """Rows of the truth."""
    exact: int = 0
    """Of those, rows with every column right, withdrawn or not as it should be, and heard."""
    marked: int = 0
    """Heard rows that belong to a row of the truth and are marked for a check."""
    marked_exact: int = 0
    """Of the exact ones, those marked for a check: a warning for nothing."""
    slots_said: int = 0
    slots_heard: int = 0
    slots_right: int = 0
    errors: tuple[CriticalError, ...] = ()
    standing: int = 0
    """Unmarked rows that stand though they were taken back, or were taken back by nobody."""
    false_findings: int = 0
    """Unmarked rows that belong to no row of the truth."""
    false_checks: int = 0
    """Marked rows that belong to no row of the truth."""
    amendments: int = 0
    """Times that talk was heard, surely, as a side, a command or attributes."""
    doubtful_amendments: int = 0
    """The same, but unsurely: it marks a row for a check."""
    traces: tuple[str, ...] = ()
    """Every false row and every amendment from talk, a sentence each."""
    time_errors_s: tuple[float, ...] = ()
    """How far the start and the end of each heard row are off, absolute."""

    def __add__(self, other: Score) -> Score:
        """Return the counts of both."""
        return Score(
            *(getattr(self, name) + getattr(other, name) for name in Score.__dataclass_fields__)
        )

    @property
    def recall(self) -> float | None:
        """The share of what was said that is in the table; None where nothing was."""
        return self.slots_right / self.slots_said if self.slots_said else None

    @property
    def precision(self) -> float | None:
        """The share of what is in the table that was said; None where nothing is."""
        return self.slots_right / self.slots_heard if self.slots_heard else None

    def an_hour(self, count: int) -> float:
        """Return how many that would be in an hour of this."""
        return count * 3600 / self.seconds if self.seconds else 0.0


@dataclass(slots=True)
class _Tally:
    counts: Counter[str] = field(default_factory=Counter)
    errors: list[CriticalError] = field(default_factory=list)
    traces: list[str] = field(default_factory=list)
    times_s: list[float] = field(default_factory=list)


def score(truth: Truth, rows: Sequence[Finding], heard: Sequence[Heard] = ()) -> Score:
    """Return how well `rows` agree with what was said.

    Rows are paired with the truth by the time of the words that open them. A value that is
    missing is lost, one that differs or that nobody said is wrong: in a column of `CRITICAL` and a
    row that nobody is asked to check, that is a silent critical error. A row that was withdrawn
    in truth and in the table is right whatever it holds, and its columns are not counted.

    Args:
        truth: what was said.
        rows: the table, in any order.
        heard: every utterance with its meaning, for what talk changed without opening a row.

    """
    tally = _Tally()
    pairs = paired(truth.rows, rows)
    matched = {id(row) for _, row in pairs if row is not None}
    for wanted, row in pairs:
        _count_pair(wanted, row, tally)
    for row in rows:
        if id(row) not in matched and row.status is not RowStatus.WITHDRAWN:
            _count_false(row, tally)
    for item in heard:
        _count_talk(item, truth.lines, tally)
    return Score(
        seconds=truth.duration_s,
        rows=len(truth.rows),
        errors=tuple(tally.errors),
        traces=tuple(tally.traces),
        time_errors_s=tuple(tally.times_s),
        **tally.counts,
    )


def paired(
    truth: Sequence[TruthRow], rows: Sequence[Finding]
) -> list[tuple[TruthRow, Finding | None]]:
    """Pair each row of the truth with the heard row that overlaps it most in time, each once."""
    overlaps = sorted(
        (
            (_overlap_s(wanted, row), i, j)
            for i, wanted in enumerate(truth)
            for j, row in enumerate(rows)
        ),
        key=lambda overlap: -overlap[0],
    )
    taken: dict[int, int] = {}
    for overlap_s, i, j in overlaps:
        if overlap_s > 0 and i not in taken and j not in taken.values():
            taken[i] = j
    return [(wanted, rows[taken[i]] if i in taken else None) for i, wanted in enumerate(truth)]


def _overlap_s(wanted: TruthRow, row: Finding) -> float:
    start_s, end_s = wanted.start_s - _NEAR_S, wanted.end_s + _NEAR_S
    return min(end_s, row.end_s) - max(start_s, row.start_s)


def values_of(row: Finding) -> dict[str, SlotValue]:
    """Return the columns of a row that are not empty."""
    return {slot: getattr(row, slot) for slot in SLOTS if getattr(row, slot) is not None}


def _count_pair(wanted: TruthRow, row: Finding | None, tally: _Tally) -> None:
    if row is None:
        if not wanted.withdrawn:
            tally.counts["slots_said"] += len(_said(wanted))
        return
    withdrawn = row.status is RowStatus.WITHDRAWN
    if row.status is RowStatus.CHECK:
        tally.counts["marked"] += 1
    tally.times_s += [abs(row.start_s - wanted.start_s), abs(row.end_s - wanted.end_s)]
    if withdrawn and wanted.withdrawn:
        tally.counts["exact"] += 1
        return
    exact = _count_slots(wanted, row, tally)
    if withdrawn != wanted.withdrawn:
        if row.status is not RowStatus.CHECK:
            tally.counts["standing"] += 1
        return
    if exact and bool(row.note) == wanted.noted:
        tally.counts["exact"] += 1
        tally.counts["marked_exact"] += row.status is RowStatus.CHECK


def _count_slots(wanted: TruthRow, row: Finding, tally: _Tally) -> bool:
    """Count the columns of a pair; return whether all are right."""
    said, heard = _said(wanted), values_of(row)
    tally.counts["slots_said"] += len(said)
    tally.counts["slots_heard"] += len(heard)
    tally.counts["slots_right"] += sum(heard.get(slot) == value for slot, value in said.items())
    if row.status is RowStatus.LOGGED:
        tally.errors += (
            CriticalError(row.start_s, slot, said.get(slot), heard[slot], row.said)
            for slot in CRITICAL
            if slot in heard and heard[slot] != said.get(slot)
        )
    return said == heard


def _said(wanted: TruthRow) -> dict[str, SlotValue]:
    return {slot: value for slot, value in wanted.slots.items() if value not in ("", None)}


def _count_false(row: Finding, tally: _Tally) -> None:
    tally.counts["slots_heard"] += len(values_of(row))
    name = "false_checks" if row.status is RowStatus.CHECK else "false_findings"
    tally.counts[name] += 1
    tally.traces.append(
        f'{row.start_s:.1f} s: a row ({row.status.value}) that nobody said, "{row.said}"'
    )


def _count_talk(item: Heard, lines: Sequence[TimedLine], tally: _Tally) -> None:
    statement = item.statement
    if item.utterance.verdict is Verdict.TALK or statement is None:
        return
    if statement.act not in _AMENDING or not is_talk(item, lines):
        return
    doubtful = item.utterance.verdict is Verdict.UNSURE or item.question
    tally.counts["doubtful_amendments" if doubtful else "amendments"] += 1
    heard = "unsurely heard" if doubtful else "heard"
    utterance = item.utterance
    tally.traces.append(f'{utterance.start_s:.1f} s: talk {heard} as "{utterance.text}"')


def is_talk(item: Heard, lines: Iterable[TimedLine]) -> bool:
    """Tell whether an utterance lies on talk or noise alone, or on nothing at all."""
    return not any(
        line.kind not in ("talk", "noise")
        and line.start_s - _NEAR_S < item.utterance.end_s
        and item.utterance.start_s < line.end_s + _NEAR_S
        for line in lines
    )


def _shown(value: SlotValue | None) -> str:
    return "not said" if value is None else str(value)


def total(scores: Iterable[Score]) -> Score:
    """Add up the counts of several tracks."""
    result = Score()
    for one in scores:
        result += one
    return result
