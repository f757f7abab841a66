"""What the page reads back to the clinician: a row in words in which it could have been said."""

from __future__ import annotations

from typing import Final

from logger.core.events import Finding, RowStatus
from logger.core.statements import SLOTS, SlotValue
from logger.grammar.pack import Pack
from logger.grammar.phrases import slot_phrases

_FIRST: Final = ("side", "test", "mode", "motion", "range_deg")


def read_back(finding: Finding, pack: Pack) -> str:
    """Return a row as it may be read aloud: "right, inferior glide, grade two, hypomobile"."""
    slots = (*_FIRST, *(slot for slot in SLOTS if slot not in _FIRST))
    said = ", ".join(filter(None, (_said(finding, slot, pack) for slot in slots)))
    return f"{said}. Check." if finding.status is RowStatus.CHECK else said


def _said(finding: Finding, slot: str, pack: Pack) -> str:
    value: SlotValue | None = getattr(finding, slot)
    if value is None:
        return ""
    phrases = [phrase for phrase in slot_phrases(pack, slot) if phrase.value == value]
    short = next((phrase.text for phrase in phrases if phrase.bare), "")
    return short or next((phrase.text for phrase in phrases), str(value).replace("_", " "))
