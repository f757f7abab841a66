"""Real sound through detector, model and search."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from logger.core.events import Utterance, Verdict
from logger.core.statements import Act
from logger.findings.merging import MergeRules, merge
from logger.grammar.interpreting import interpret
from logger.grammar.loading import load_pack
from logger.grammar.parsing import Parser
from logger.hearing.ear import hear_all
from logger.hearing.engines import Recogniser, open_recogniser
from logger.hearing.levels import Leveller, LevelRules
from logger.recording.media import open_recording

DATA = Path(__file__).parent / "data"


@pytest.fixture(scope="module")
def recogniser() -> Recogniser:
    """Load the model once."""
    return open_recogniser("moonshine", load_pack("glenohumeral"), threads=1)


def _hear(name: str, recogniser: Recogniser) -> list[Utterance]:
    blocks = open_recording(DATA / name).audio_blocks(1.0)
    return list(hear_all((block.samples for block in blocks), recogniser))


@pytest.mark.model
@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("hypomobile.flac", "left posterior glide grade one hypomobile"),
        ("faint.flac", "left posterior glide grade one hypomobile"),
        ("hypermobile.flac", "left posterior glide hypermobile soft end feel no pain"),
    ],
)
def test_findings_are_heard_word_for_word(name: str, said: str, recogniser: Recogniser) -> None:
    (utterance,) = _hear(name, recogniser)
    assert utterance.text == said
    assert utterance.verdict is Verdict.HEARD
    # The nearest other reading is named, so that a close one can be doubted.
    assert all(rival.text != said and rival.margin >= 0 for rival in utterance.alternatives)


@pytest.mark.model
def test_talk_with_words_of_the_pack_stays_talk(recogniser: Recogniser) -> None:
    assert [u.verdict for u in _hear("talk.flac", recogniser)] == [Verdict.TALK]


def _chunks(peak: float, count: int) -> list[NDArray[np.float32]]:
    wave = peak * np.sin(np.arange(512) * 0.3)
    return [wave.astype(np.float32)] * count


def test_faint_and_loud_sound_come_out_alike() -> None:
    for peak in (0.02, 0.2, 0.9):
        leveller = Leveller(16_000)
        levelled = [leveller.level(chunk) for chunk in _chunks(peak, 5)]
        assert np.abs(levelled[-1]).max() == pytest.approx(0.5, abs=0.01)


def test_a_silent_room_is_not_turned_up_without_end() -> None:
    levelled = Leveller(16_000).level(_chunks(1e-4, 1)[0])
    assert np.abs(levelled).max() == pytest.approx(0.005, rel=0.01)


def test_a_loud_moment_is_forgotten_by_halves() -> None:
    leveller = Leveller(16_000, LevelRules(half_life_s=2.0))
    leveller.level(_chunks(0.8, 1)[0])
    quiet = [leveller.level(chunk) for chunk in _chunks(0.1, 2 * 16_000 // 512)]
    # After one half-life the loudest counts for half: 0.1 of 0.4 is a quarter of the target.
    assert np.abs(quiet[-1]).max() == pytest.approx(0.5 * 0.1 / 0.4, rel=0.03)


@pytest.mark.model
def test_commands_about_the_session_are_heard(recogniser: Recogniser) -> None:
    utterances = _hear("session_commands.flac", recogniser)
    assert [u.text for u in utterances] == [
        "pause listening",
        "resume listening",
        "begin bout grade three",
        "end session",
    ]
    parser = Parser(load_pack("glenohumeral"))
    heard = [interpret(utterance, parser) for utterance in utterances]
    assert [item.statement.act for item in heard if item.statement] == [
        Act.PAUSE_LISTENING,
        Act.RESUME_LISTENING,
        Act.BEGIN_BOUT,
        Act.END_SESSION,
    ]
    assert all(u.verdict is Verdict.HEARD for u in utterances)
    assert not any(item.question for item in heard)


@pytest.mark.model
def test_words_that_nearly_end_the_session_do_not(recogniser: Recogniser) -> None:
    utterances = _hear("end_of_session.flac", recogniser)
    parser = Parser(load_pack("glenohumeral"))
    rules = MergeRules({}, {})
    merged = merge([interpret(u, parser) for u in utterances], (), rules)
    assert all("listening goes on" in reason for _, reason in merged.unplaced)
    assert not any(u.text == "end session" and u.verdict is Verdict.HEARD for u in utterances)
