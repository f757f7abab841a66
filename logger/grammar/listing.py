"""What can be said, written out for the clinician from the pack."""

from __future__ import annotations

import re
import textwrap
from typing import TYPE_CHECKING, Final

from logger.core.statements import Act
from logger.grammar.numbers import number_words
from logger.grammar.pack import BLANK, NumberSlot
from logger.grammar.phrases import command_phrases, slot_phrases, slot_spans

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from logger.core.statements import SlotValue
    from logger.grammar.pack import Pack, WordSlot

WIDTH: Final = 80

_HEADINGS: Final[Mapping[str, str]] = {
    "side": "Side",
    "test": "Tests",
    "motion": "Motions",
    "mode": "How the motion was done",
    "range_deg": "Range of the motion",
    "grade": "Grade",
    "mobility": "Mobility",
    "mobility_score": "Mobility score",
    "pain": "Pain",
    "end_feel": "End feel",
    "symptoms": "Symptoms",
    "comparison": "Comparison",
}
_COMMANDS: Final[Mapping[Act, str]] = {
    Act.CORRECTION: "then what is right: replaces it in the last row",
    Act.WITHDRAW: "takes the last row back; it stays in the table, marked withdrawn",
    Act.OTHER_SIDE: "what follows is about the other side",
    Act.CHECK_POSITION: "tells the arm's angle now",
    Act.NOTE: "then any words: keeps them with the last row",
    Act.PAUSE_LISTENING: "what is said from then on makes no row",
    Act.RESUME_LISTENING: "listens again, after a pause or the end",
    Act.BEGIN_BOUT: "a bout of treatment begins",
    Act.END_BOUT: "the bout ends",
    Act.END_SESSION: "the session ends",
}


def what_can_be_said(pack: Pack) -> str:
    """Return a plain text of at most 80 columns: every spoken form, commands and examples."""
    intro = (
        f"Name {_either(_plain(pack.utterance.opens_row))} and the side; add anything else in any "
        "order, or say it afterwards. Use only the words below: anything else in the same breath "
        "makes it talk, and talk leaves no trace."
    )
    parts = [pack.title, "\n".join(textwrap.wrap(intro, WIDTH))]
    only = pack.utterance.beside_row_only
    parts += ["\n".join(_slot(pack, slot)) for slot in pack.slots if slot not in only]
    if sentence := [*_sentence(pack)]:
        parts.append("\n".join(sentence))
    parts.append("\n".join(_commands(pack)))
    parts.append("\n".join(["For example", *(f"  {text}" for text in examples(pack))]))
    return "\n\n".join(parts) + "\n"


def examples(pack: Pack) -> tuple[str, ...]:
    """Return what might be said, made of the pack's phrases with commas between; all parse."""
    rules = pack.utterance
    free = [
        slot
        for slot in rules.completes_row
        if slot not in rules.needs and slot not in rules.beside_row_only
    ]
    side = _phrase(pack, "side", bare=True)
    said: list[list[str]] = []
    for opening in rules.opens_row:
        needing = [slot for slot, needed in rules.needs.items() if opening in needed]
        first = side if opening in rules.bare_side_with else _phrase(pack, "side")
        rest = [_phrase(pack, slot) for slot in needing or free[:2]]
        said.append([first, _phrase(pack, opening), *rest])
    said += [[_phrase(pack, slot)] for slot in free[-1:]]
    said.append([_phrase(pack, "side")])
    for phrase in command_phrases(pack):
        if phrase.takes_slots:
            said.append([phrase.text, _phrase(pack, (*free, rules.opens_row[0])[0])])
        elif phrase.takes_words:
            said.append([phrase.text, "free words"])
        else:
            said.append([phrase.text, *(_phrase(pack, slot) for slot in phrase.may_take[-1:])])
    return tuple(", ".join(phrases) for phrases in said)


