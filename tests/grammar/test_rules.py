"""The parser's rules: which act, whose side, what stands alone, what a note keeps."""

from __future__ import annotations

from typing import Final

import pytest

from logger.core.statements import Act, SlotValue, Statement
from logger.grammar.loading import load_pack
from logger.grammar.parsing import Parser

PARSER: Final = Parser(load_pack("glenohumeral"))

Slots = dict[str, tuple[SlotValue, ...]]

STATED: Final[list[tuple[str, Act, Slots]]] = [
    ("inferior glide", Act.FINDING, {"test": ("inferior_glide",)}),
    ("pain three inferior glide right", Act.FINDING, {"side": ("right",), "pain": (3,)}),
    ("horizontal abduction", Act.FINDING, {"motion": ("horizontal_abduction",)}),
    ("AP glide", Act.FINDING, {"test": ("posterior_glide",)}),
    # What needs a motion is kept without one: the row, or the row before, tells whether it fits.
    ("inferior glide active", Act.FINDING, {"mode": ("active",)}),
    ("ninety degrees passive", Act.ATTRIBUTES, {"mode": ("passive",), "range_deg": (90,)}),
    ("right shoulder", Act.SIDE, {"side": ("right",)}),
    ("right right shoulder", Act.SIDE, {"side": ("right",)}),
    # Two sides are never settled by the parser.
    ("right left shoulder", Act.SIDE, {"side": ("right", "left")}),
    ("right left inferior glide", Act.FINDING, {"side": ("right", "left")}),
    ("right shoulder pain three", Act.ATTRIBUTES, {"side": ("right",), "pain": (3,)}),
    ("right pain three", Act.ATTRIBUTES, {"pain": (3,)}),
    ("pain three pain five pain three", Act.ATTRIBUTES, {"pain": (3, 5)}),
    ("grade two grade two plus", Act.ATTRIBUTES, {"grade": ("2", "2+")}),
    ("end feel firm end feel soft", Act.ATTRIBUTES, {"end_feel": ("firm", "soft")}),
    ("mobility two stiff", Act.ATTRIBUTES, {"mobility": ("hypomobile",), "mobility_score": (2,)}),
    ("correction left", Act.CORRECTION, {"side": ("left",)}),
    ("correction flexion pain two", Act.CORRECTION, {"motion": ("flexion",), "pain": (2,)}),
    ("Correction: anterior glide.", Act.CORRECTION, {"test": ("anterior_glide",)}),
    ("Scratch that!", Act.WITHDRAW, {}),
    ("other side", Act.OTHER_SIDE, {}),
    ("check position", Act.CHECK_POSITION, {}),
    ("Pause listening.", Act.PAUSE_LISTENING, {}),
    ("resume listening", Act.RESUME_LISTENING, {}),
    ("begin bout", Act.BEGIN_BOUT, {}),
    ("Begin bout, grade 3", Act.BEGIN_BOUT, {"grade": ("3",)}),
    ("begin bout grade two grade three", Act.BEGIN_BOUT, {"grade": ("2", "3")}),
    ("end bout", Act.END_BOUT, {}),
    ("bout over", Act.END_BOUT, {}),
    ("end session", Act.END_SESSION, {}),
]

NOTHING: Final = [
    "left",
    "right left",
    "right scratch that",
    "scratch that scratch that",
    "scratch that pain five",
    "begin bout pain five",
    "begin bout is grade three",
    "begin bout flexion",
    "begin bout right inferior glide",
    "end bout grade three",
    "end session please",
    "right pause listening",
    "note end session",
    "note begin bout grade three",
    "check position other side",
    "pain five correction",
    "correction correction pain five",
    "correction scratch that",
    "correction pain five please",
    "pain five note stiff",
    "note",
    "note.",
    "note note",
    "note, scratch that",
    "note, correction, pain five",
    "note note guarding",
    "notes from last week",
    "note-taking is a habit",
    "pain one hundred",
    "pain eleven",
    "grade six",
    "grade zero",
    "mobility seven",
    "one hundred and ninety degrees",
    "grade two plus plus",
    "eases symptoms reproduced",
    "pain three?",
    "pain",
    "plus",
]

NOTES: Final = [
    ("note guarding at the start", "guarding at the start"),
    ("Note: Guarding, then settled.", "Guarding, then settled."),
    ("note - pain 3/10 on lowering", "pain 3/10 on lowering"),
    ("note -5 degrees short of last week", "-5 degrees short of last week"),
    ("note pain three", "pain three"),
    ("note scratch that itch", "scratch that itch"),
    ("note correction fluid on the form", "correction fluid on the form"),
]


@pytest.mark.parametrize(("text", "act", "slots"), STATED)
def test_what_is_stated(text: str, act: Act, slots: Slots) -> None:
    """A finding's table gives the slots of interest; the test or motion is looked at besides."""
    statement = PARSER.parse(text)
    assert statement is not None
    assert statement.act is act
    extra = set(statement.slots) - set(slots)
    assert {slot: statement.slots[slot] for slot in statement.slots if slot in slots} == slots
    assert extra <= ({"test", "motion"} if act is Act.FINDING else set())


@pytest.mark.parametrize("text", NOTHING)
def test_what_states_nothing(text: str) -> None:
    assert PARSER.parse(text) is None


@pytest.mark.parametrize(("text", "note"), NOTES)
def test_a_note_keeps_its_words_as_written(text: str, note: str) -> None:
    assert PARSER.parse(text) == Statement(Act.NOTE, note=note)
