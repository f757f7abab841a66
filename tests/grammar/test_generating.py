"""The generator: repeatable, and everything the pack holds comes up."""

from __future__ import annotations

from itertools import islice
from random import Random
from typing import Final

from logger.core.statements import SLOTS, Act
from logger.grammar.generating import sentences
from logger.grammar.loading import load_pack
from logger.grammar.phrases import spoken_phrases

PACK: Final = load_pack("glenohumeral")
OTHER_NUMBERS: Final = {*range(11), *map(str, range(6))} - {3, "3"}
MANY: Final = list(islice(sentences(PACK, Random(11)), 60_000))


def test_the_same_seed_gives_the_same_sentences() -> None:
    assert list(islice(sentences(PACK, Random(11)), 50)) == MANY[:50]
    assert list(islice(sentences(PACK, Random(12)), 50)) != MANY[:50]


def test_every_act_and_every_slot_comes_up() -> None:
    assert {sentence.statement.act for sentence in MANY} == set(Act)
    assert {slot for sentence in MANY for slot in sentence.statement.slots} == set(SLOTS)


def test_every_spoken_form_comes_up() -> None:
    missing = {
        phrase.text
        for phrase in spoken_phrases(PACK)
        # The many numbers of the looser phrases are too rare to wait for: one stands for all.
        if not (phrase.beside_row and phrase.value in OTHER_NUMBERS)
        if not any(f" {phrase.text} " in f" {sentence.text} " for sentence in MANY)
    }
    assert missing == set()


def test_conflicts_and_orders_come_up() -> None:
    assert any(len(v) > 1 for sentence in MANY for v in sentence.statement.slots.values())
    first = {sentence.text.split()[0] for sentence in MANY}
    assert {"right", "inferior", "pain", "grade", "mobility", "no", "correction"} <= first
