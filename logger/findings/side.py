"""The side that a row without one of its own takes over, and why it is doubtful."""

from __future__ import annotations

from collections.abc import Iterable

from logger.core.events import SIDES, Side
from logger.core.statements import Heard, SlotValue, Statement
from logger.findings.rows import choices, slot_doubt, whole_doubts


class SideInForce:
    """Stays until another side is said; every row that takes over a doubtful one is checked."""

    def __init__(self) -> None:
        """Begin with none."""
        self.side: Side | None = None
        self.doubts: tuple[str, ...] = ()

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
