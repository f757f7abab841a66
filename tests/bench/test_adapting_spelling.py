"""What a lesson asks the encoder to tell apart."""

from __future__ import annotations

import numpy as np
import pytest

pytest.importorskip("pyroomacoustics", reason="needs the dependency group bench")

from logger.bench.adapting.spelling import Speller, spellings
from logger.grammar.loading import load_pack
from logger.hearing.moonshine import START_TOKEN, MoonshineModel, packaged_model_folder

SILENCE = np.zeros(16_000, np.int16)


@pytest.mark.parametrize(
    ("said", "alike"),
    [
        ("Left flexion, fifteen degrees.", {"fifty degrees"}),
        ("Left flexion, eighty degrees.", {"eighteen degrees", "eight degrees"}),
        ("Left abduction.", {"adduction"}),
    ],
)
def test_what_sounds_like_it_is_asked_for_first(said: str, alike: set[str]) -> None:
    """Number rivals are those of the ear: "fifteen" is not only told from "sixteen"."""
    model = MoonshineModel(packaged_model_folder())
    lesson = Speller(load_pack("glenohumeral"), model, {}).lesson(SILENCE, said)
    phrase = said.removeprefix("Left flexion, ").removeprefix("Left ").rstrip(".")
    for other in alike:
        ways = [
            [START_TOKEN, *model.tokenize(way)] for way in spellings(said.replace(phrase, other))
        ]
        (rival,) = [rival for rival in lesson.rivals if rival.tokens[:-1] in ways]
        assert rival.alike
    assert sum(rival.alike for rival in lesson.rivals) >= len(alike)
