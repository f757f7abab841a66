"""Bouts of treatment while they are spoken of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from logger.core.events import SIDES
from logger.core.session import Bout
from logger.core.statements import Heard, SlotValue
from logger.findings.rows import choices, slot_doubt, whole_doubts
from logger.findings.side import SideInForce


@dataclass(slots=True)
class SpokenBout:
    """A bout that still changes; as in a row, two values for one slot leave it empty."""

    start_s: float
    end_s: float | None = None
    values: dict[str, tuple[SlotValue, ...]] = field(default_factory=dict)
    reasons: list[str] = field(default_factory=list)

    def doubt(self, *reasons: str) -> None:
        """Mark the bout for a check."""
        self.reasons += [reason for reason in reasons if reason not in self.reasons]

    def join(self, item: Heard) -> None:
        """Take an utterance's values and doubts into the bout."""
        statement = item.statement
        for slot, values in (statement.slots if statement else {}).items():
            self.values[slot] = tuple(dict.fromkeys((*self.values.get(slot, ()), *values)))
            if len(self.values[slot]) > 1:
                self.doubt(choices(slot, self.values[slot]))
        self.doubt(*whole_doubts(item))
        for slot in ("side", "test", "grade"):
            if doubt := slot_doubt(item, slot):
                self.doubt(choices(slot, doubt.values))

    def value(self, slot: str) -> SlotValue | None:
        """Return the one value of a slot; None where none or more than one was said."""
        values = self.values.get(slot, ())
        return values[0] if len(values) == 1 else None

    def bout(self) -> Bout:
        """Return it as it is kept."""
        side = next((side for side in SIDES if side == self.value("side")), None)
        test, grade = self.value("test"), self.value("grade")
        return Bout(
            self.start_s,
            self.end_s,
            side,
            None if test is None else str(test),
            None if grade is None else str(grade),
            tuple(self.reasons),
        )


class Bouts:
    """Every bout of a session, of which at most one runs."""

    def __init__(self) -> None:
        """Begin without any."""
        self._bouts: list[SpokenBout] = []

    @property
    def running(self) -> SpokenBout | None:
        """The bout that runs."""
        last = self.last
        return last if last and last.end_s is None else None

    @property
    def last(self) -> SpokenBout | None:
        """The bout that was begun last."""
        return self._bouts[-1] if self._bouts else None

    def perhaps_begins(self, item: Heard) -> str:
        """Doubt the running bout where another may have begun; return why none did, or ""."""
        running, doubts = self.running, whole_doubts(item)
        if not running or not doubts:
            return ""
        running.doubt(f"perhaps another began at {item.utterance.start_s:.1f} s, {doubts[0]}")
        return f"{doubts[0]}: the bout before goes on"

    def begin(
        self, item: Heard, side: SideInForce, open_row: Mapping[str, tuple[SlotValue, ...]]
    ) -> SpokenBout:
        """Begin a bout; what it does not say is taken from the side in force and the open row.

        One that runs stays without an end.
        """
        if running := self.running:
            running.doubt("another bout was begun before this one was ended")
        bout = SpokenBout(item.utterance.start_s)
        self._bouts.append(bout)
        bout.join(item)
        if not bout.values.get("side") and side.side:
            bout.values["side"] = (side.side,)
            bout.doubt(*side.doubts)
        if not bout.values.get("test") and open_row.get("side") == bout.values.get("side"):
            bout.values["test"] = open_row.get("test", ())
        return bout

    def takes_grade(self, item: Heard, most_s: float) -> bool:
        """Take in a lone grade that is said soon after a bout was begun without one."""
        bout, statement = self.running, item.statement
        if bout is None or statement is None or set(statement.slots) != {"grade"}:
            return False
        if bout.values.get("grade") or item.utterance.start_s - bout.start_s > most_s:
            return False
        bout.join(item)
        return True

    def end(self, item: Heard) -> str:
        """End the running bout; return why it goes on, or ""."""
        bout, doubts = self.running, whole_doubts(item)
        if bout and doubts:
            bout.doubt(f"perhaps ended at {item.utterance.start_s:.1f} s, {doubts[0]}")
            return f"{doubts[0]}: the bout goes on"
        if bout:
            bout.end_s = item.utterance.start_s
        return ""

    def all(self) -> tuple[Bout, ...]:
        """Return every bout in the order of time."""
        return tuple(bout.bout() for bout in self._bouts)
