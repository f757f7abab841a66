"""The ear as a library: any block size gives the same, in bounded memory."""

from __future__ import annotations

import tracemalloc
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import av
import numpy as np
import pytest

from logger.core.events import Utterance, Verdict
from logger.core.sound import SAMPLE_RATE_HZ
from logger.hearing.ear import Ear, hear_all

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from logger.hearing.stretches import Stretch

DEMO = "demo_media/session.mp4"


@dataclass
class Recorder:
    """Hears nothing but remembers when and how much."""

    name: str = "recorder"
    warnings: tuple[str, ...] = ()
    stretches: list[tuple[float, float, int]] = field(default_factory=list)

    def hear(self, stretch: Stretch) -> Utterance:
        """Note the stretch; it is talk."""
        self.stretches.append((stretch.start_s, stretch.end_s, len(stretch.samples)))
        return Utterance("", stretch.start_s, stretch.end_s, 0.0, Verdict.TALK)


@pytest.fixture(scope="module")
def speech() -> NDArray[np.float32]:
    """Return the first 40 s of the demonstration session at 16 kHz."""
    with av.open(DEMO) as container:
        resampler = av.AudioResampler(format="flt", layout="mono", rate=SAMPLE_RATE_HZ)
        pieces = [
            out.to_ndarray()[0]
            for frame in container.decode(audio=0)
            for out in resampler.resample(frame)
        ]
    return np.concatenate(pieces)[: 40 * SAMPLE_RATE_HZ].astype(np.float32)


@pytest.mark.parametrize("size", [160, 1_111, 16_000, 10_000_000])
def test_any_block_size_gives_the_same_utterances(speech: NDArray[np.float32], size: int) -> None:
    whole, pieces = Recorder(), Recorder()
    list(hear_all([speech], whole))
    list(hear_all((speech[at : at + size] for at in range(0, len(speech), size)), pieces))
    assert pieces.stretches == whole.stretches
    assert len(whole.stretches) >= 5


def test_an_utterance_comes_with_the_end_of_its_silence(speech: NDArray[np.float32]) -> None:
    """End of speech to utterance: 0.7 s of silence and at most one detector step and block."""
    ear, block = Ear(Recorder()), SAMPLE_RATE_HZ // 50
    seen = 0
    for at in range(0, len(speech), block):
        for utterance in ear.push(speech[at : at + block]):
            now_s = (at + block) / SAMPLE_RATE_HZ
            assert 0.0 <= now_s - utterance.end_s < 0.8
            seen += 1
    assert seen >= 5


@pytest.mark.parametrize("size", [512, 1_600, 10_000_000])
def test_computing_ahead_gives_the_same_utterances(speech: NDArray[np.float32], size: int) -> None:
    """The very same stretches, each heard before its silence ends; some are heard in vain."""
    plain, ahead = Recorder(), Recorder()
    blocks = [speech[at : at + size] for at in range(0, len(speech), size)]
    expected = list(hear_all(blocks, plain))
    assert list(hear_all(blocks, ahead, ahead=True)) == expected
    assert set(plain.stretches) <= set(ahead.stretches)
    assert len(ahead.stretches) <= 1.5 * len(plain.stretches)


def test_ahead_the_work_is_done_a_quarter_of_a_second_before_the_silence_ends(
    speech: NDArray[np.float32],
) -> None:
    ear, block = Ear(recorder := Recorder(), ahead=True), SAMPLE_RATE_HZ // 50
    heard_at_s: dict[tuple[float, float, int], float] = {}
    early = 0
    for at in range(0, len(speech), block):
        now_s = (at + block) / SAMPLE_RATE_HZ
        for utterance in ear.push(speech[at : at + block]):
            first_s = min(s for key, s in heard_at_s.items() if key[1] == utterance.end_s)
            early += now_s - first_s > 0.25
        for stretch in recorder.stretches:
            heard_at_s.setdefault(stretch, now_s)
    assert early >= 5


def test_an_hour_takes_no_more_memory_than_a_minute(speech: NDArray[np.float32]) -> None:
    """Ten minutes of speech without a pause are cut into pieces and let go."""
    start = int(1.3 * SAMPLE_RATE_HZ)
    piece = speech[start : start + int(2.5 * SAMPLE_RATE_HZ)]
    ear = Ear(recorder := Recorder())
    tracemalloc.start()
    for _ in range(240):
        list(ear.push(piece))
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    list(ear.finish())
    assert most < 20_000_000
    heard_s = sum(end - start for start, end, _ in recorder.stretches)
    assert heard_s > 0.7 * 240 * 2.5, "nothing of it is dropped"
    assert max(end - start for start, end, _ in recorder.stretches) <= 24.1


def test_a_sound_that_begins_in_mid_word_is_noticed(speech: NDArray[np.float32]) -> None:
    whole, cut = Ear(Recorder()), Ear(Recorder())
    list(whole.push(speech))
    list(cut.push(speech[int(2.0 * SAMPLE_RATE_HZ) :]))
    assert not whole.starts_in_speech
    assert cut.starts_in_speech
