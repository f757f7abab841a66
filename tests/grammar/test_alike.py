"""Which values of the shipped pack sound alike."""

from __future__ import annotations

from typing import Final

import pytest

from logger.grammar.alike import alike_phrases, alike_values
from logger.grammar.loading import load_pack
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


@pytest.mark.parametrize("slot", list(PACK.slots))
def test_two_like_phrases_are_written_in_the_same_ways(slot: str) -> None:
    for one, other in alike_phrases(PACK, slot):
        ways = list(zip(ways_written(one.text), ways_written(other.text), strict=True))
        assert all(first != second for first, second in ways)
