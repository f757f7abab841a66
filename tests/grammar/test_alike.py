"""Which values of the shipped pack sound alike."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

import pytest

from logger.grammar.alike import alike_phrases, alike_values, of_kind
from logger.grammar.loading import load_pack
from logger.grammar.pack import NumberSlot, Pack
from logger.hearing.network import ways_written

PACK: Final = load_pack("glenohumeral")


@pytest.mark.parametrize(
    ("slot", "one", "other", "alike"),
    [
        ("mobility", "hypomobile", "hypermobile", True),
        ("motion", "horizontal_abduction", "horizontal_adduction", True),
        ("range_deg", 15, 50, True),
        ("range_deg", 118, 180, True),
        ("range_deg", 8, 80, True),
        ("range_deg", 108, 180, True),
        ("range_deg", 45, 50, False),
        ("range_deg", 80, 180, False),
        ("pain", 4, 5, False),
        ("side", "left", "right", False),
    ],
)
def test_these_sound_alike_and_these_do_not(
    slot: str, one: str | int, other: str | int, *, alike: bool
) -> None:
    """Common practice, no source: "fifteen" and "fifty" are told apart by spelling them."""
    assert ((slot, frozenset((one, other))) in alike_values(PACK)) == alike


def test_two_like_phrases_are_written_in_the_same_ways() -> None:
    pairs = [pair for slot in PACK.slots for pair in alike_phrases(PACK, slot)]
    assert len(pairs) > 30
    for one, other in pairs:
        ways = list(zip(ways_written(one.text), ways_written(other.text), strict=True))
        assert all(first != second for first, second in ways)


def with_degrees(**changed: Any) -> Pack:
    """Return the shipped pack with another rule for degrees."""
    rule = PACK.slots["range_deg"]
    assert isinstance(rule, NumberSlot)
    return replace(PACK, slots={**PACK.slots, "range_deg": replace(rule, **changed)})


def test_a_number_that_a_pack_names_besides_keeps_its_like_number() -> None:
    pack = with_degrees(also={90: ("a right angle",)})
    assert alike_values(pack) == alike_values(PACK)
    assert list(alike_phrases(pack, "range_deg")) == list(alike_phrases(PACK, "range_deg"))


def test_numbers_that_count_only_beside_a_row_still_sound_alike() -> None:
    pack = with_degrees(templates=(), templates_beside_row=("{} degrees",))
    assert alike_values(pack) == alike_values(PACK)
    assert list(alike_phrases(pack, "range_deg")) == []


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("fifteen degrees", "teen degrees"),
        ("fifty degrees", "tens degrees"),
        ("eight degrees", "ones degrees"),
        ("one hundred and fifteen degrees", "hundred and teen degrees"),
        ("one hundred eighty degrees", "hundred and tens degrees"),
        ("fifty five degrees", "fifty five degrees"),
        ("one hundred degrees", "one hundred degrees"),
        ("hypomobile", "hypomobile"),
    ],
)
def test_numbers_that_sound_alike_are_of_a_kind(text: str, kind: str) -> None:
    assert of_kind(text) == kind
