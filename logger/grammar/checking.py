"""What must agree between the tables of a pack."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

from logger.core.events import SIDES
from logger.core.statements import AGAINST, SAME_AS
from logger.grammar.numbers import number_forms
from logger.grammar.pack import BLANK
from logger.grammar.sections import Mistake

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from logger.grammar.lines import KeyPath
    from logger.grammar.schema import NumberTable, UtteranceTable, WordTable
    from logger.grammar.sections import Sections


def checked(sections: Sections) -> list[Mistake]:
    """Return every disagreement between the tables that could be read."""
    mistakes = [*_words(sections), *_setup(sections), *_score(sections), *_spoken(sections)]
    mistakes += [*_report(sections), *_taught(sections), *_pattern(sections), *_limits(sections)]
    for slot, table in sections.numbers.items():
        mistakes += _number(slot, table)
    if sections.utterance is not None:
        mistakes += _utterance(sections.utterance, sections.named_slots)
    return mistakes


def _words(sections: Sections) -> Iterator[Mistake]:
    for slot, table in sections.words.items():
        if slot != "side" and table.bare:
            yield Mistake(("slots", slot, "bare"), "only side may have bare forms; remove it")
        for key, values in (("bare", table.bare), ("beside_row", table.beside_row)):
            for value in values:
                if value not in table.values:
                    yield Mistake(("slots", slot, key, value), _not_among(tuple(table.values)))
    for slot, known in (("side", SIDES), ("comparison", (*SAME_AS, *AGAINST))):
        held = sections.words.get(slot)
        for value in held.values if held else ():
            if value not in known:
                yield Mistake(("slots", slot, "values", value), _not_among(known))


def _number(slot: str, table: NumberTable) -> Iterator[Mistake]:
    path = ("slots", slot)
    if table.low > table.high:
        yield Mistake((*path, "low"), f"{table.low} is above high, {table.high}; swap them")
    for number in table.also:
        if not table.low <= number <= table.high:
            problem = f"is not from {table.low} to {table.high}; remove it or widen the range"
            yield Mistake((*path, "also", str(number)), problem)
    if table.marks and slot != "grade":
        yield Mistake((*path, "marks"), "only grade may have marks; remove it")


def _setup(sections: Sections) -> Iterator[Mistake]:
    tests = sections.words.get("test")
    for test, table in sections.setup.items():
        if table.low_deg > table.high_deg:
            problem = f"{table.low_deg:g} is above high_deg, {table.high_deg:g}; swap them"
            yield Mistake(("setup", test, "low_deg"), problem)
        if tests and test not in tests.values:
            yield Mistake(("setup", test), _not_among(tuple(tests.values)))
    if sections.setup and "test" not in sections.named_slots:
        yield Mistake(("setup",), "the pack has no tests; add slots.test or remove this")


def _score(sections: Sections) -> Iterator[Mistake]:
    numbers, words = sections.numbers.get("mobility_score"), sections.words.get("mobility")
    if sections.score is None or numbers is None or words is None:
        return
    path = ("mobility_of_score", "values")
    for number, mobility in sections.score.values.items():
        if mobility not in words.values:
            yield Mistake((*path, str(number)), _not_among(tuple(words.values)))
        if not numbers.low <= number <= numbers.high:
            problem = f"is not from {numbers.low} to {numbers.high}; remove it"
            yield Mistake((*path, str(number)), problem)
    for number in range(numbers.low, numbers.high + 1):
        if number not in sections.score.values:
            yield Mistake(path, f"has nothing for {number}; say which mobility it means")


def _report(sections: Sections) -> Iterator[Mistake]:
    table = sections.report
    if table is None:
        for key in ("taught_with", "capsular_pattern"):
            if key in sections.tables and "report" not in sections.tables:
                yield Mistake((key,), "needs a table report, which says what is limited; add it")
        return
    yield from _values_of(sections, "mobility", (table.limited,), ("report", "limited"))
    yield from _values_of(sections, "mode", table.modes, ("report", "modes"))


def _taught(sections: Sections) -> Iterator[Mistake]:
    if sections.taught_with is None:
        return
    path = ("taught_with", "tests")
    for test, table in sections.taught_with.tests.items():
        yield from _values_of(sections, "test", (test,), (*path, test))
        yield from _values_of(sections, "motion", table.motions, (*path, test, "motions"))


def _pattern(sections: Sections) -> Iterator[Mistake]:
    table = sections.capsular_pattern
    if table is None:
        return
    path = ("capsular_pattern", "order")
    yield from _values_of(sections, "motion", table.order, path)
    for motion in {motion for motion in table.order if table.order.count(motion) > 1}:
        yield Mistake(path, f"{motion!r} stands there twice; name it once", f'"{motion}"')


def _limits(sections: Sections) -> Iterator[Mistake]:
    for slot, table in sections.limits.items():
        known = tuple(sections.numbers)
        if slot not in known:
            yield Mistake(("limits", slot), _not_among(known))
        two = table.value_two_examiners
        if (two is None) != (not table.source_two_examiners.strip()):
            problem = "value_two_examiners and source_two_examiners go together; give both or none"
            yield Mistake(("limits", slot), problem)
        if two is not None and (table.value is None or two < table.value):
            problem = f"{two:g} is below value; two examiners differ by no less than one"
            yield Mistake(("limits", slot, "value_two_examiners"), problem)


def _values_of(
    sections: Sections, slot: str, names: Iterable[str], path: KeyPath
) -> Iterator[Mistake]:
    """Find the names that are no values of a slot of words."""
    table = sections.words.get(slot)
    if table is None and slot in sections.named_slots:
        return  # the slot's own mistakes are told already
    known = tuple(table.values) if table else ()
    for name in names:
        if name not in known:
            yield Mistake(path, f"{name!r} {_not_among(known)}", f'"{name}"')


def _utterance(table: UtteranceTable, slots: frozenset[str]) -> Iterator[Mistake]:
    others = tuple(sorted(slots - {"side"}))
    named: dict[KeyPath, tuple[str, ...]] = {
        ("opens_row",): table.opens_row,
        ("completes_row",): table.completes_row,
        ("bare_side_with",): table.bare_side_with,
        ("beside_row_only",): table.beside_row_only,
        ("sentence_completes",): table.sentence_completes,
        ("bout_takes",): tuple(slot for slot in table.bout_takes if slot != "side"),
    }
    named |= {("needs", slot): (slot, *needed) for slot, needed in table.needs.items()}
    for key, names in named.items():
        for name in names:
            if name not in others:
                problem = f"{name!r} {_not_among(others)}"
                yield Mistake(("utterance", *key), problem, f'"{name}"')
    for slot in others:
        if (*table.opens_row, *table.completes_row).count(slot) != 1:
            yield Mistake(("utterance",), f"{slot} must be in opens_row or completes_row, once")
    for name in set(table.bare_side_with) & set(others) - set(table.opens_row):
        problem = f"{name!r} does not open a row; remove it or add it to opens_row"
        yield Mistake(("utterance", "bare_side_with"), problem, f'"{name}"')


def _spoken(sections: Sections) -> Iterator[Mistake]:
    """Find words that would mean two things, or that a command would swallow."""
    meanings: dict[str, str] = {}
    told: set[tuple[KeyPath, str]] = set()
    commands = sections.commands
    prefixes = (*commands.correction, *commands.note, *commands.begin_bout) if commands else ()
    for path, form, text, meaning in _all_forms(sections):
        first = meanings.setdefault(text, meaning)
        if first != meaning and (path, first) not in told:
            told.add((path, first))
            problem = f'"{text}" already means {first}; one spoken form has one meaning'
            yield Mistake(path, problem, f'"{form}"')
        swallowed = [word for word in prefixes if text.startswith(f"{word} ")]
        if swallowed and path[0] == "slots" and (path, swallowed[0]) not in told:
            told.add((path, swallowed[0]))
            problem = f'"{text}" begins with the command "{swallowed[0]}"; word it otherwise'
            yield Mistake(path, problem, f'"{form}"')


def _all_forms(sections: Sections) -> Iterator[tuple[KeyPath, str, str, str]]:
    """Yield (where, as written, as spoken, meaning) of everything that can be said."""
    if sections.commands is not None:
        for act in type(sections.commands).model_fields:
            for form in getattr(sections.commands, act):
                yield ("commands", act), form, form, f"the command {act}"
    if sections.linking is not None:
        for key in type(sections.linking).model_fields:
            for form in getattr(sections.linking, key):
                yield ("linking", key), form, form, "linking words"
    for slot, words in sections.words.items():
        yield from _word_texts(slot, words)
    for slot, numbers in sections.numbers.items():
        yield from _number_texts(slot, numbers)


def _word_texts(slot: str, table: WordTable) -> Iterator[tuple[KeyPath, str, str, str]]:
    path = ("slots", slot)
    for value, forms in table.values.items():
        for form, template in itertools.product(forms, (*table.phrases, *table.phrases_beside_row)):
            text = template.replace(BLANK, form)
            yield (*path, "values", value), form, text, f"{slot} {value}"
    for key, values in (("bare", table.bare), ("beside_row", table.beside_row)):
        for value, forms in values.items():
            for form in forms:
                yield (*path, key, value), form, form, f"{slot} {value}"


def _number_texts(slot: str, table: NumberTable) -> Iterator[tuple[KeyPath, str, str, str]]:
    path = ("slots", slot)
    marks = [(mark, form) for mark, forms in table.marks.items() for form in forms]
    templates = [("phrases", template) for template in table.phrases]
    templates += [("phrases_beside_row", template) for template in table.phrases_beside_row]
    for number, (key, template) in itertools.product(range(table.low, table.high + 1), templates):
        for words in number_forms(number):
            text = template.replace(BLANK, words)
            yield (*path, key), template, text, f"{slot} {number}"
            for mark, form in marks if key == "phrases" else ():
                yield (*path, "marks", mark), form, f"{text} {form}", f"{slot} {number}{mark}"
    for number, forms in table.also.items():
        for form in forms:
            yield (*path, "also", str(number)), form, form, f"{slot} {number}"


def _not_among(known: tuple[str, ...]) -> str:
    return f"is not among {', '.join(known) or 'the slots of this pack'}"
