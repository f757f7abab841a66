"""Whether an action can be done as it was asked for, and which edits it makes."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite
from typing import Final

from logger.core.editing import EDITABLE
from logger.core.errors import UsageError
from logger.core.events import Finding, RowStatus
from logger.core.session import Edit
from logger.core.statements import SlotValue
from logger.grammar.allowed import allowed_value, changed_slots
from logger.grammar.pack import Pack
from logger.live import actions

_LONGEST_TEXT: Final = 2000


@dataclass(frozen=True, slots=True)
class Asked:
    """Who asks for a change, and when."""

    by: str
    at: str
    """RFC 3339 with its offset from UTC."""


def check_action(action: actions.Action, pack: Pack) -> None:
    """Refuse an action that cannot be done as it stands.

    Raises:
        UsageError: with one sentence.

    """
    for name in ("at_s", "start_s", "end_s"):
        time_s = getattr(action, name, 0.0)
        if not isfinite(time_s) or time_s < 0:
            raise UsageError(f"{name} cannot be {time_s}: give seconds since the session began.")
    if isinstance(action, actions.BeginBout) and action.grade is not None:
        allowed_value(pack, "grade", action.grade)
    if isinstance(action, actions.PlayedBack) and action.end_s < action.start_s:
        raise UsageError("What was played cannot end before it began; give end_s after start_s.")
    if isinstance(action, actions.SoundMissing) and action.end_s < action.start_s:
        raise UsageError("What is missing cannot end before it began; give end_s after start_s.")
    if isinstance(action, actions.AnswerCautions):
        _check_answers(action, pack)


def _check_answers(action: actions.AnswerCautions, pack: Pack) -> None:
    asked, answered = [c.text for c in pack.cautions], [a.text for a in action.answers]
    if sorted(asked) != sorted(answered):
        missing = next((text for text in asked if text not in answered), "")
        what = f'"{missing}" is not answered' if missing else "an answer is to no caution"
        raise UsageError(f"Every caution must be answered once before testing: {what}.")
    for answer in action.answers:
        if answer.present and not answer.reason.strip():
            raise UsageError(
                f'"{answer.text}" is present: give the reason why testing goes on, or end here.'
            )


def settled(rows: tuple[Finding, ...], row: int, asked: Asked) -> tuple[Edit, ...]:
    """Return the edit by which a person lets a row stand.

    Raises:
        UsageError: if there is no such row, or it wants no check.

    """
    finding = _row(rows, row)
    if finding.status is not RowStatus.CHECK:
        raise UsageError(f"Row {row} wants no check; nothing is to be settled.")
    return (Edit(row, "status", finding.status.value, "logged", asked.by, asked.at),)


def edited(
    rows: tuple[Finding, ...], action: actions.EditSlot, asked: Asked, pack: Pack
) -> tuple[Edit, ...]:
    """Return every edit that a change brings with it; none where nothing changes.

    Raises:
        UsageError: if there is no such row, slot or value.

    """
    finding = _row(rows, action.row)
    changes = {
        slot: value
        for slot, value in _changes(finding, action, pack).items()
        if value != _value(finding, slot)
    }
    after = {"test": finding.test, "motion": finding.motion} | changes
    if not after["test"] and not after["motion"]:
        raise UsageError(f"Row {action.row} needs a test or a motion; withdraw it instead.")
    return tuple(
        Edit(action.row, slot, _value(finding, slot), value, asked.by, asked.at)
        for slot, value in changes.items()
    )


def _changes(finding: Finding, action: actions.EditSlot, pack: Pack) -> dict[str, SlotValue | None]:
    slot, value = action.slot, action.value
    if slot not in EDITABLE:
        raise UsageError(f"{slot!r} cannot be edited; name one of {', '.join(EDITABLE)}.")
    if slot == "status":
        if value not in ("logged", "withdrawn"):
            raise UsageError(f"A row's status cannot be {value!r}; give logged or withdrawn.")
        return {slot: value}
    if slot == "note":
        text = "" if value is None else str(value).strip()
        if len(text) > _LONGEST_TEXT:
            raise UsageError(f"A note of {len(text)} letters is too long; keep to {_LONGEST_TEXT}.")
        return {slot: text or None}
    return changed_slots(pack, finding, slot, value)


def _value(finding: Finding, slot: str) -> SlotValue | None:
    value: SlotValue | None = getattr(finding, slot)
    return value.value if isinstance(value, RowStatus) else value


def _row(rows: tuple[Finding, ...], row: int) -> Finding:
    if not 1 <= row <= len(rows):
        raise UsageError(f"There is no row {row}; name one from 1 to {len(rows)}.")
    return rows[row - 1]
