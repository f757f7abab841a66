"""Words to statements: what must be heard, and what is only talk."""

from __future__ import annotations

import random
from itertools import islice

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from num2words import num2words

from logger.core.statements import Act
from logger.grammar.generating import sentences
from logger.grammar.listing import what_can_be_said
from logger.grammar.loading import load_pack
from logger.grammar.numbers import number_forms
from logger.grammar.parsing import Parser

PACK = load_pack("glenohumeral")
PARSER = Parser(PACK)

TALK = [
    "I walked about three miles and felt normal the whole way",
    "no pain no gain as they say",
    "no pain at all so far",
    "that one's normal and the pain is about a three",
    "the pain is about a three",
    "that's normal",
    "it's still stiff",
    "that's a firm end feel and pain is a four",
    "right",
    "okay right",
    "abduction is the fancy word for lifting it out to the side",
    "",
]


@pytest.mark.parametrize("text", TALK)
def test_talk_states_nothing(text: str) -> None:
    assert PARSER.parse(text) is None


@pytest.mark.parametrize(
    ("text", "slots"),
    [
        ("That's a firm end feel.", {"end_feel": ("firm",)}),
        ("The end feel is empty.", {"end_feel": ("empty",)}),
        ("I'd call that grade four minus.", {"grade": ("4-",)}),
        (
            "With a capsular end feel, and grade of two.",
            {"grade": ("2",), "end_feel": ("capsular",)},
        ),
    ],
)
def test_a_sentence_may_complete_a_row(text: str, slots: dict[str, tuple[str, ...]]) -> None:
    statement = PARSER.parse(text)
    assert statement is not None
    assert (statement.act, statement.slots) == (Act.ATTRIBUTES, slots)


def test_a_transcript_reads_like_its_words() -> None:
    statement = PARSER.parse("Right, inferior glide, Grade 2+, pain 3/10.")
    assert statement is not None
    assert statement.act is Act.FINDING
    assert statement.slots == {
        "side": ("right",),
        "test": ("inferior_glide",),
        "grade": ("2+",),
        "pain": (3,),
    }


@settings(deadline=None, max_examples=100)
@given(st.integers(0, 10_000))
def test_every_generated_sentence_parses_back(seed: int) -> None:
    """Whatever the pack can generate, in any order, means what made it."""
    for sentence in islice(sentences(PACK, random.Random(seed)), 5):
        assert PARSER.parse(sentence.text) == sentence.statement, sentence.text


@pytest.mark.parametrize("number", range(181))
def test_number_words_agree_with_num2words(number: int) -> None:
    """Checked against the independent library num2words."""
    assert num2words(number).replace("-", " ") in number_forms(number)


def test_windows_and_scale_are_the_handbooks() -> None:
    """30 to 60 quoted by Lin 2007 (abstract); the 0-6 scale from teaching flashcards."""
    assert (PACK.setup["posterior_glide"].low_deg, PACK.setup["posterior_glide"].high_deg) == (
        30,
        60,
    )
    # Inferior glide up to 90: common practice, no source.
    assert PACK.setup["inferior_glide"].high_deg == 90
    words = [PACK.mobility_of_score[score] for score in range(7)]
    assert words == ["hypomobile"] * 3 + ["normal"] + ["hypermobile"] * 3


def test_the_listing_fits_80_columns() -> None:
    assert max(len(line) for line in what_can_be_said(PACK).splitlines()) <= 80


def test_a_note_to_oneself_is_talk() -> None:
    assert PARSER.parse("Note to self, order more tape.") is None
    assert PARSER.parse("note to self") is None
    assert PARSER.parse("Note it, I will order more tape.") is None  # "noted, I will"
    for words in ("it clicks at the end", "it is worse today", "it improved", "it was warm"):
        kept = PARSER.parse(f"Note {words}.")
        assert kept is not None
        assert kept.note == f"{words}."
    # As free words were heard in noise.
    assert PARSER.parse("note to sell order more tape") is None
    kept = PARSER.parse("note to see the consultant next week")
    assert kept is not None
    assert kept.note == "to see the consultant next week"


@pytest.mark.parametrize("said", ["normal, end feel abnormal", "end feel abnormal, normal"])
def test_a_phrase_is_found_before_a_linking_word_of_the_same_letters(said: str) -> None:
    """As "abnormal" alone turns a finding round; "normal end feel" is a phrase too."""
    found = PARSER.parse(f"Left abduction, {said}, no change.")
    assert found is not None
    assert (found.slots["mobility"], found.slots["end_feel"]) == (("normal",), ("abnormal",))
