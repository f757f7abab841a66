"""Utterances and arm angles become rows; everything that finds no row is kept with its reason.

What stays in force: the side, until another is said, and the open row, which stands for the test.
Attributes go to the open row and to no other. A new row never takes over a test or a motion: a
row is opened by naming one, so that there is nothing to take over and nothing to guess.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, Literal

from logger.core.events import (
    SIDES,
    ArmAngle,
    Finding,
    PositionCheck,
    Side,
    Utterance,
    Verdict,
)
from logger.core.session import Bout
from logger.core.statements import Act, Heard, SetupWindow, Statement
from logger.findings.bouts import Bouts
from logger.findings.comparing import compared
from logger.findings.rows import SpokenRow, slot_doubt, whole_doubts
from logger.findings.setup import SetupRules
from logger.findings.setups import Setups
from logger.findings.side import PAUSE_S, SideInForce, said_alone
from logger.findings.stops import Stopped, Stops
from logger.findings.trace import AngleTrace

_IN_GAP: Final = "sound was missing while it was said"


@dataclass(frozen=True, slots=True)
class MergeRules:
    """What the merging takes from the pack, and how long a row stays open."""

    windows: Mapping[str, SetupWindow]
    """The setup of each test; a test without one requires none."""
    mobility_of_score: Mapping[int, str]
    open_row_s: float = 20.0
    """How long after its last utterance a row still takes attributes, this time included."""
    setup: SetupRules = field(default_factory=SetupRules)

    late_s: float = 40.0
    """How long after it began an utterance may still be handed in with its setup: the longest
    stretch of speech is 24 s, and its recognition takes time."""
    missed_s: float = 5.0
    """How long before sound is known to be missing some of it may have been: a machine that is
    too busy loses a little at first."""


@dataclass(frozen=True, slots=True)
class Merged:
    """What became of a session."""

    rows: tuple[Finding, ...]
    position_checks: tuple[PositionCheck, ...]
    unplaced: tuple[tuple[Utterance, str], ...]
    """What was heard but belongs to no row, with the reason."""
    bouts: tuple[Bout, ...] = ()


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one utterance."""

    kind: Literal["logged", "completed", "withdrawn", "side", "refused", "unplaced", "command"]
    """A new row, more for the open one, a row taken back, a side, talk, no row, another command."""
    row: int | None = None
    """The number of the row it went into, from 1."""
    reason: str = ""
    """Why it did not do what it says; empty where it did."""


def merge(heard: Sequence[Heard], angles: Sequence[ArmAngle], rules: MergeRules) -> Merged:
    """Return the table of a session; the same input always gives the same table.

    Nothing is guessed. A slot for which two values were said stays empty and its row is marked
    for a check with both; so is a row that takes over a doubtful side. Talk leaves no trace, but
    where it may have changed the side, rows that take the side over are marked.
    """
    table = Table(rules)
    in_time = sorted(angles, key=lambda sample: sample.time_s)
    seen = 0
    for item in sorted(heard, key=lambda h: h.utterance.start_s):
        until = bisect_right(in_time, item.utterance.end_s, lo=seen, key=lambda a: a.time_s)
        table.see(in_time[seen:until])
        seen = until
        table.take(item)
    table.see(in_time[seen:])
    return table.merged()


