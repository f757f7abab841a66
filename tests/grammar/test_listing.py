"""The listing: complete, narrow, and its examples parse."""

from __future__ import annotations

from typing import Final

from logger.core.statements import Act
from logger.grammar.listing import WIDTH, examples, what_can_be_said
from logger.grammar.loading import load_pack
from logger.grammar.pack import NumberSlot
from logger.grammar.parsing import Parser
from logger.grammar.phrases import command_phrases

PACK: Final = load_pack("glenohumeral")
TEXT: Final = what_can_be_said(PACK)


def test_it_fits_the_width_and_is_plain() -> None:
    assert all(len(line) <= WIDTH == 80 for line in TEXT.splitlines())
    assert TEXT.isascii()
    assert TEXT.endswith("\n")
    assert not any(line.endswith(" ") for line in TEXT.splitlines())


def test_every_form_and_command_is_in_it() -> None:
    flat = " ".join(TEXT.lower().split())
    for rule in PACK.slots.values():
        if not isinstance(rule, NumberSlot):
            for forms in (*rule.values.values(), *rule.bare.values()):
                assert all(form in flat for form in forms)
    assert all(phrase.text in flat for phrase in command_phrases(PACK))


def test_every_window_is_in_it() -> None:
    flat = " ".join(TEXT.split())
    for window in PACK.setup.values():
        assert f"[arm at {window.low_deg:g} to {window.high_deg:g} degrees]" in flat


def test_the_examples_are_in_it_and_parse() -> None:
    parser = Parser(PACK)
    shown = examples(PACK)
    acts = set()
    for example in shown:
        statement = parser.parse(example)
        assert statement is not None, example
        acts.add(statement.act)
        assert f"  {example}\n" in TEXT
    assert acts == set(Act)
