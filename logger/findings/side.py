"""The side that a row without one of its own takes over, and why it is doubtful."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from logger.core.events import SIDES, Side
from logger.core.statements import Heard, SlotValue, Statement
from logger.findings.rows import choices, slot_doubt, whole_doubts

_ALONE_S: Final = 2.0
"""A pause in a finding that parts it in two; the detector of speech waits for 0.7 s."""


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
        """Doubt the side in force if another was said alone right before what begins now."""
        if self._alone is None:
            return
        side, said_s, end_s = self._alone
        self._alone = None
        if side != self.side and start_s - end_s <= _ALONE_S:
            self.doubt(f'side: perhaps "{side}" at {said_s:.0f} s?')

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
        self.side = next((side for side in SIDES if side == sides[0]), None)
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
