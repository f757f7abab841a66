"""Which values of a slot sound alike, computed from how they are said."""

from __future__ import annotations

from collections import defaultdict
from difflib import SequenceMatcher
from itertools import combinations
from typing import TYPE_CHECKING, Final

from logger.grammar.pack import NumberSlot, WordSlot
from logger.grammar.phrases import slot_phrases

if TYPE_CHECKING:
    from collections.abc import Iterator

    from logger.core.statements import SlotValue
    from logger.grammar.pack import Pack
    from logger.grammar.phrases import Phrase

_ALIKE: Final = 0.85
_TEENS: Final = ((13, 30), (14, 40), (15, 50), (16, 60), (17, 70), (18, 80), (19, 90))
_ONES: Final = ((4, 40), (6, 60), (7, 70), (8, 80), (9, 90))

Pair = tuple[str, frozenset["SlotValue"]]
"""A slot and two of its values."""


def alike_phrases(pack: Pack, slot: str) -> Iterator[tuple[Phrase, Phrase]]:
    """Yield the phrases of two values of a slot that sound nearly alike, each pair once.

    Of words, those that are written nearly alike. Spelling stands for sound, which serves English
    trade words well enough: it finds hypomobile and hypermobile, abduction and adduction, and no
    others of the shipped pack that it should not. Of numbers, those of `_like_numbers`, said in the
    same way.
    """
    rule = pack.slots.get(slot)
    phrases = [phrase for phrase in slot_phrases(pack, slot) if not phrase.beside_row]
    if isinstance(rule, NumberSlot):
        said = defaultdict(list)
        for phrase in phrases:
            said[phrase.value].append(phrase)
        for one, other in _like_numbers(rule):
            yield from zip(said[one], said[other], strict=True)
        return
    for first, second in combinations(phrases, 2):
        alike = SequenceMatcher(None, first.text, second.text).ratio() >= _ALIKE
        if alike and first.value != second.value:
            yield first, second


def alike_words(pack: Pack) -> Iterator[tuple[Phrase, Phrase]]:
    """Yield the like phrases of all slots of words, each pair once."""
    for slot, rule in pack.slots.items():
        if isinstance(rule, WordSlot):
            yield from alike_phrases(pack, slot)


def alike_values(pack: Pack) -> frozenset[Pair]:
    """Return the pairs of values that are easily heard one for the other."""
    return frozenset(
        (slot, frozenset((one.value, other.value)))
        for slot in pack.slots
        for one, other in alike_phrases(pack, slot)
    )


def _like_numbers(rule: NumberSlot) -> Iterator[tuple[int, int]]:
    """Yield numbers that sound alike: "fifteen" or "eight" and the ten, also after a hundred."""
    if rule.as_text:
        return
    for hundred in (0, 100):
        for less, ten in (*_TEENS, *_ONES):
            if rule.low <= hundred + less and hundred + ten <= rule.high:
                yield hundred + less, hundred + ten
