"""Which values of a slot sound alike, computed from how they are said."""

from __future__ import annotations

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
_TEENS: Final = {13: 30, 14: 40, 15: 50, 16: 60, 17: 70, 18: 80, 19: 90}

Pair = tuple[str, frozenset["SlotValue"]]
"""A slot and two of its values."""


def alike_phrases(pack: Pack, slot: str) -> Iterator[tuple[Phrase, Phrase]]:
    """Yield the phrases of two values of a slot of words that are written nearly alike.

    Spelling stands for sound, which serves English trade words well enough: it finds hypomobile
    and hypermobile, abduction and adduction, and no others of the shipped pack that it should not.
    """
    phrases = [phrase for phrase in slot_phrases(pack, slot) if not phrase.beside_row]
    for one, other in combinations(phrases, 2):
        alike = SequenceMatcher(None, one.text, other.text).ratio() >= _ALIKE
        if alike and one.value != other.value:
            yield one, other


def alike_words(pack: Pack) -> Iterator[tuple[Phrase, Phrase]]:
    """Yield the like phrases of all slots of words, each pair once."""
    for slot, rule in pack.slots.items():
        if isinstance(rule, WordSlot):
            yield from alike_phrases(pack, slot)


def alike_values(pack: Pack) -> frozenset[Pair]:
    """Return the pairs of values that are easily heard one for the other.

    Of numbers these are the teens and the tens, "fifteen" and "fifty", also after a hundred.
    """
    pairs: set[Pair] = set()
    for slot, rule in pack.slots.items():
        if isinstance(rule, NumberSlot):
            pairs |= {
                (slot, frozenset((more + teen, more + ten)))
                for more in (0, 100)
                for teen, ten in _TEENS.items()
                if rule.low <= more + teen and more + ten <= rule.high and not rule.as_text
            }
        else:
            phrases = alike_phrases(pack, slot)
            pairs |= {(slot, frozenset((one.value, other.value))) for one, other in phrases}
    return frozenset(pairs)
