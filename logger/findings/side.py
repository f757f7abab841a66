"""The side that a row without one of its own takes over, and why it is doubtful."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from logger.core.events import SIDES, Side
from logger.core.statements import Heard, SlotValue, Statement
from logger.findings.rows import choices, slot_doubt, whole_doubts

PAUSE_S: Final = 1.2
"""A pause between a side and what it is the side of; the detector of speech waits for 0.7 s."""
_ALONE_S: Final = 2.0
"""Up to here a side said alone may still have been meant, but is more likely talk."""


class SideInForce:
    """Stays until another side is said; every row that takes over a doubtful one is checked."""

    def __init__(self) -> None:
        """Begin with none."""
        self.side: Side | None = None
        self.doubts: tuple[str, ...] = ()
        self._alone: tuple[str, float, float] | None = None

    def hear_alone(self, side: str, start_s: float, end_s: float) -> None:
        """Keep in mind a bare side that was all of an utterance.

        Alone it is talk. Where the speaker paused after it, it was the start of a finding.
        """
        self._alone = (side, start_s, end_s)

    def begin_row(self, start_s: float) -> None:
        """Doubt the side in force if another was said alone right before what begins now.

        Within a speaker's pause the other one is taken; it stays doubtful, as "right" is also how
        people begin to speak.
        """
        if self._alone is None:
            return
        side, said_s, end_s = self._alone
        self._alone = None
        pause_s = start_s - end_s
        if side == self.side or pause_s > _ALONE_S:
            return
        if pause_s > PAUSE_S:
            self.doubt(said_alone((self.side, side), side, said_s))
            return
        self.doubt(said_alone((side, self.side), side, said_s))
        self.side = _side_of(side)

    def hear(self, item: Heard, statement: Statement, among: tuple[SlotValue, ...] = ()) -> None:
        """Put the side said into force; `among` are the sides said for the same row."""
        doubt = slot_doubt(item, "side")
        doubts = [] if doubt is None else [choices("side", doubt.values)]
        said = statement.slots.get("side", ())
        if not said:
            # Perhaps a side was said after all: what is in force is no longer certain.
            self.doubts = (*self.doubts, *doubts)
            return
        doubts += [f"side: {reason} when it was said" for reason in whole_doubts(item)]
        sides = tuple(dict.fromkeys((*among, *said)))
        if len(sides) > 1:
            self.side, self.doubts = None, (choices("side", sides), *doubts)
            return
        self.side = _side_of(sides[0])
        self.doubts = tuple(doubts)

    def doubt(self, reason: str) -> None:
        """Say why it is no longer certain."""
        self.doubts = (*self.doubts, reason)

    def switch(self, reasons: Iterable[str]) -> bool:
        """Put the other side into force; False where none was."""
        if self.side is None:
            return False
        self.side = "left" if self.side == "right" else "right"
        self.doubts += tuple(f"side: {reason} when it was switched" for reason in reasons)
        return True


def said_alone(either: Iterable[SlotValue | None], side: str, at_s: float) -> str:
    """Return the question which of two sides is meant, one of which was said alone."""
    return f'{choices("side", either)} "{side}" was said alone at {at_s:.0f} s'


def _side_of(value: SlotValue) -> Side | None:
    return next((side for side in SIDES if side == value), None)
