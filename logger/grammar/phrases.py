"""Every phrase that fills a slot, written out in words."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product
from typing import TYPE_CHECKING, Final

from logger.grammar.numbers import number_forms
from logger.grammar.pack import BLANK, NumberSlot, WordSlot

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from logger.core.statements import Act, SlotValue
    from logger.grammar.pack import Pack, Spans, UtteranceRules


@dataclass(frozen=True, slots=True)
class Phrase:
    """Words that fill one slot with one value."""

    text: str
    """Lower-case words parted by single spaces; single letters are words ("a p glide")."""
    slot: str
    value: SlotValue
    bare: bool = False
    """True for a side so short that it counts only beside a test, a motion or "correction"."""
    beside_row: bool = False
    """True for words that count only in an utterance that opens a row or corrects one."""
    other: SlotValue | None = None
    """The second value of a span: "two to three" leaves open which of the two is meant."""

    @property
    def values(self) -> tuple[SlotValue, ...]:
        """What is said of the slot: the value, or both of a span."""
        return (self.value,) if self.other is None else (self.value, self.other)


_THIRDS: Final = 3


@dataclass(frozen=True, slots=True)
class _Said:
    """A number, with its mark if any, and how it is said."""

    rank: int
    """In thirds of a whole number: those with a mark lie between."""
    value: SlotValue
    form: str


@dataclass(frozen=True, slots=True)
class Linking:
    """Words that mean nothing ("is a bit") and count only where `stands_beside_row` says so."""

    text: str
    may_begin: bool = False
    may_join: bool = False
    """May stand between two phrases."""
    may_end: bool = False
    turns: bool = False
    """True for "not" and the like, which do mean something: the opposite of what follows."""


@dataclass(frozen=True, slots=True)
class CommandPhrase:
    """Words that ask for something."""

    text: str
    act: Act
    takes_slots: bool = False
    """True for "correction": phrases must follow."""
    takes_words: bool = False
    """True for "note": free words must follow."""
    may_take: tuple[str, ...] = ()
    """For "begin bout": slots of which phrases may follow."""


def counts_beside_row(spoken: object) -> bool:
    """Whether this is a linking word, or a phrase that counts only beside a row."""
    return isinstance(spoken, Linking) or (isinstance(spoken, Phrase) and spoken.beside_row)


def stands_beside_row(spoken: Sequence[object], rules: UtteranceRules) -> bool:
    """Whether what counts only beside a row stands beside one, or completes one in a sentence."""
    phrases = [each for each in spoken if isinstance(each, Phrase)]
    slots = {phrase.slot for phrase in phrases if not phrase.bare}
    if not slots.isdisjoint(rules.opens_row) or not any(map(counts_beside_row, spoken)):
        return True
    return bool(slots) and slots <= set(rules.sentence_completes)


def linking_words(pack: Pack) -> tuple[Linking, ...]:
    """Return the words that may stand between phrases, each text once."""
    rule, turning = pack.linking, pack.utterance.turn_round
    joining = (*rule.between, *rule.last, *turning)
    texts = dict.fromkeys((*rule.first, *joining))
    return tuple(
        Linking(t, t in rule.first, t in joining, t in rule.last, t in turning) for t in texts
    )


def spoken_phrases(pack: Pack) -> tuple[Phrase, ...]:
    """Return every phrase of every slot, in the pack's order, each text once."""
    return tuple(phrase for slot in pack.slots for phrase in slot_phrases(pack, slot))


def slot_phrases(pack: Pack, slot: str) -> tuple[Phrase, ...]:
    """Return every phrase of one slot, each text once; empty if the pack has no such slot."""
    rule = pack.slots.get(slot)
    if rule is None:
        return ()
    phrases = _of_words(slot, rule) if isinstance(rule, WordSlot) else _of_numbers(slot, rule)
    if slot in pack.utterance.beside_row_only:
        phrases = (replace(phrase, beside_row=True) for phrase in phrases)
    return tuple({(phrase.text, phrase.value): phrase for phrase in phrases}.values())


def span_phrases(pack: Pack) -> tuple[Phrase, ...]:
    """Return every phrase that says two numbers for one."""
    return tuple(phrase for slot in pack.slots for phrase in slot_spans(pack, slot))


def slot_spans(pack: Pack, slot: str) -> tuple[Phrase, ...]:
    """Return those of one slot; empty if it has no spans."""
    rule = pack.slots.get(slot)
    if not isinstance(rule, NumberSlot) or rule.spans is None:
        return ()
    return tuple(_of_spans(slot, rule, rule.spans))


def command_phrases(pack: Pack) -> tuple[CommandPhrase, ...]:
    """Return the phrases of every command, in the pack's order."""
    return tuple(
        CommandPhrase(
            text,
            act,
            takes_slots=act == "correction",
            takes_words=act == "note",
            may_take=pack.utterance.bout_takes if act == "begin_bout" else (),
        )
        for act, forms in pack.commands.items()
        for text in forms
    )


def _of_words(slot: str, rule: WordSlot) -> Iterator[Phrase]:
    for value, forms in rule.values.items():
        for form in forms:
            for template in rule.templates:
                yield Phrase(template.replace(BLANK, form), slot, value)
            for template in rule.templates_beside_row:
                yield Phrase(template.replace(BLANK, form), slot, value, beside_row=True)
        for form in rule.bare.get(value, ()):
            yield Phrase(form, slot, value, bare=True)
        for form in rule.beside_row.get(value, ()):
            yield Phrase(form, slot, value, beside_row=True)


def _of_numbers(slot: str, rule: NumberSlot) -> Iterator[Phrase]:
    for number in range(rule.low, rule.high + 1):
        plain: SlotValue = str(number) if rule.as_text else number
        for form in number_forms(number):
            for template in rule.templates:
                text = template.replace(BLANK, form)
                yield Phrase(text, slot, plain)
                for mark, words in rule.marks.items():
                    for word in words:
                        yield Phrase(f"{text} {word}", slot, f"{number}{mark}")
            for template in rule.templates_beside_row:
                yield Phrase(template.replace(BLANK, form), slot, plain, beside_row=True)
        for form in rule.also.get(number, ()):
            yield Phrase(form, slot, plain)


def _of_spans(slot: str, rule: NumberSlot, spans: Spans) -> Iterator[Phrase]:
    templates = dict.fromkeys(rule.templates, False) | dict.fromkeys(
        rule.templates_beside_row, True
    )
    for one, other in _spanned(rule, spans):
        for word in spans.words:
            for template, beside in templates.items():
                text = template.replace(BLANK, f"{one.form} {word} {other.form}")
                yield Phrase(text, slot, one.value, beside_row=beside, other=other.value)


def _spanned(rule: NumberSlot, spans: Spans) -> Iterator[tuple[_Said, _Said]]:
    """Yield what may be said for one: so far apart, of grades with marks up to a whole one."""
    grain = spans.steps[0]
    for low in range(-(-rule.low // grain) * grain, rule.high + 1, grain):
        for step in (0, *spans.steps):
            if low + step > rule.high:
                continue
            for one, other in product(_ranked(rule, low), _ranked(rule, low + step)):
                if 0 < other.rank - one.rank <= _THIRDS * max(step, 1):
                    yield one, other


def _ranked(rule: NumberSlot, number: int) -> Iterator[_Said]:
    rank = number * _THIRDS
    for form in number_forms(number):
        yield _Said(rank, str(number) if rule.as_text else number, form)
        for mark, words in rule.marks.items():
            marked = rank + (1 if mark == "+" else -1)
            yield from (_Said(marked, f"{number}{mark}", f"{form} {word}") for word in words)
