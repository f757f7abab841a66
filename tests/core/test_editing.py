"""Rows after what people changed in them."""

from __future__ import annotations

import pytest

from logger.core.editing import rows_in_force
from logger.core.events import Finding, RowStatus
from logger.core.session import Edit
from logger.core.statements import SlotValue

WHEN = "2026-11-25T10:00:00+00:00"
ROWS = (
    Finding(1, 2, side="left", test="inferior_glide", pain=2),
    Finding(3, 4, side="left", pain=5, status=RowStatus.CHECK, reasons=("pain: 5 or 9?",)),
)


def edit(row: int, slot: str, after: SlotValue | None) -> Edit:
    return Edit(row, slot, None, after, "e1", WHEN)


def test_last_edit_of_a_slot_is_in_force_and_what_was_heard_stays() -> None:
    first, second = rows_in_force(ROWS, [edit(2, "pain", 9), edit(2, "pain", 8)])
    assert first is ROWS[0]
    assert (second.pain, second.status, second.reasons) == (8, RowStatus.CHECK, ("pain: 5 or 9?",))
    assert ROWS[1].pain == 5
    assert rows_in_force(ROWS, [edit(1, "pain", None)])[0].pain is None
    assert rows_in_force(ROWS, []) == ROWS


def test_settled_row_gives_no_reasons_and_a_withdrawn_one_keeps_them() -> None:
    settled = rows_in_force(ROWS, [edit(2, "status", "logged")])[1]
    assert (settled.status, settled.reasons) == (RowStatus.LOGGED, ())
    withdrawn = rows_in_force(ROWS, [edit(2, "status", "withdrawn")])[1]
    assert (withdrawn.status, withdrawn.reasons) == (RowStatus.WITHDRAWN, ("pain: 5 or 9?",))


@pytest.mark.parametrize(
    "wrong",
    [
        edit(0, "pain", 1),
        edit(3, "pain", 1),
        edit(1, "said", "x"),
        edit(1, "status", "x"),
        edit(1, "pain", "two"),
        edit(1, "grade", 2),
    ],
)
def test_edit_of_what_is_not_there_is_refused(wrong: Edit) -> None:
    with pytest.raises(ValueError, match=r"no row|cannot be|is not a valid"):
        rows_in_force(ROWS, [wrong])
