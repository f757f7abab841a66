"""Sentences and voices to teach the encoder with."""

from __future__ import annotations

import random
import re
from itertools import islice
from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("pyroomacoustics", reason="needs the dependency group bench")

from logger.bench.adapting.speech import contrasts
from logger.bench.adapting.strangers import ALSO_SAID, said_otherwise, strangers
from logger.bench.hearing.voices import KEPT_ASIDE
from logger.core.errors import UsageError
from logger.grammar.alike import alike_words
from logger.grammar.loading import load_pack

STYLES, PHONEMES, STYLE = ("af_one", "bm_two", "zf_three"), 4, 256


def test_each_of_two_like_phrases_is_said_in_turn() -> None:
    pack = load_pack("glenohumeral")
    wanted = [phrase.text for pair in alike_words(pack) for phrase in pair]
    for text, phrase in zip(islice(contrasts(pack, 3), 5 * len(wanted)), 5 * wanted, strict=True):
        assert phrase in text.lower()


def test_the_same_seed_gives_the_same_sentences_and_another_does_not() -> None:
    pack = load_pack("glenohumeral")
    once, again, other = (list(islice(contrasts(pack, seed), 20)) for seed in (3, 3, 4))
    assert once == again != other


def test_contrasts_about_some_words_hold_those() -> None:
    pack = load_pack("glenohumeral")
    texts = list(islice(contrasts(pack, 3, "duction"), 12))
    assert all("duction" in text.lower() for text in texts)
    assert sum("abduction" in text.lower() for text in texts) >= 6


def test_like_numbers_are_said_in_turn_where_they_are_asked_for() -> None:
    pack = load_pack("glenohumeral")
    texts = [text.lower() for text in islice(contrasts(pack, 3, "fifteen degrees"), 12)]
    assert sum("fifteen degrees" in text for text in texts) == 6
    assert sum("fifty degrees" in text for text in texts) == 6


def test_a_number_is_not_changed_within_another() -> None:
    """As "fifty forty degrees", of fifty four."""
    within = re.compile(r"ty (forty|sixty|seventy|eighty|ninety) degrees")
    texts = list(islice(contrasts(load_pack("glenohumeral"), 3, "degrees"), 300))
    assert not [text for text in texts if within.search(text.lower())]


@pytest.mark.parametrize("about", ["hypomobile", "hypermobile"])
def test_either_phrase_of_a_pair_names_it(about: str) -> None:
    texts = list(islice(contrasts(load_pack("glenohumeral"), 3, about), 4))
    assert sum("hypomobile" in text.lower() for text in texts) == 2


def test_contrasts_about_no_like_phrase_are_refused() -> None:
    with pytest.raises(UsageError, match="glenohumeral holds 'elbow'"):
        next(contrasts(load_pack("glenohumeral"), 3, "elbow"))


def test_a_word_is_now_and_then_said_otherwise_and_nothing_else_is_changed() -> None:
    rng = random.Random(1)
    said = [said_otherwise("Left abduction, hypomobile.", rng) for _ in range(300)]
    plain = said.count("Left abduction, hypomobile.")
    assert 60 < plain < 160  # both words as written: 0.6 * 0.6 of 300 is 108
    for text in said:
        word, mobility = text.removeprefix("Left ").removesuffix(".").split(", ")
        assert word in {"abduction", *ALSO_SAID["abduction"]}
        assert mobility in {"hypomobile", *ALSO_SAID["hypomobile"]}


def test_every_word_said_otherwise_is_of_a_like_pair() -> None:
    like = {phrase.text for pair in alike_words(load_pack("glenohumeral")) for phrase in pair}
    assert set(ALSO_SAID) <= like


def test_nobody_kept_aside_is_mixed_into_a_stranger(tmp_path: Path) -> None:
    kept = [name.removeprefix("kokoro:") for name in KEPT_ASIDE if name.startswith("kokoro:")]
    for number, name in enumerate((*STYLES, *kept)):
        np.full((PHONEMES, STYLE), 1000.0 if name in kept else number, np.float32).tofile(
            tmp_path / f"{name}.bin"
        )
    voices = list(islice(strangers(tmp_path, random.Random(2)), 200))
    for voice in voices:
        assert voice.styles.shape == (PHONEMES, STYLE)
        assert np.abs(voice.styles).max() < 10
        assert not any(name in voice.name for name in kept)
    assert len({voice.name for voice in voices}) > 190
