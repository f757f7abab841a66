"""The rows as they stand after what people changed in them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any, Final

from logger.core.events import Finding, RowStatus, SetupReading, SetupStatus
from logger.core.session import Edit
from logger.core.statements import SLOTS

EDITABLE: Final = (*SLOTS, "note", "status")
NUMBERS: Final = ("range_deg", "mobility_score", "pain")
_READ_FOR: Final = ("side", "test")
_READ_BEFORE: Final = "the setup was read for the row as it was heard"


def rows_in_force(rows: Sequence[Finding], edits: Iterable[Edit]) -> tuple[Finding, ...]:
    """Return the rows with the edits applied, the last edit of a slot in force.

    A row that is settled as logged no longer gives reasons for a check. Where the side or the test
    is changed, the setup is taken away: the arm was read for another one. The rows given stay as
    they are: what was heard is kept beside what is in force.

    Args:
        rows: in the order of start, as they are counted by `Edit.row`.
        edits: in the order in which they were made.

    Raises:
        ValueError: for an edit of a row, slot or status that is not there, and for a value that the
            slot cannot have.

    """
    current = list(rows)
    for edit in edits:
        if not 1 <= edit.row <= len(current):
            raise ValueError(f"There is no row {edit.row}: there are {len(current)}.")
        if edit.slot not in EDITABLE:
            raise ValueError(f"{edit.slot!r} cannot be edited: give one of {', '.join(EDITABLE)}.")
        row = current[edit.row - 1]
        current[edit.row - 1] = replace(row, **_changed(row, edit))
    return tuple(current)


def _changed(row: Finding, edit: Edit) -> dict[str, Any]:
    if edit.slot == "status":
        status = RowStatus(str(edit.after))
        settled = status is RowStatus.LOGGED
        return {"status": status, "reasons": () if settled else row.reasons}
    kind = int if edit.slot in NUMBERS else str
    if edit.after is not None and type(edit.after) is not kind:
        what = "whole number" if kind is int else "text"
        raise ValueError(f"{edit.slot} cannot be {edit.after!r}: give a {what} or nothing.")
    changed: dict[str, Any] = {edit.slot: edit.after}
    if edit.slot in _READ_FOR and getattr(row, edit.slot) != edit.after:
        changed["setup"] = SetupReading(SetupStatus.NOT_SEEN)
        changed["cautions"] = tuple(dict.fromkeys((*row.cautions, _READ_BEFORE)))
    return changed
