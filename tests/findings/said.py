"""Utterances for the tests, made without the grammar so that each act stands as written."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from logger.core.events import ArmAngle, Side, Utterance, Verdict
from logger.core.statements import Act, Doubt, Heard, SetupWindow, SlotValue, Statement
from logger.findings.merging import Merged, MergeRules, merge

WINDOW: Final = SetupWindow(30, 60, "invented for the tests")
RULES: Final = MergeRules(
    {"inferior_glide": WINDOW, "posterior_glide": WINDOW},
    # The 0 to 6 scale attributed to Paris and Kaltenborn (from memory): 3 is normal.
    {0: "hypomobile", 1: "hypomobile", 2: "hypomobile", 3: "normal"}
    | {4: "hypermobile", 5: "hypermobile", 6: "hypermobile"},
)


def say(act: Act, /, **slots: SlotValue | tuple[SlotValue, ...]) -> Heard:
    """Return a sure utterance of one second at time 0; a tuple gives several values."""
    values = {k: v if isinstance(v, tuple) else (v,) for k, v in slots.items()}
    text = " ".join([act.value, *(str(v) for vs in values.values() for v in vs)])
    return Heard(Utterance(text, 0.0, 1.0, 0.9, Verdict.HEARD), Statement(act, values))


def note(words: str) -> Heard:
    """Return a note."""
    utterance = Utterance(f"note {words}", 0.0, 1.0, 0.8, Verdict.HEARD)
    return Heard(utterance, Statement(Act.NOTE, note=words))


def glide(side: Side | None = "right", /, **slots: SlotValue | tuple[SlotValue, ...]) -> Heard:
    """Return an inferior glide, on the right if nothing else is asked."""
    named: dict[str, SlotValue | tuple[SlotValue, ...]] = {"test": "inferior_glide", **slots}
    return say(Act.FINDING, **({"side": side} if side else {}), **named)


def more(**slots: SlotValue | tuple[SlotValue, ...]) -> Heard:
    """Return attributes."""
    return say(Act.ATTRIBUTES, **slots)


def correction(**slots: SlotValue | tuple[SlotValue, ...]) -> Heard:
    """Return a correction."""
    return say(Act.CORRECTION, **slots)


def unsure(item: Heard) -> Heard:
    """Return the same, heard unsurely."""
    return replace(item, utterance=replace(item.utterance, verdict=Verdict.UNSURE))


def doubted(item: Heard, slot: str, *values: SlotValue | None) -> Heard:
    """Return the same with a slot that could have another value."""
    return replace(item, doubts=(*item.doubts, Doubt(slot, values, 0.5)))


def at(item: Heard, start_s: float) -> Heard:
    """Return the same, said at another time."""
    return replace(item, utterance=replace(item.utterance, start_s=start_s, end_s=start_s + 1))


def merged(*items: Heard, step_s: float = 5.0, angles: tuple[ArmAngle, ...] = ()) -> Merged:
    """Merge utterances of one second, one after the other."""
    return merge([at(item, i * step_s) for i, item in enumerate(items)], angles, RULES)


SCRATCH: Final = say(Act.WITHDRAW)
OTHER: Final = say(Act.OTHER_SIDE)
CHECK: Final = say(Act.CHECK_POSITION)
