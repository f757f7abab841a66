"""Whether a value that a person typed or chose is one that the pack knows."""

from __future__ import annotations

from logger.core.errors import UsageError
from logger.core.events import Finding
from logger.core.statements import SlotValue
from logger.grammar.pack import NumberSlot, Pack

_MOST_NAMED = 12


def choices_of(pack: Pack, slot: str) -> tuple[SlotValue, ...]:
    """Return every value of `slot`, in the pack's order; empty where the pack has no such slot."""
    held = pack.slots.get(slot)
    if held is None:
        return ()
    if not isinstance(held, NumberSlot):
        return tuple(held.values)
    numbers = range(held.low, held.high + 1)
    if not held.as_text:
        return tuple(numbers)
    return tuple(f"{number}{mark}" for number in numbers for mark in ("", *held.marks))


def allowed_value(pack: Pack, slot: str, value: SlotValue | None) -> SlotValue | None:
    """Return `value` as the pack writes it, whole numbers as such; None clears the slot.

    Raises:
        UsageError: if the pack has no such slot or value; one sentence that names what it has.

    """
    known = choices_of(pack, slot)
    if not known:
        raise UsageError(f"The pack {pack.name} has no slot {slot}: name one of its slots.")
    if value is None or value == "":
        return None
    found = {str(choice): choice for choice in known}.get(str(value).strip())
    if found is None:
        named = ", ".join(map(str, known)) if len(known) <= _MOST_NAMED else ""
        range_text = f"{known[0]} to {known[-1]}"
        raise UsageError(f"{slot} cannot be {value!r}: it is one of {named or range_text}.")
    return found


def changed_slots(
    pack: Pack, row: Finding, slot: str, value: SlotValue | None
) -> dict[str, SlotValue | None]:
    """Return every slot that changes in `row` where a person sets one of them to `value`.

    Mobility and its score say the same thing twice: a score brings its mobility with it, and a
    mobility takes away a score that means another one.

    Raises:
        UsageError: if the pack has no such slot or value.

    """
    after = allowed_value(pack, slot, value)
    changes: dict[str, SlotValue | None] = {slot: after}
    if slot == "mobility_score" and isinstance(after, int):
        changes["mobility"] = pack.mobility_of_score.get(after, row.mobility)
    if slot == "mobility" and row.mobility_score is not None:
        meant = pack.mobility_of_score.get(row.mobility_score)
        if after is not None and meant not in {None, after}:
            changes["mobility_score"] = None
    return {name: new for name, new in changes.items() if name == slot or new != getattr(row, name)}
