"""Utterances and arm angles become rows; everything that finds no row is kept with its reason."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from logger.core.events import (
    SIDES,
    ArmAngle,
    Finding,
    RowStatus,
    SetupReading,
    SetupStatus,
    Utterance,
    Verdict,
)
from logger.core.statements import Act, Heard, SetupWindow, SlotValue, Statement
from logger.findings.setup import SetupRules, read_setup


@dataclass(frozen=True, slots=True)
class MergeRules:
    """What the merging takes from the pack, and how long a row stays open."""

    windows: Mapping[str, SetupWindow]
    mobility_of_score: Mapping[int, str]
    open_row_s: float = 20.0
    setup: SetupRules = field(default_factory=SetupRules)


@dataclass(frozen=True, slots=True)
class PositionCheck:
    """One "check position": the arm's angle at that moment."""

    at_s: float
    side: str
    reading: SetupReading


@dataclass(frozen=True, slots=True)
class Merged:
    """What became of a session."""

    rows: tuple[Finding, ...]
    position_checks: tuple[PositionCheck, ...]
    unplaced: tuple[tuple[Utterance, str], ...]
    """What was heard but belongs to no row, with the reason."""


@dataclass(slots=True)
class _Row:
    first: Utterance
    slots: dict[str, SlotValue] = field(default_factory=dict)
    doubts: dict[str, str] = field(default_factory=dict)
    """Reasons for a check by what they are about; a correction of that slot settles them."""
    notes: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    confidence: float = 1.0
    until_s: float = 0.0
    withdrawn: bool = False


def merge(heard: Sequence[Heard], angles: Sequence[ArmAngle], rules: MergeRules) -> Merged:
    """Return the table of a session; the same input always gives the same table."""
    table = _Table(angles, rules)
    for item in heard:
        if item.statement is not None:
            table.take(item, item.statement)
    return Merged(
        tuple(table.finding(row) for row in table.rows),
        tuple(table.checks),
        tuple(table.unplaced),
    )


