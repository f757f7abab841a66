"""Values that a person types, against the pack's."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.core.errors import UsageError
from logger.core.statements import SLOTS, SlotValue
from logger.grammar.allowed import allowed_value, choices_of
from logger.grammar.loading import load_pack

_PACK = load_pack("glenohumeral")


@given(st.sampled_from(SLOTS), st.data())
def test_every_choice_is_allowed_as_it_is_and_as_text(slot: str, data: st.DataObject) -> None:
    value = data.draw(st.sampled_from(choices_of(_PACK, slot)))
    assert allowed_value(_PACK, slot, value) == value
    assert allowed_value(_PACK, slot, f" {value} ") == value


def test_nothing_clears_a_slot() -> None:
    assert allowed_value(_PACK, "pain", None) is None
    assert allowed_value(_PACK, "pain", "") is None


def test_grades_are_text_with_their_marks() -> None:
    assert choices_of(_PACK, "grade")[:4] == ("1", "1+", "1-", "2")
    assert allowed_value(_PACK, "grade", 2) == "2"


@pytest.mark.parametrize(
    ("slot", "value", "said"),
    [
        ("pain", 11, "pain cannot be 11: it is one of 0, 1, 2"),
        ("pain", 2.5, "pain cannot be 2.5"),
        ("range_deg", 181, "range_deg cannot be 181: it is one of 0 to 180"),
        ("mobility", "HYPOMOBILE", "it is one of hypomobile, normal, hypermobile"),
        ("side", "<b>left</b>", "it is one of left, right"),
        ("colour", "red", "has no slot colour"),
    ],
)
def test_what_the_pack_does_not_know_is_refused(slot: str, value: SlotValue, said: str) -> None:
    with pytest.raises(UsageError, match=said):
        allowed_value(_PACK, slot, value)
