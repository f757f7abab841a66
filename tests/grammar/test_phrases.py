"""The phrases the recogniser listens for."""

from __future__ import annotations

import re
from collections import Counter
from typing import Final

import pytest
from num2words import num2words

from logger.core.statements import Act, SlotValue
from logger.grammar.loading import load_pack
from logger.grammar.numbers import number_from_words, number_words
from logger.grammar.phrases import command_phrases, slot_phrases, span_phrases, spoken_phrases

PACK: Final = load_pack("glenohumeral")

SAYABLE: Final[list[tuple[str, str, SlotValue]]] = [
    ("left", "side", "left"),
    ("right shoulder", "side", "right"),
    ("proximal distraction", "test", "lateral_distraction"),
    ("caudal glide", "test", "inferior_glide"),
    ("a p glide", "test", "posterior_glide"),
    ("posterior to anterior glide", "test", "anterior_glide"),
    ("lateral rotation", "motion", "external_rotation"),
    ("over pressure", "mode", "overpressure"),
    ("one hundred and ten degrees", "range_deg", 110),
    ("one hundred ten degrees", "range_deg", 110),
    ("zero degrees", "range_deg", 0),
    ("grade two", "grade", "2"),
    ("grade two plus", "grade", "2+"),
    ("grade three minus", "grade", "3-"),
    ("lax", "mobility", "hypermobile"),
    ("mobility four", "mobility_score", 4),
    ("pain three", "pain", 3),
    ("pain three out of ten", "pain", 3),
    ("no pain", "pain", 0),
    ("end feel spasm", "end_feel", "spasm"),
    ("reproduces symptoms", "symptoms", "reproduced"),
    ("no change", "symptoms", "unchanged"),
]


@pytest.mark.parametrize(("text", "slot", "value"), SAYABLE)
def test_a_phrase_fills_one_slot(text: str, slot: str, value: SlotValue) -> None:
    found = [phrase for phrase in spoken_phrases(PACK) if phrase.text == text]
    assert [(phrase.slot, phrase.value) for phrase in found] == [(slot, value)]
    assert type(found[0].value) is type(value)


def test_every_phrase_is_plain_words_said_once() -> None:
    texts = [phrase.text for phrase in spoken_phrases(PACK)]
    texts += [phrase.text for phrase in command_phrases(PACK)]
    assert all(re.fullmatch(r"[a-z]+( [a-z]+)*", text) for text in texts)
    assert Counter(texts).most_common(1)[0][1] == 1


@pytest.mark.parametrize(
    ("text", "slot", "values"),
    [
        ("grade two to three", "grade", ("2", "3")),
        ("grade two plus or three minus", "grade", ("2+", "3-")),
        ("grade two minus to two", "grade", ("2-", "2")),
        ("forty to fifty degrees", "range_deg", (40, 50)),
        ("ninety to one hundred degrees", "range_deg", (90, 100)),
        ("one hundred and five or one hundred and ten degrees", "range_deg", (105, 110)),
        ("pain two or three out of ten", "pain", (2, 3)),
        ("two to three out of six", "mobility_score", (2, 3)),
    ],
)
def test_two_numbers_said_for_one_leave_it_open(
    text: str, slot: str, values: tuple[SlotValue, ...]
) -> None:
    found = [phrase for phrase in span_phrases(PACK) if phrase.text == text]
    assert [(phrase.slot, phrase.values) for phrase in found] == [(slot, values)]


def test_what_is_no_span_of_neighbours_is_none() -> None:
    texts = {phrase.text for phrase in span_phrases(PACK)}
    assert len(texts) == len(span_phrases(PACK))
    assert texts.isdisjoint(phrase.text for phrase in spoken_phrases(PACK))
    for text in (
        "forty one to forty six degrees",
        "grade two to four",
        "grade two plus to four",
        "pain three to two",
        "pain ten to eleven",
        "grade two to two",
    ):
        assert text not in texts


def test_only_one_word_sides_are_bare() -> None:
    assert {p.text for p in spoken_phrases(PACK) if p.bare} == {"left", "right"}


def test_every_number_of_a_slot_can_be_said() -> None:
    """Against the independent library num2words."""
    said = {phrase.text: phrase.value for phrase in slot_phrases(PACK, "range_deg")}
    for number in range(181):
        assert said[f"{num2words(number).replace('-', ' ')} degrees"] == number
    assert set(said.values()) == set(range(181))
    assert said["one degree"] == 1


def test_numbers_read_back() -> None:
    for number in range(181):
        assert number_from_words(number_words(number)) == number
        assert number_from_words(num2words(number).replace("-", " ")) == number
    for words in ("", "hundred", "one hundred and", "one hundred and ninety", "twenty ten"):
        assert number_from_words(words) is None
    for number in (-1, 181):
        with pytest.raises(ValueError, match="not from 0 to 180"):
            number_words(number)


def test_commands_say_what_must_follow() -> None:
    found = {p.act: (p.text, p.takes_slots, p.takes_words) for p in command_phrases(PACK)}
    assert found == {
        Act.CORRECTION: ("correction", True, False),
        Act.WITHDRAW: ("scratch that", False, False),
        Act.OTHER_SIDE: ("other side", False, False),
        Act.CHECK_POSITION: ("check position", False, False),
        Act.NOTE: ("note", False, True),
        Act.PAUSE_LISTENING: ("pause listening", False, False),
        Act.RESUME_LISTENING: ("resume listening", False, False),
        Act.BEGIN_BOUT: ("begin bout", False, False),
        Act.END_BOUT: ("bout over", False, False),
        Act.END_SESSION: ("end session", False, False),
    }
    may_take = {p.act: p.may_take for p in command_phrases(PACK) if p.may_take}
    assert may_take == {Act.BEGIN_BOUT: ("grade",)}


def test_a_slot_that_the_pack_lacks_has_no_phrases() -> None:
    assert slot_phrases(PACK, "nothing") == ()
