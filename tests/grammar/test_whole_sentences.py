"""Linking words, comparisons and phrases that count only beside a row; the opening word."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import pytest

from logger.core.statements import Act, SlotValue
from logger.grammar.loading import load_pack
from logger.grammar.parsing import Parser

PACK: Final = load_pack("glenohumeral")
PARSER: Final = Parser(PACK)
OPENED: Final = Parser(replace(PACK, utterance=replace(PACK.utterance, opening_word=("record",))))

Slots = dict[str, tuple[SlotValue, ...]]

SENTENCES: Final[list[tuple[str, Slots]]] = [
    (
        (
            "right shoulder, inferior glide is a bit stiff, about a two out of six, with pain at "
            "the end, three out of ten"
        ),
        {
            "side": ("right",),
            "test": ("inferior_glide",),
            "mobility": ("hypomobile",),
            "mobility_score": (2,),
            "pain": (3,),
        },
    ),
    (
        "posterior glide feels the same as the other side",
        {"test": ("posterior_glide",), "comparison": ("same_as_other_side",)},
    ),
    (
        "left inferior glide, hypomobile compared with the right",
        {
            "side": ("left",),
            "test": ("inferior_glide",),
            "mobility": ("hypomobile",),
            "comparison": ("against_right",),
        },
    ),
    (
        "okay so the left posterior glide is stiffer than the right side, pain is about a four",
        {
            "side": ("left",),
            "test": ("posterior_glide",),
            "mobility": ("hypomobile",),
            "pain": (4,),
            "comparison": ("against_right",),
        },
    ),
    (
        "on the right, active abduction is about ninety degrees with some pain, three out of ten",
        {
            "side": ("right",),
            "motion": ("abduction",),
            "mode": ("active",),
            "range_deg": (90,),
            "pain": (3,),
        },
    ),
    (
        "right anterior glide, it's quite loose with a soft end feel and no pain at all",
        {
            "side": ("right",),
            "test": ("anterior_glide",),
            "mobility": ("hypermobile",),
            "pain": (0,),
            "end_feel": ("soft",),
        },
    ),
]


@pytest.mark.parametrize(("text", "slots"), SENTENCES)
def test_a_whole_sentence_is_a_finding(text: str, slots: Slots) -> None:
    statement = PARSER.parse(text)
    assert statement is not None
    assert statement.act is Act.FINDING
    assert statement.slots == slots


@pytest.mark.parametrize(
    "text",
    [
        # Patients and students say these: without a test or a motion they are talk.
        "it is a bit stiff",
        "that one's normal and the pain is about a three",
        "the pain is about a three",
        "same as the other side",
        "it feels the same as the other side",
        "stiffer than the left",
        "about a two out of six",
        "three out of ten pain",
        "okay right shoulder",
        "so no pain",
        # Linking words neither begin nor end what they may not.
        "is inferior glide stiff",
        "inferior glide is",
        "inferior glide with",
        "okay so and",
        # Nor do they make a command of a sentence.
        "okay scratch that",
        "so other side",
        "and correction pain five",
    ],
)
def test_the_same_words_beside_no_row_are_talk(text: str) -> None:
    assert PARSER.parse(text) is None


def test_a_correction_may_be_a_sentence() -> None:
    statement = PARSER.parse("correction, pain is five")
    assert statement is not None
    assert statement.act is Act.CORRECTION
    assert statement.slots == {"pain": (5,)}


def test_with_an_opening_word_nothing_else_is_heard() -> None:
    for text in ("right inferior glide stiff", "scratch that", "note early", "pain three"):
        assert OPENED.parse(text) is None
        opened, plain = OPENED.parse(f"Record, {text}"), PARSER.parse(text)
        assert opened is not None
        assert opened == plain
    for text in ("record", "record record", "recorder pain three", "okay record pain three"):
        assert OPENED.parse(text) is None