class _Table:
    def __init__(self, angles: Sequence[ArmAngle], rules: MergeRules) -> None:
        self.rows: list[_Row] = []
        self.checks: list[PositionCheck] = []
        self.unplaced: list[tuple[Utterance, str]] = []
        self._angles = angles
        self._rules = rules
        self._open: _Row | None = None
        self._side: SlotValue | None = None
        self._side_doubt = ""

    def take(self, item: Heard, statement: Statement) -> None:
        acts = {
            Act.FINDING: self._finding,
            Act.ATTRIBUTES: self._attributes,
            Act.SIDE: self._set_side,
            Act.CORRECTION: self._correct,
            Act.WITHDRAW: self._withdraw,
            Act.OTHER_SIDE: self._other_side,
            Act.CHECK_POSITION: self._check_position,
            Act.NOTE: self._note,
        }
        acts[statement.act](item, statement)

    def _finding(self, item: Heard, statement: Statement) -> None:
        row = _Row(item.utterance)
        self.rows.append(row)
        self._open = row
        self._fill(row, item, statement)
        if "side" in statement.slots:
            self._side = row.slots.get("side")
            self._side_doubt = row.doubts.get("side", "")
        elif self._side is not None:
            row.slots["side"] = self._side
            if self._side_doubt:
                row.doubts["side"] = self._side_doubt
        if "side" not in row.slots and "side" not in row.doubts:
            row.doubts["side"] = "side not said"
        if "test" in row.slots and "motion" in row.slots:
            row.doubts["test"] = "a test and a motion in one row"

    def _attributes(self, item: Heard, statement: Statement) -> None:
        row = self._still_open(item)
        if row is None:
            self._unplace(item, "no row was open for it")
            return
        said = statement.slots.get("side", ())
        if said and said[0] != row.slots.get("side"):
            row.doubts["side"] = f"side: {row.slots.get('side', 'not said')} or {said[0]}?"
        self._fill(row, item, statement)

    def _correct(self, item: Heard, statement: Statement) -> None:
        row = self._still_open(item)
        if row is None:
            self._unplace(item, "no row was open to correct")
            return
        for slot in statement.slots:
            row.slots.pop(slot, None)
            row.doubts.pop(slot, None)
            if slot in {"mobility", "mobility_score"}:
                row.slots.pop("mobility", None)
                row.slots.pop("mobility_score", None)
        self._fill(row, item, statement)
        if "side" in statement.slots:
            self._side, self._side_doubt = row.slots.get("side"), row.doubts.get("side", "")

    def _set_side(self, item: Heard, statement: Statement) -> None:
        said = statement.slots["side"]
        self._side = said[0] if len(said) == 1 else None
        self._side_doubt = _unsure(item)
        self._open = None

    def _other_side(self, item: Heard, _: Statement) -> None:
        self._open = None
        if self._side is None:
            self._unplace(item, "no side was in force to switch from")
            return
        self._side = "left" if self._side == "right" else "right"
        self._side_doubt = self._side_doubt or _unsure(item)

    def _withdraw(self, item: Heard, _: Statement) -> None:
        row = next((row for row in reversed(self.rows) if not row.withdrawn), None)
        if row is None:
            self._unplace(item, "there was no row to withdraw")
            return
        self._keep(row, item)
        if doubt := _unsure(item):
            row.doubts["withdrawn"] = f"perhaps withdrawn ({doubt})"
            return
        row.withdrawn = True
        self._open = None

    def _check_position(self, item: Heard, _: Statement) -> None:
        at_s = item.utterance.start_s
        for side in SIDES if self._side is None else (str(self._side),):
            reading = read_setup(self._angles, side, at_s, None, self._rules.setup)
            self.checks.append(PositionCheck(at_s, side, reading))

    def _note(self, item: Heard, statement: Statement) -> None:
        row = self._still_open(item)
        if row is None:
            self._unplace(item, "no row was open for the note")
            return
        self._keep(row, item)
        row.notes.append(statement.note)

    def _fill(self, row: _Row, item: Heard, statement: Statement) -> None:
        self._keep(row, item)
        if doubt := _unsure(item):
            row.doubts["heard"] = doubt
        for slot, values in statement.slots.items():
            said = dict.fromkeys((*([row.slots[slot]] if slot in row.slots else []), *values))
            if len(said) == 1:
                row.slots[slot] = values[0]
            else:
                row.slots.pop(slot, None)
                row.doubts[slot] = f"{slot}: {' or '.join(map(str, said))}?"
        for heard in item.doubts:
            choices = " or ".join("not said" if v is None else str(v) for v in heard.values)
            row.doubts.setdefault(heard.slot, f"{heard.slot}: {choices}?")
        self._score(row)

    def _score(self, row: _Row) -> None:
        score = row.slots.get("mobility_score")
        meant = self._rules.mobility_of_score.get(score) if isinstance(score, int) else None
        if meant is None:
            return
        spoken = row.slots.setdefault("mobility", meant)
        if spoken != meant:
            row.doubts["mobility"] = f"mobility: said {spoken}, but {score} means {meant}"

    def _keep(self, row: _Row, item: Heard) -> None:
        row.said.append(item.utterance.text)
        row.confidence = min(row.confidence, item.utterance.confidence)
        row.until_s = item.utterance.end_s

    def _still_open(self, item: Heard) -> _Row | None:
        row = self._open
        if row is None or item.utterance.start_s - row.until_s > self._rules.open_row_s:
            return None
        return row

    def _unplace(self, item: Heard, reason: str) -> None:
        self.unplaced.append((item.utterance, reason))

    def finding(self, row: _Row) -> Finding:
        status = RowStatus.CHECK if row.doubts else RowStatus.LOGGED
        reasons = list(row.doubts.values())
        if str(row.slots.get("grade", "")).startswith("5"):
            reasons.append("caution: grade 5 is a thrust, not a test")
        values: dict[str, object] = dict(row.slots)
        return Finding(
            start_s=row.first.start_s,
            end_s=row.first.end_s,
            note="; ".join(row.notes) or None,
            setup=self._setup(row),
            said=" | ".join(row.said),
            confidence=row.confidence,
            status=RowStatus.WITHDRAWN if row.withdrawn else status,
            reasons=tuple(reasons),
            **values,  # type: ignore[arg-type]
        )

    def _setup(self, row: _Row) -> SetupReading:
        test, side = row.slots.get("test"), row.slots.get("side")
        window = self._rules.windows.get(str(test)) if test else None
        if window is None:
            return SetupReading(SetupStatus.NOT_REQUIRED)
        if side is None:
            return SetupReading(SetupStatus.NOT_SEEN)
        start_s = row.first.start_s
        return read_setup(self._angles, str(side), start_s, window, self._rules.setup)


def _unsure(item: Heard) -> str:
    if item.utterance.verdict is Verdict.UNSURE:
        return "heard unsurely"
    return item.question
