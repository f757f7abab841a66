"""On what scale each slot of a pack is compared."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from logger.core.statements import SlotValue
from logger.grammar.pack import NumberSlot, Pack, WordSlot

NAMES_THE_ROW: Final = ("side", "test", "motion", "mode")
"""What rows are matched by: it cannot differ between raters of one finding."""
_SAYS_AGAINST_WHAT: Final = "comparison"
"""Says what a judgement was made against, and is none itself."""


class Kind(StrEnum):
    """What may be done with the values of a slot."""

    UNORDERED = "unordered"
    ORDERED = "ordered"
    """Ranks: kappas with weights."""
    MEASURED = "measured"
    """Numbers: intraclass correlation and limits of agreement."""


@dataclass(frozen=True, slots=True)
class Scale:
    """A slot, and all of the values that it can have."""

    slot: str
    kind: Kind
    values: tuple[SlotValue, ...]
    """In the pack's order, those that nobody used too."""


def scales_of(pack: Pack) -> tuple[Scale, ...]:
    """Return the scales of all slots in which raters can differ, in the table's order."""
    compared = (slot for slot in pack.slots if slot not in (*NAMES_THE_ROW, _SAYS_AGAINST_WHAT))
    return tuple(_scale(slot, pack.slots[slot]) for slot in compared)


def _scale(name: str, slot: WordSlot | NumberSlot) -> Scale:
    if isinstance(slot, WordSlot):
        kind = Kind.ORDERED if slot.ordered else Kind.UNORDERED
        return Scale(name, kind, tuple(slot.values))
    kind = Kind.MEASURED if slot.measured else Kind.ORDERED
    return Scale(name, kind, tuple(_numbers(slot)))


def _numbers(slot: NumberSlot) -> Iterator[SlotValue]:
    """Yield the numbers, each with its marks: "2-", "2", "2+"."""
    for number in range(slot.low, slot.high + 1):
        if not slot.as_text:
            yield number
            continue
        yield from (f"{number}{mark}" for mark in ("-", "", "+") if not mark or mark in slot.marks)
