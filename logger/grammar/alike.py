"""Which values of a slot sound alike, computed from how they are said."""

from __future__ import annotations

from difflib import SequenceMatcher
from itertools import combinations, product
from typing import TYPE_CHECKING, Final

from logger.grammar.numbers import NUMBER, number_forms, number_from_words
from logger.grammar.pack import BLANK, NumberSlot, WordSlot
from logger.grammar.phrases import slot_phrases

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from logger.core.statements import SlotValue
    from logger.grammar.pack import Pack
    from logger.grammar.phrases import Phrase

_ALIKE: Final = 0.85
_NAMED_ALIKE: Final = 0.84
"""Of what a pack names a number besides, and what is said for another."""
_TEENS: Final = ((13, 30), (14, 40), (15, 50), (16, 60), (17, 70), (18, 80), (19, 90))
_ONES: Final = ((4, 40), (6, 60), (7, 70), (8, 80), (9, 90))

_KINDS: Final = (
    {one: "ones" for one, _ in _ONES}
    | {teen: "teen" for teen, _ in _TEENS}
    | {ten: "tens" for _, ten in _TEENS}
)

Pair = tuple[str, frozenset["SlotValue"]]
"""A slot and two of its values."""


def alike_phrases(pack: Pack, slot: str) -> Iterator[tuple[Phrase, Phrase]]:
    """Yield the phrases of two values of a slot that sound nearly alike, each pair once.

    Of words, those that are written nearly alike. Spelling stands for sound, which serves English
    trade words well enough: it finds hypomobile and hypermobile, abduction and adduction, and no
    others of the shipped pack that it should not. And the same words in another order, as "A P
    glide" and "P A glide". Of numbers, those of `_like_numbers`, said in the same way.
    """
    rule = pack.slots.get(slot)
    phrases = [phrase for phrase in slot_phrases(pack, slot) if not phrase.beside_row]
    if isinstance(rule, NumberSlot):
        yield from _numbers_said_alike(rule, phrases)
        return
    for one, other in combinations(phrases, 2):
        turned = sorted(one.text.split()) == sorted(other.text.split())
        alike = turned or SequenceMatcher(None, one.text, other.text).ratio() >= _ALIKE
        if alike and one.value != other.value:
            yield one, other


def alike_words(pack: Pack) -> Iterator[tuple[Phrase, Phrase]]:
    """Yield the like phrases of all slots of words, each pair once."""
    for slot, rule in pack.slots.items():
        if isinstance(rule, WordSlot):
            yield from alike_phrases(pack, slot)


def all_alike(pack: Pack) -> Iterator[tuple[Phrase, Phrase]]:
    """Yield the like phrases of all slots, of words and of numbers, each pair once."""
    for slot in pack.slots:
        yield from alike_phrases(pack, slot)


def of_kind(text: str) -> str:
    """Return a phrase with a number that sounds like another as its kind: "teen degrees"."""
    return NUMBER.sub(lambda found: _kind(number_from_words(found[1])) or found[1], text)


def _kind(number: int | None) -> str:
    hundreds, rest = divmod(number or 0, 100)
    kind = _KINDS.get(rest, "")
    return f"hundred and {kind}" if kind and hundreds else kind


def alike_values(pack: Pack) -> frozenset[Pair]:
    """Return the pairs of values that are easily heard one for the other."""
    pairs: set[Pair] = set()
    for slot, rule in pack.slots.items():
        if isinstance(rule, NumberSlot):
            pairs |= {(slot, frozenset(pair)) for pair in _like_numbers(rule)}
        else:
            phrases = alike_phrases(pack, slot)
            pairs |= {(slot, frozenset((one.value, other.value))) for one, other in phrases}
    return frozenset(pairs)


def named_alike(pack: Pack) -> frozenset[Pair]:
    """Return the pairs of numbers of which one is named as the other is said, as "pain free"."""
    return frozenset(
        (slot, frozenset(pair))
        for slot, rule in pack.slots.items()
        if isinstance(rule, NumberSlot)
        for pair in _named_like_a_number(rule)
    )


def _numbers_said_alike(
    rule: NumberSlot, phrases: Sequence[Phrase]
) -> Iterator[tuple[Phrase, Phrase]]:
    """Yield the phrases of like numbers, each of two in the same template and form."""
    by_text = {phrase.text: phrase for phrase in phrases}
    for pair in _like_numbers(rule):
        for forms in zip(*map(number_forms, pair), strict=True):
            for template in rule.templates:
                one, other = (by_text.get(template.replace(BLANK, form)) for form in forms)
                if one and other:
                    yield one, other


def _named_like_a_number(rule: NumberSlot) -> Iterator[tuple[int, int]]:
    """Yield numbers of which one is named as another is said: "pain free" and "pain three"."""
    for named, forms in rule.also.items():
        for form, number in product(forms, range(rule.low, rule.high + 1)):
            said = [t.replace(BLANK, number_forms(number)[0]) for t in rule.templates]
            ratios = [SequenceMatcher(None, form, text).ratio() for text in said]
            if number != named and max(ratios, default=0.0) >= _NAMED_ALIKE:
                yield named, number


def _like_numbers(rule: NumberSlot) -> Iterator[tuple[int, int]]:
    """Yield numbers that sound alike: "fifteen" or "eight" and the ten, also after a hundred."""
    if rule.as_text:
        return
    for hundred in (0, 100):
        for less, ten in (*_TEENS, *_ONES):
            if rule.low <= hundred + less and hundred + ten <= rule.high:
                yield hundred + less, hundred + ten
