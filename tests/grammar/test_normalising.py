"""Transcripts in writing read like their words, and odd numbers like nothing."""

from __future__ import annotations

import re
from itertools import islice
from random import Random
from typing import Final

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from num2words import num2words

from logger.core.statements import Act
from logger.grammar.generating import sentences
from logger.grammar.loading import load_pack
from logger.grammar.normalising import normalised
from logger.grammar.parsing import Parser

PACK: Final = load_pack("glenohumeral")
PARSER: Final = Parser(PACK)

EQUAL: Final = [
    ("110°", "one hundred and ten degrees"),
    ("110 º", "one hundred and ten degrees"),
    ("Pain 3/10.", "pain three out of ten"),
    ("pain 3 / 10", "pain three out of ten"),
    ("Grade 2+", "grade two plus"),
    ("Grade 2-, pain 3", "grade two minus pain three"),
    ("grade 2\N{MINUS SIGN}", "grade two minus"),
    ("grade two-", "grade two minus"),
    ("grade 2 - pain 3", "grade two pain three"),
    ("end-feel", "end feel"),
    ("long-axis", "long axis"),
    ("A.P. glide", "a p glide"),
    ("pain 3,grade 2;stiff", "pain three grade two stiff"),
    ("check position...", "check position"),
    ("no pain\N{HORIZONTAL ELLIPSIS} stiff", "no pain stiff"),
    ("  Right,\n shoulder!  ", "right shoulder"),
]

# Numbers that are not plain whole ones stay unread.
UNREAD: Final = [
    "3.5",
    "1,5",
    "3-4",
    "-5",
    "03",
    "181",
    "2nd",
    "3/10/2",
    "1e2",
    "\N{SUPERSCRIPT TWO}",
]


@pytest.mark.parametrize(("written", "spoken"), EQUAL)
def test_writing_reads_like_speech(written: str, spoken: str) -> None:
    assert " ".join(normalised(written)) == spoken


@pytest.mark.parametrize("number", UNREAD)
@pytest.mark.parametrize("around", ["pain {}", "grade {}", "{} degrees", "pain three, {}"])
def test_an_odd_number_is_nobodys_word(number: str, around: str) -> None:
    assert PARSER.parse(around.format(number)) is None


def written(text: str, rng: Random) -> str:
    """Write spoken words as a transcript might: digits, signs, commas and capitals."""
    if rng.random() < 0.7:
        for number in reversed(range(181)):
            words = num2words(number).replace("-", " ")
            for form in (words, words.replace(" and ", " ")):
                text = re.sub(rf"\b{form}\b(?!')", str(number), text)
        text = re.sub(r"(\d) plus\b", r"\1+", text)
        text = re.sub(r"(\d) minus\b", r"\1-", text)
        text = re.sub(r"(\d) out of 10\b", r"\1/10", text)
        text = re.sub(r"(\d) degrees\b", r"\1°", text)
    words_out = [word.capitalize() if rng.random() < 0.3 else word for word in text.split()]
    spaced = [word + ("," if rng.random() < 0.2 else "") for word in words_out]
    return " ".join(spaced).rstrip(",") + rng.choice(["", ".", " ", "..."])


@settings(deadline=None, max_examples=100, derandomize=True)
@given(st.integers(0, 2**32))
def test_a_written_sentence_means_what_its_words_mean(seed: int) -> None:
    """Notes are left out: their words are kept as they are written."""
    rng = Random(seed)
    for sentence in islice(sentences(PACK, rng), 5):
        if sentence.statement.act is not Act.NOTE:
            text = written(sentence.text, rng)
            assert PARSER.parse(text) == sentence.statement, text


@settings(deadline=None, max_examples=300, derandomize=True)
@given(st.text(max_size=60))
def test_any_text_at_all_is_taken(text: str) -> None:
    """Whatever comes, no word is made up: digits in give digits or number words out."""
    PARSER.parse(text)
    assert all(word == word.lower() or not word.isascii() for word in normalised(text))
