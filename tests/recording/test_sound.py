"""Mixing and the timeline, on frames made by hand."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import Any

import av
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal

from logger.core.sound import SAMPLE_RATE_HZ
from logger.recording.sound import Mixer, Timeline, in_blocks

RNG = np.random.default_rng(7)
SPEECH = 0.2 * RNG.standard_normal(SAMPLE_RATE_HZ)


def mixed(*channels: NDArray[np.float64], piece: int = 320) -> NDArray[np.float64]:
    """Mix in pieces of 20 ms."""
    mixer = Mixer()
    samples = np.stack(channels).astype(np.float32)
    parts = [mixer.mix(samples[:, i : i + piece]) for i in range(0, samples.shape[1], piece)]
    return np.concatenate(parts).astype(np.float64)


@pytest.mark.parametrize(
    "dead",
    [
        np.zeros(SAMPLE_RATE_HZ),
        np.full(SAMPLE_RATE_HZ, 0.4),
        2e-4 * RNG.standard_normal(SAMPLE_RATE_HZ),
        0.3 * np.sin(2 * np.pi * 50 * np.arange(SAMPLE_RATE_HZ) / SAMPLE_RATE_HZ)[::-1] * 0.02,
    ],
    ids=["silence", "constant", "hiss 60 dB down", "hum"],
)
def test_dead_channel_does_not_weaken_the_live_one(dead: NDArray[np.float64]) -> None:
    """On either side."""
    for channels in ((SPEECH, dead), (dead, SPEECH)):
        assert mixed(*channels) == pytest.approx(SPEECH, abs=1e-6)


def test_live_channels_are_averaged() -> None:
    """A voice on one microphone, a quieter one on the other: neither is lost."""
    quiet = 0.05 * RNG.standard_normal(SAMPLE_RATE_HZ)
    assert mixed(SPEECH, quiet) == pytest.approx((SPEECH + quiet) / 2, abs=1e-6)


def test_channels_that_cancel_are_not_mixed() -> None:
    """One of two microphones wired the wrong way round."""
    assert np.abs(mixed(SPEECH, -SPEECH)) == pytest.approx(np.abs(SPEECH), abs=1e-6)


def test_many_unrelated_channels_are_averaged() -> None:
    many = [0.1 * RNG.standard_normal(SAMPLE_RATE_HZ) for _ in range(8)]
    assert mixed(*many) == pytest.approx(np.mean(many, axis=0), abs=1e-6)


def frame(samples: NDArray[np.float32], time_s: float | None, rate_hz: int = SAMPLE_RATE_HZ) -> Any:
    """Return mono sound of a given time."""
    made = av.AudioFrame.from_ndarray(samples[None, :], format="fltp", layout="mono")
    made.sample_rate = rate_hz
    made.time_base = Fraction(1, 1_000_000)
    made.pts = None if time_s is None else round(time_s * 1e6)
    return made


def tone(value: float, seconds: float = 0.1) -> NDArray[np.float32]:
    return np.full(round(seconds * SAMPLE_RATE_HZ), value, np.float32)


def placed(
    frames: Sequence[Any], origin_s: float = 0.0, end_s: float = 60.0
) -> NDArray[np.float32]:
    pieces = list(Timeline(origin_s, end_s).place(frames))
    return np.concatenate([samples for samples, _ in pieces])


def test_gap_is_filled_and_told() -> None:
    frames = [frame(tone(0.5), 0.0), frame(tone(0.25), 1.0)]
    got = placed(frames)
    expected = np.concatenate((tone(0.5), tone(0.0, 0.9), tone(0.25)))
    assert np.array_equal(got, expected)
    blocks = list(in_blocks(Timeline(0.0, 60.0).place(frames), 0.5))
    assert [block.filled_s for block in blocks] == pytest.approx([0.4, 0.5, 0.0])


def test_gap_of_an_hour_takes_little_memory_at_a_time() -> None:
    frames = [frame(tone(0.5), 0.0), frame(tone(0.25), 3600.0)]
    pieces = Timeline(0.0, 3601.0).place(frames)
    sizes = [len(samples) for samples, _ in pieces]
    assert max(sizes) <= SAMPLE_RATE_HZ
    assert sum(sizes) == 3600 * SAMPLE_RATE_HZ + 1600


def test_overlap_is_given_once() -> None:
    got = placed([frame(tone(0.5), 0.0), frame(tone(0.25), 0.05)])
    assert np.array_equal(got, np.concatenate((tone(0.5), tone(0.25, 0.05))))


def test_times_that_start_anew_lose_no_sound() -> None:
    """Two recordings joined without mending the times; and a time that cannot be."""
    half = tone(0.25, 2.0)
    got = placed([frame(tone(0.5, 3.0), 0.0), frame(half, 0.0), frame(half, 2.0)])
    assert np.array_equal(got, np.concatenate((tone(0.5, 3.0), half, half)))
    got = placed([frame(tone(0.5, 3.0), 0.0), frame(half, 0.0), frame(half, 3.0)])
    assert len(got) == 8 * SAMPLE_RATE_HZ  # a gap of a second in the second recording stays one
    for end_s in (60.0, 2e9):
        frames = [frame(tone(0.5), 0.0), frame(tone(0.25), 1e9), frame(tone(0.125), None)]
        got = placed(frames, end_s=end_s)
        assert np.array_equal(got, np.concatenate((tone(0.5), tone(0.25), tone(0.125))))


def test_rounded_times_are_no_gaps_and_a_slow_clock_is_followed() -> None:
    """Matroska rounds to milliseconds; a clock 1 % slow is 0.1 s late after 10 s."""
    rounded = [frame(tone(0.5, 0.0213125), round(i * 0.0213125, 3)) for i in range(100)]
    assert np.array_equal(placed(rounded), tone(0.5, 0.0213125 * 100))
    slow = [frame(tone(0.5), i * 0.101) for i in range(100)]
    assert len(placed(slow)) / SAMPLE_RATE_HZ == pytest.approx(10.1, abs=0.02)


def test_sound_before_the_origin_is_left_out() -> None:
    got = placed([frame(tone(0.5), 9.95), frame(tone(0.25), 10.05)], origin_s=10.0)
    assert np.array_equal(got, np.concatenate((tone(0.5, 0.05), tone(0.25))))


def test_resampling_agrees_with_scipy() -> None:
    """Noise below 6 kHz, 48 kHz to 16 kHz, apart from the ends."""
    low = signal.sosfiltfilt(
        signal.butter(8, 6000, fs=48_000, output="sos"), RNG.standard_normal(48_000)
    )
    wide = np.asarray(0.1 * low, np.float32)
    got = placed([frame(wide[i : i + 1024], i / 48_000, 48_000) for i in range(0, 48_000, 1024)])
    expected = signal.resample_poly(wide.astype(np.float64), 1, 3)
    assert len(got) == pytest.approx(16_000, abs=40)
    assert got[500:15_000] == pytest.approx(expected[500:15_000], abs=0.003)


def test_rate_may_change_midway() -> None:
    frames = [frame(tone(0.5, 0.5), 0.0), frame(np.full(24_000, 0.25, np.float32), 0.5, 48_000)]
    got = placed(frames)
    assert len(got) == pytest.approx(16_000, abs=40)
    assert got[4000] == 0.5
    assert got[12_000] == pytest.approx(0.25, abs=1e-3)


def test_samples_out_of_range_and_no_numbers_are_mended() -> None:
    wild = np.array([np.nan, 3.0, -3.0, 0.5] * 400, np.float32)
    got = placed([frame(wild, 0.0)])
    assert got[:4] == pytest.approx([0.0, 1.0, -1.0, 0.5])


def test_block_without_a_sample_is_refused() -> None:
    def nothing() -> Iterator[tuple[NDArray[np.float32], bool]]:
        yield from ()

    with pytest.raises(ValueError, match="holds no sample"):
        next(in_blocks(nothing(), 0.0))
