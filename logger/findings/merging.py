"""Utterances and arm angles become rows; everything that finds no row is kept with its reason.

What stays in force: the side, until another is said, and the open row, which stands for the test.
Attributes go to the open row and to no other. A new row never takes over a test or a motion: a
row is opened by naming one, so that there is nothing to take over and nothing to guess.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from logger.core.events import (
    SIDES,
    ArmAngle,
    Finding,
    PositionCheck,
    SetupReading,
    SetupStatus,
    Side,
    Utterance,
    Verdict,
)
from logger.core.statements import Act, Heard, SetupWindow, SlotValue, Statement
from logger.findings.comparing import compared
from logger.findings.rows import SpokenRow, choices, slot_doubt, whole_doubts
from logger.findings.setup import SetupRules, read_setup


@dataclass(frozen=True, slots=True)
class MergeRules:
    """What the merging takes from the pack, and how long a row stays open."""

    windows: Mapping[str, SetupWindow]
    """The setup of each test; a test without one requires none."""
    mobility_of_score: Mapping[int, str]
    open_row_s: float = 20.0
    """How long after its last utterance a row still takes attributes, this time included."""
    setup: SetupRules = field(default_factory=SetupRules)


@dataclass(frozen=True, slots=True)
class Merged:
    """What became of a session."""

    rows: tuple[Finding, ...]
    position_checks: tuple[PositionCheck, ...]
    unplaced: tuple[tuple[Utterance, str], ...]
    """What was heard but belongs to no row, with the reason."""


@dataclass(frozen=True, slots=True)
class _InForce:
    """The side that a row without one of its own takes over."""

    side: Side | None = None
    doubts: tuple[str, ...] = ()
    """Why it is doubtful; every row that takes it over is then marked for a check."""


def merge(heard: Sequence[Heard], angles: Sequence[ArmAngle], rules: MergeRules) -> Merged:
    """Return the table of a session; the same input always gives the same table.

    Nothing is guessed. A slot for which two values were said stays empty and its row is marked
    for a check with both; so is a row that takes over a doubtful side. Talk leaves no trace, but
    where it may have changed the side, rows that take the side over are marked.
    """
    table = _Table(angles, rules)
    for item in sorted(heard, key=lambda h: h.utterance.start_s):
        table.take(item)
    return table.merged()


class _Table:
    def __init__(self, angles: Sequence[ArmAngle], rules: MergeRules) -> None:
        self._rules = rules
        self._angles: dict[str, list[ArmAngle]] = {
            side: [sample for sample in angles if sample.side == side] for side in SIDES
        }
        self._rows: list[SpokenRow] = []
        self._checks: list[PositionCheck] = []
        self._unplaced: list[tuple[Utterance, str]] = []
        self._open: SpokenRow | None = None
        self._in_force = _InForce()

    def merged(self) -> Merged:
        mobility_of_score = self._rules.mobility_of_score
        return Merged(
            compared([row.finding(mobility_of_score, self._setup(row)) for row in self._rows]),
            tuple(self._checks),
            tuple(self._unplaced),
        )

    def take(self, item: Heard) -> None:
        if item.utterance.verdict is Verdict.TALK:
            if item.question:
                doubts = (*self._in_force.doubts, f"side: perhaps {item.question}")
                self._in_force = _InForce(self._in_force.side, doubts)
            return
        if item.statement is None:
            # Words that state nothing are talk, unless they were nearly heard as a statement.
            if item.question:
                self._unplace(item, f"it states nothing, {item.question}")
            return
        acts = {
            Act.FINDING: self._open_row,
            Act.ATTRIBUTES: self._complete,
            Act.SIDE: self._set_side,
            Act.CORRECTION: self._correct,
            Act.WITHDRAW: self._withdraw,
            Act.OTHER_SIDE: self._other_side,
            Act.CHECK_POSITION: self._check_position,
            Act.NOTE: self._note,
        }
        acts[item.statement.act](item, item.statement)

    def _open_row(self, item: Heard, statement: Statement) -> None:
        row = SpokenRow(item.utterance, item.utterance.end_s)
        row.join(item)
        row.fill(statement.slots)
        before = self._in_force
        self._hear_side(item, statement)
        if "side" in statement.slots:
            row.side_changed = self._in_force.side != before.side
        else:
            self._take_over_side(row, before)
        self._rows.append(row)
        self._open = row

    def _take_over_side(self, row: SpokenRow, in_force: _InForce) -> None:
        if in_force.side is not None:
            row.fill({"side": (in_force.side,)})
        for reason in in_force.doubts:
            row.doubt_slot("side", reason)

    def _complete(self, item: Heard, statement: Statement) -> None:
        row = self._still_open(item)
        if row is None:
            self._unplace(item, self._why_closed(item, "no row was open for it"))
            return
        row.join(item)
        row.fill(statement.slots)
        self._hear_side(item, statement, among=row.values.get("side", ()))

    def _correct(self, item: Heard, statement: Statement) -> None:
        row = self._still_open(item)
        if row is None:
            self._unplace(item, self._why_closed(item, "no row was open to correct"))
            return
        before = {slot: row.values.get(slot, ()) for slot in statement.slots}
        row.correct(statement.slots, self._rules.mobility_of_score)
        # After the correction, so that what is doubtful in the correction itself remains.
        row.join(item)
        for doubt in whole_doubts(item):
            for slot, values in before.items():
                was = " or ".join(map(str, values)) or "empty"
                row.doubt_slot(slot, f"{slot}: was {was} before a correction, {doubt}")
        side = self._in_force.side
        self._hear_side(item, statement)
        row.side_changed = row.side_changed or self._in_force.side != side

    def _hear_side(
        self, item: Heard, statement: Statement, among: tuple[SlotValue, ...] = ()
    ) -> None:
        """Put the side said into force; `among` are the sides said for the same row."""
        doubt = slot_doubt(item, "side")
        doubts = [] if doubt is None else [choices("side", doubt.values)]
        said = statement.slots.get("side", ())
        if not said:
            # Perhaps a side was said after all: what is in force is no longer certain.
            self._in_force = _InForce(self._in_force.side, (*self._in_force.doubts, *doubts))
            return
        doubts += [f"side: {reason} when it was said" for reason in whole_doubts(item)]
        sides = tuple(dict.fromkeys((*among, *said)))
        if len(sides) > 1:
            self._in_force = _InForce(None, (choices("side", sides), *doubts))
            return
        side = next((side for side in SIDES if side == sides[0]), None)
        self._in_force = _InForce(side, tuple(doubts))

    def _set_side(self, item: Heard, statement: Statement) -> None:
        self._hear_side(item, statement)
        row = self._open
        if row is None:
            return
        if not row.values.get("side"):
            # It may be meant for this row or for the next: the row's side stays open.
            row.doubt_slot("side", f'"{item.utterance.text}" was said after the row')
        elif row.value("side") != self._in_force.side or self._in_force.doubts:
            self._open = None

    def _other_side(self, item: Heard, _: Statement) -> None:
        self._open = None
        before = self._in_force
        if before.side is None:
            self._unplace(item, "no side was in force to switch from")
            return
        doubts = tuple(f"side: {reason} when it was switched" for reason in whole_doubts(item))
        other: Side = "left" if before.side == "right" else "right"
        self._in_force = _InForce(other, (*before.doubts, *doubts))

    def _withdraw(self, item: Heard, _: Statement) -> None:
        row = self._last_standing()
        if row is None:
            self._unplace(item, "there was no row to withdraw")
            return
        row.join(item)
        if whole_doubts(item):
            _doubt_withdrawal(row)
            return
        row.withdrawn = True
        self._open = None
        if row.side_changed:
            # Perhaps the side is what was wrong with it.
            reason = f'side: it comes from a withdrawn row, "{row.first.text}"'
            self._in_force = _InForce(self._in_force.side, (*self._in_force.doubts, reason))
        earlier = self._last_standing()
        if row.perhaps_withdrawn and earlier is not None:
            # If the doubtful "scratch that" was one, this one is about the row before.
            _doubt_withdrawal(earlier)

    def _last_standing(self) -> SpokenRow | None:
        return next((row for row in reversed(self._rows) if not row.withdrawn), None)

    def _check_position(self, item: Heard, _: Statement) -> None:
        at_s = item.utterance.start_s
        in_force = self._in_force
        # Where the side is doubtful, both arms are read rather than perhaps the wrong one.
        sides = SIDES if in_force.side is None or in_force.doubts else (in_force.side,)
        for side in sides:
            reading = read_setup(self._angles[side], side, at_s, None, self._rules.setup)
            self._checks.append(PositionCheck(at_s, side, reading))

    def _note(self, item: Heard, statement: Statement) -> None:
        row = self._still_open(item)
        if row is None:
            self._unplace(item, self._why_closed(item, "no row was open for the note"))
            return
        row.join(item)
        row.notes.append(statement.note)

    def _still_open(self, item: Heard) -> SpokenRow | None:
        row = self._open
        if row is None or item.utterance.start_s - row.until_s > self._rules.open_row_s:
            return None
        return row

    def _why_closed(self, item: Heard, otherwise: str) -> str:
        if self._open is None:
            return otherwise
        late_s = item.utterance.start_s - self._open.until_s
        return f"{otherwise}: the last one was {late_s:.0f} s ago"

    def _unplace(self, item: Heard, reason: str) -> None:
        self._unplaced.append((item.utterance, reason))

    def _setup(self, row: SpokenRow) -> SetupReading:
        test = row.value("test")
        if test is None:
            # Which of two tests was set up for cannot be told; a motion needs no setup.
            asked = row.conflicted("test")
            return SetupReading(SetupStatus.NOT_SEEN if asked else SetupStatus.NOT_REQUIRED)
        window = self._rules.windows.get(str(test))
        if window is None:
            return SetupReading(SetupStatus.NOT_REQUIRED)
        side = row.value("side")
        if side is None:
            return SetupReading(SetupStatus.NOT_SEEN)
        angles = self._angles.get(str(side), [])
        return read_setup(angles, str(side), row.first.start_s, window, self._rules.setup)


def _doubt_withdrawal(row: SpokenRow) -> None:
    row.perhaps_withdrawn = True
    row.doubt("perhaps withdrawn")
