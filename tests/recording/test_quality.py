"""What is wrong with a sound is told, and a constant offset taken out."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.recording.quality import SoundQuality

if TYPE_CHECKING:
    from numpy.typing import NDArray

RATE = 16_000


def speechlike(seconds: float = 10.0, level: float = 0.3) -> NDArray[np.float32]:
    """Return noise that swells and fades four times a second."""
    time_s = np.arange(round(seconds * RATE)) / RATE
    noise = np.random.default_rng(4).normal(0, level / 3, len(time_s))
    return np.clip(noise * np.sin(2 * np.pi * 4 * time_s), -1, 1).astype(np.float32)


def told(samples: NDArray[np.float32], rate_hz: int = RATE) -> str:
    quality = SoundQuality()
    for at in range(0, len(samples), RATE):
        quality.take(samples[at : at + RATE])
    return " ".join(quality.warnings("a.wav", rate_hz))


def test_an_ordinary_sound_gives_no_warning() -> None:
    assert told(speechlike()) == ""
    assert told(speechlike(), 96_000) == ""
    assert told(np.zeros(0, np.float32)) == ""


@pytest.mark.parametrize(
    ("samples", "sentence"),
    [
        (np.zeros(RATE, np.float32), "silent throughout"),
        (speechlike(level=0.001), "very quiet"),
        (np.clip(speechlike() * 30, -1, 1), "clipped in"),
        (speechlike() + np.float32(0.2), "constant offset"),
    ],
)
def test_each_fault_is_told_alone(samples: NDArray[np.float32], sentence: str) -> None:
    assert sentence in told(samples)
    assert told(samples).count("a.wav") == 1


def test_a_telephone_rate_is_told() -> None:
    assert "only 8000 samples a second" in told(speechlike(), 8_000)


@settings(max_examples=15)
@given(st.floats(-0.6, 0.6), st.integers(160, 40_000))
def test_any_offset_is_taken_out_without_a_step(offset: float, size: int) -> None:
    samples = (speechlike(20.0, 0.05) + offset).astype(np.float32)
    quality = SoundQuality()
    blocks = [quality.take(samples[at : at + size]) for at in range(0, len(samples), size)]
    mended = np.concatenate(blocks)
    assert len(mended) == len(samples)
    # The noise's own mean over a small block is all that remains.
    assert abs(float(mended[-8 * RATE :].mean())) < 0.003
    steps = np.abs(np.diff(mended) - np.diff(samples))
    assert float(steps.max()) < 0.02