def _phrase(pack: Pack, slot: str, *, bare: bool = False) -> str:
    """Return the usual phrase of the slot's middle value."""
    by_value: dict[SlotValue, str] = {}
    for phrase in slot_phrases(pack, slot):
        if not phrase.beside_row and (phrase.bare == bare or slot != "side"):
            by_value.setdefault(phrase.value, phrase.text)
    # A pack without bare sides has only full ones to offer.
    texts = list(by_value.values()) or [phrase.text for phrase in slot_phrases(pack, slot)]
    return texts[len(texts) // 2]


def _slot(pack: Pack, slot: str) -> Iterator[str]:
    rule = pack.slots[slot]
    needed = pack.utterance.needs.get(slot, ())
    yield _HEADINGS[slot] + (f" (for {_either(_plain(needed))})" if needed else "")
    if isinstance(rule, NumberSlot):
        yield from _number_lines(rule)
        yield from _span_lines(pack, slot)
        if slot == "mobility_score":
            yield from _score_lines(pack)
        return
    yield from _word_lines(pack, rule)


def _sentence(pack: Pack) -> Iterator[str]:
    """Yield what counts only where a row is opened or corrected."""
    opens = _either(_plain(pack.utterance.opens_row))
    lines: list[str] = []
    for slot, rule in pack.slots.items():
        said = [template.replace(BLANK, "N") for template in rule.templates_beside_row]
        if not isinstance(rule, NumberSlot):
            said = [template.replace(BLANK, "X") for template in rule.templates_beside_row]
            said += [form for forms in rule.beside_row.values() for form in forms]
            if slot in pack.utterance.beside_row_only:
                said += [form for forms in rule.values.values() for form in forms]
        if said:
            lines += _wrapped(f"  {_HEADINGS[slot].lower()}: ", ", ".join(said))
    words = pack.linking
    for label, texts in (
        ("to begin", words.first),
        ("between", words.between),
        ("between and at the end", words.last),
    ):
        if texts:
            lines += _wrapped(f"  {label}: ", ", ".join(texts))
    completes = [_HEADINGS[slot].lower() for slot in pack.utterance.sentence_completes]
    if any(words.first + words.between + words.last) and completes:
        alone = f"with {_either(completes)} alone, these complete the row before"
        lines += _wrapped("  ", alone)
    if lines:
        yield from _wrapped("", f"Only beside {opens}, or in a correction")
        yield from lines


def _word_lines(pack: Pack, rule: WordSlot) -> Iterator[str]:
    if rule.templates != (BLANK,):
        said = ", ".join(template.replace(BLANK, "X") for template in rule.templates)
        every = [form for several in rule.values.values() for form in several]
        yield from _wrapped("  ", f"{said}, where X is {_either(every)}")
        return
    width = max(len(value) for value in rule.values)
    for value, forms in rule.values.items():
        text = _letters(", ".join(forms))
        if value in pack.setup:
            window = pack.setup[value]
            text += f" [arm at {window.low_deg:g} to {window.high_deg:g} degrees"
            text += f", {window.plane_deg:g} forward]" if window.plane_deg else "]"
        name = value.replace("_", " ")
        # Nobody needs to be told that "active" is said "active".
        yield from _wrapped("  " if text == name else f"  {name:<{width}}  ", text)
    if rule.bare:
        short = _either([form for forms in rule.bare.values() for form in forms])
        beside = _either([*_plain(pack.utterance.bare_side_with), "a correction"])
        yield from _wrapped("  ", f"just {short} counts only with {beside}")


def _letters(text: str) -> str:
    """Write letters that are said one by one as capitals: "A P glide"."""
    return re.sub(r"\b[a-z](?: [a-z])+\b", lambda match: match[0].upper(), text)


def _number_lines(rule: NumberSlot) -> Iterator[str]:
    said = ", ".join(template.replace(BLANK, "N") for template in rule.templates)
    text = f"{said}, where N is {number_words(rule.low)} to {number_words(rule.high)}"
    after = [word for words in rule.marks.values() for word in words]
    if after:
        text += f"; {_either(after)} may follow"
    yield from _wrapped("  ", text)
    for number, forms in rule.also.items():
        yield from _wrapped("  ", f"{', '.join(forms)} (the same as {number})")


def _span_lines(pack: Pack, slot: str) -> Iterator[str]:
    said = [phrase for phrase in slot_spans(pack, slot) if not phrase.beside_row]
    if said:
        shortest = min(said, key=lambda phrase: len(phrase.text))
        ways = {f'"{p.text}"' for p in said if p.values == shortest.values}
        example = _either(sorted(ways, key=lambda text: (len(text), text))[:2])
        yield from _wrapped("  ", f"of two ({example}) both are kept, and the row asks which")


def _score_lines(pack: Pack) -> Iterator[str]:
    numbers: dict[str, list[str]] = {}
    for number, mobility in pack.mobility_of_score.items():
        numbers.setdefault(mobility, []).append(number_words(number))
    for mobility, words in numbers.items():
        yield from _wrapped("  ", f"{_either(words)} also means {mobility}")


def _commands(pack: Pack) -> Iterator[str]:
    yield "Commands (nothing else in the same breath)"
    forms = {act: ", ".join(forms) for act, forms in pack.commands.items()}
    width = max(len(text) for text in forms.values())
    for act, text in forms.items():
        yield from _wrapped(f"  {text:<{width}}  ", _meaning(pack, act))


def _meaning(pack: Pack, act: Act) -> str:
    takes = pack.utterance.bout_takes if act is Act.BEGIN_BOUT else ()
    return _COMMANDS[act] + (f"; {_either(_plain(takes))} may follow" if takes else "")


def _wrapped(start: str, text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=start, subsequent_indent=" " * len(start))


def _plain(slots: Iterable[str]) -> list[str]:
    """Return slot names as things: "a test", "a motion"."""
    return [f"a {slot.replace('_', ' ')}" for slot in slots]


def _either(names: Sequence[str]) -> str:
    *first, last = names
    return f"{', '.join(first)} or {last}" if first else last