class Table:
    """A table that grows as a session goes on.

    Angles and utterances may come interleaved in any way, each in the order of time, as long as
    no utterance is handed in later than `MergeRules.late_s` after it began: the table is then the
    same as of a recording of them all.
    """

    def __init__(self, rules: MergeRules) -> None:
        """Begin with an empty table."""
        self._rules = rules
        self._setups = Setups(rules.windows, rules.setup)
        self._rows: list[SpokenRow] = []
        self._unplaced: list[tuple[Utterance, str]] = []
        self._open: SpokenRow | None = None
        self._side = SideInForce()
        self._stops = Stops()
        self._bouts = Bouts()
        self._by_hand_s = float("-inf")
        self._missed = False
        self._perhaps_other = ""
        """Set where a finding may have been said, and was refused, since the open row's."""
        self._gap_s = (float("-inf"), float("-inf"))

    def merged(self) -> Merged:
        """Return everything as it stands."""
        meanings, setup_of = self._rules.mobility_of_score, self._setups.of_row
        return Merged(
            compared([row.finding(meanings, setup_of(i, row)) for i, row in enumerate(self._rows)]),
            self._setups.checks,
            tuple(self._unplaced),
            self._bouts.all(),
        )

    @property
    def unsettled(self) -> bool:
        """Whether angles still to come may change what `merged` returns."""
        return self._setups.unsettled(len(self._rows))

    @property
    def trace(self) -> AngleTrace:
        """The angles of the last while."""
        return self._setups.trace

    @property
    def side(self) -> Side | None:
        """The side that a row without one takes over."""
        return self._side.side

    @property
    def side_doubts(self) -> tuple[str, ...]:
        """Why that side is doubtful."""
        return self._side.doubts

    @property
    def stopped(self) -> Stopped:
        """Whether listening is paused or the session over."""
        return self._stops.now

    @property
    def running_bout(self) -> Bout | None:
        """The bout that runs."""
        running = self._bouts.running
        return running.bout() if running else None

    def open_row(self, at_s: float) -> int | None:
        """Return the number of the row that attributes said at `at_s` would go to, from 1."""
        row = self._open
        if row is None or at_s - row.until_s > self._rules.open_row_s:
            return None
        return self._number(row)

    def see(self, angles: Sequence[ArmAngle]) -> None:
        """Take angles, in the order of time over all calls."""
        self._setups.see(angles, self._rows)
        needed_s = self.trace.until_s - self._rules.late_s
        if self._open and needed_s - self._open.until_s <= self._rules.open_row_s:
            # A correction of its side or test would read its setup again.
            needed_s = min(needed_s, self._open.first.start_s)
        self.trace.forget(needed_s)

    def take(self, item: Heard, *, by_hand: bool = False) -> Outcome:
        """Take an utterance, or with `by_hand` what a key says in its place.

        What is done by hand is done even while listening is paused.
        """
        if item.lone_side:
            self._hear_alone(item.lone_side, item.utterance)
        if item.utterance.verdict is Verdict.TALK:
            if item.question:
                self._side.doubt(f"side: perhaps {item.question}")
                self._perhaps_other = f"perhaps part of it is for {item.question}"
            return Outcome("refused")
        if item.statement is None:
            # Words that state nothing are talk, unless they were nearly heard as a statement.
            if item.question:
                return self._unplace(item, f"it states nothing, {item.question}")
            return Outcome("refused")
        act = item.statement.act
        stopped = self._stops.why(item.utterance.start_s)
        heard_anyway = act in (Act.RESUME_LISTENING, Act.END_SESSION) and self._stops.now != ""
        if stopped and not by_hand and not heard_anyway:
            return self._unplace(item, stopped)
        if by_hand and act in (Act.WITHDRAW, Act.SIDE):
            self._by_hand_s = item.utterance.start_s
        outcome = self._do(act, item, item.statement)
        begun_s, ended_s = self._gap_s
        if outcome.row and item.utterance.start_s < ended_s and begun_s < item.utterance.end_s:
            self._rows[outcome.row - 1].doubt(_IN_GAP)
        return outcome

    def set_aside(self, item: Heard, reason: str) -> Outcome:
        """Keep what was heard beside the table; talk leaves no trace."""
        if item.utterance.verdict is Verdict.TALK or (item.statement is None and not item.question):
            return Outcome("refused")
        return self._unplace(item, reason)

    def doubt(self, start_s: float, end_s: float, reason: str) -> None:
        """Mark for a check every row into which something went that was said in this time."""
        for row in self._rows:
            if row.first.start_s <= end_s and start_s <= row.until_s:
                row.doubt(reason)

    def miss(self, start_s: float, end_s: float) -> None:
        """Take that sound of this time was never heard; it may have held anything.

        Rows in which part of it may have been said are marked for a check; so are those that
        take over a side from before, and the open one where more is said to it afterwards.
        """
        self._gap_s = (start_s - self._rules.missed_s, end_s)
        self.doubt(*self._gap_s, _IN_GAP)
        if self._side.side is not None:
            self._side.doubt(f"side: perhaps changed while sound was missing at {start_s:.0f} s")
        self._missed = bool(self._rows)

    def _do(self, act: Act, item: Heard, statement: Statement) -> Outcome:
        acts = {
            Act.FINDING: self._open_row,
            Act.ATTRIBUTES: self._complete,
            Act.SIDE: self._set_side,
            Act.CORRECTION: self._correct,
            Act.WITHDRAW: self._withdraw,
            Act.OTHER_SIDE: self._other_side,
            Act.CHECK_POSITION: self._check_position,
            Act.NOTE: self._note,
            Act.PAUSE_LISTENING: self._stop,
            Act.RESUME_LISTENING: self._resume,
            Act.END_SESSION: self._stop,
            Act.BEGIN_BOUT: self._begin_bout,
            Act.END_BOUT: self._end_bout,
        }
        return acts[act](item, statement)

    def _open_row(self, item: Heard, statement: Statement) -> Outcome:
        if item.of_row_before and (before := self._still_open(item)):
            # "Flexion right shoulder", or "correction right shoulder"? Then its side is wrong.
            at_s, text = item.utterance.start_s, item.utterance.text
            before.doubt(f'at {at_s:.0f} s: "{text}", {item.question}')
        row = SpokenRow(item.utterance, item.utterance.end_s)
        row.join(item)
        row.fill(statement.slots)
        in_force = self._side.side
        self._side.begin_row(item.utterance.start_s)
        side, doubts = self._side.side, self._side.doubts
        self._side.hear(item, statement)
        row.side_changed = self._side.side != in_force
        if "side" not in statement.slots:
            row.side_taken_over = True
            row.fill({"side": (side,)} if side else {})
            for reason in doubts:
                row.doubt_slot("side", reason)
        if item.utterance.start_s < self._by_hand_s:
            row.doubt("a key was pressed while it was being said")
        self._rows.append(row)
        self._open = row
        self._missed, self._perhaps_other = False, ""
        return Outcome("logged", len(self._rows))

    def _hear_alone(self, side: str, heard: Utterance) -> None:
        """Hear a bare side by itself: the start of a finding, perhaps the end of one, or talk."""
        self._side.hear_alone(side, heard.start_s, heard.end_s)
        row = self._open
        if row is None or not row.side_taken_over or heard.start_s - row.until_s > PAUSE_S:
            return
        if side != row.value("side"):
            reason = said_alone((row.value("side"), side), side, heard.start_s)
            row.doubt_slot("side", reason)
            self._side.doubt(reason)

    def _complete(self, item: Heard, statement: Statement) -> Outcome:
        row = self._still_open(item)
        if row is None:
            if self._bouts.takes_grade(item, self._rules.open_row_s):
                return Outcome("command")
            return self._unplace(item, self._why_closed(item, "no row was open for it"))
        row.join(item)
        row.fill(statement.slots)
        self._side.hear(item, statement, among=row.values.get("side", ()))
        return Outcome("completed", self._number(row))

    def _correct(self, item: Heard, statement: Statement) -> Outcome:
        row = self._still_open(item)
        if row is None:
            return self._unplace(item, self._why_closed(item, "no row was open to correct"))
        before = {slot: row.values.get(slot, ()) for slot in statement.slots}
        row.correct(statement.slots, self._rules.mobility_of_score)
        # After the correction, so that what is doubtful in the correction itself remains.
        row.join(item)
        for doubt in whole_doubts(item):
            for slot, values in before.items():
                was = " or ".join(map(str, values)) or "empty"
                row.doubt_slot(slot, f"{slot}: was {was} before a correction, {doubt}")
        side = self._side.side
        self._side.hear(item, statement)
        row.side_changed = row.side_changed or self._side.side != side
        return Outcome("completed", self._number(row))

    def _set_side(self, item: Heard, statement: Statement) -> Outcome:
        self._side.hear(item, statement)
        row = self._open
        if row is None:
            return Outcome("side")
        if not row.values.get("side"):
            # It may be meant for this row or for the next: the row's side stays open.
            row.doubt_slot("side", f'"{item.utterance.text}" was said after the row')
        elif row.value("side") != self._side.side or self._side.doubts:
            self._open = None
        return Outcome("side")

    def _other_side(self, item: Heard, _: Statement) -> Outcome:
        self._open = None
        if not self._side.switch(whole_doubts(item)):
            return self._unplace(item, "no side was in force to switch from")
        return Outcome("side")

    def _withdraw(self, item: Heard, _: Statement) -> Outcome:
        row = self._last_standing()
        if row is None:
            return self._unplace(item, "there was no row to withdraw")
        row.join(item)
        bout = self._bouts.last
        meant_bout = bout is not None and bout.start_s > row.first.start_s
        if bout and meant_bout:
            bout.doubt("perhaps withdrawn")
        if meant_bout or self._missed or whole_doubts(item):
            _doubt_withdrawal(row)
            return Outcome("completed", self._number(row))
        row.withdrawn = True
        self._open = None
        if row.side_changed:
            # Perhaps the side is what was wrong with it.
            reason = f'side: it comes from a withdrawn row, "{row.first.text}"'
            self._side.doubts += (reason,)
        earlier = self._last_standing()
        if row.perhaps_withdrawn and earlier is not None:
            # If the doubtful "scratch that" was one, this one is about the row before.
            _doubt_withdrawal(earlier)
        return Outcome("withdrawn", self._number(row))

    def _last_standing(self) -> SpokenRow | None:
        return next((row for row in reversed(self._rows) if not row.withdrawn), None)

    def _check_position(self, item: Heard, _: Statement) -> Outcome:
        # Where the side is doubtful, both arms are read rather than perhaps the wrong one.
        side = self._side.side
        sides = SIDES if side is None or self._side.doubts else (side,)
        self._setups.check(item.utterance.start_s, sides)
        return Outcome("command")

    def _note(self, item: Heard, statement: Statement) -> Outcome:
        row = self._still_open(item)
        if row is None:
            return self._unplace(item, self._why_closed(item, "no row was open for the note"))
        row.join(item)
        row.notes.append(statement.note)
        return Outcome("completed", self._number(row))

    def _stop(self, item: Heard, statement: Statement) -> Outcome:
        """Pause, or end the session; a doubtful word must not stop the record."""
        if doubts := whole_doubts(item):
            return self._unplace(item, f"it may be a command, {doubts[0]}: listening goes on")
        ends = statement.act is Act.END_SESSION
        self._stops.stop("ended" if ends else "paused", item.utterance.end_s)
        return Outcome("command")

    def _resume(self, item: Heard, _: Statement) -> Outcome:
        if not self._stops.now:
            return Outcome("command", reason="listening was not paused")
        if doubts := whole_doubts(item):
            self._stops.question(f"perhaps resumed at {item.utterance.start_s:.1f} s")
            return self._unplace(item, f"it may be a command, {doubts[0]}: listening is paused")
        self._stops.resume(item.utterance.start_s)
        return Outcome("command")

    def _begin_bout(self, item: Heard, statement: Statement) -> Outcome:
        if reason := self._bouts.perhaps_begins(item):
            return Outcome("command", reason=reason)
        if "side" in statement.slots or slot_doubt(item, "side"):
            self._side.hear(item, statement)
        row = self._still_open(item)
        # What is said next is about the treatment and not about the row before.
        self._open = None
        bout = self._bouts.begin(item, self._side, row.values if row else {})
        return Outcome("command", reason="; ".join(bout.reasons))

    def _end_bout(self, item: Heard, _: Statement) -> Outcome:
        if self._bouts.running is None:
            return self._unplace(item, "no bout was running")
        return Outcome("command", reason=self._bouts.end(item))

    def _still_open(self, item: Heard) -> SpokenRow | None:
        row = self._open
        if row is None or item.utterance.start_s - row.until_s > self._rules.open_row_s:
            return None
        if self._missed:
            row.doubt("sound was missing after it: perhaps what followed was about another row")
        if self._perhaps_other:
            row.doubt(self._perhaps_other)
        return row

    def _why_closed(self, item: Heard, otherwise: str) -> str:
        if self._open is None:
            return otherwise
        late_s = item.utterance.start_s - self._open.until_s
        return f"{otherwise}: the last one was {late_s:.0f} s ago"

    def _unplace(self, item: Heard, reason: str) -> Outcome:
        self._unplaced.append((item.utterance, reason))
        return Outcome("unplaced", reason=reason)

    def _number(self, row: SpokenRow) -> int:
        return next(number for number, each in enumerate(self._rows, 1) if each is row)


def _doubt_withdrawal(row: SpokenRow) -> None:
    row.perhaps_withdrawn = True
    row.doubt("perhaps withdrawn")
