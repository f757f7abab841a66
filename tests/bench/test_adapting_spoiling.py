"""The pairs that the encoder learns from: the same speech, laid alike, spoilt as a room spoils."""

from __future__ import annotations

from dataclasses import replace
from itertools import islice

import numpy as np
import pytest
from numpy.random import default_rng
from scipy.signal import welch

pytest.importorskip("pyroomacoustics", reason="needs the dependency group bench")

from logger.bench.adapting.spoiling import LENGTHS_S, Odds, Spoiler, coloured, random_room

SPEECH = [
    (default_rng(seed).normal(size=16_000 * (1 + seed)) * 8000).clip(-32768, 32767).astype(np.int16)
    for seed in range(4)
]
NOTHING = Odds(clean=0, respoken=0, room=0, noise=0, low_pass=0, high_pass=0, clipped=0)


def test_pairs_have_one_of_the_lengths_and_the_same_speech() -> None:
    """Spoilt by level alone, one is the other times a number."""
    lengths = {round(16_000 * length_s) for length_s in LENGTHS_S}
    for which, clean, spoilt in islice(Spoiler(SPEECH, 1, NOTHING).pairs(), 20):
        assert clean.shape == spoilt.shape
        assert len(clean) in lengths
        assert np.ptp(np.flatnonzero(clean)) == pytest.approx(len(SPEECH[which]), abs=4)
        assert np.corrcoef(clean, spoilt)[0, 1] == pytest.approx(1.0, abs=1e-5)
        assert -26.01 <= 20 * np.log10(np.abs(spoilt).max()) <= -0.99


def test_noise_is_as_loud_as_asked() -> None:
    """At 6 dB and nothing else: the power of the difference, after the level is taken out."""
    odds = replace(NOTHING, noise=1, babble=0, snr_db=(6, 6))
    for _, clean, spoilt in islice(Spoiler(SPEECH, 2, odds).pairs(), 12):
        gain = float(clean @ spoilt / (clean @ clean))
        spoken = clean != 0
        noise = (spoilt / gain - clean)[spoken]
        snr_db = 10 * np.log10(np.mean(clean[spoken] ** 2) / np.mean(noise**2))
        assert snr_db == pytest.approx(6, abs=1.5)


def test_some_speech_is_left_clean() -> None:
    """So that it is not unlearnt: what is asked for half of the pairs happens to half of them."""
    odds = replace(NOTHING, clean=0.5, noise=1, babble=0, snr_db=(6, 6))
    pairs = islice(Spoiler(SPEECH, 4, odds).pairs(), 60)
    clean = [np.corrcoef(clean, spoilt)[0, 1] > 0.999 for _, clean, spoilt in pairs]
    assert 18 <= sum(clean) <= 42


def test_batches_are_of_one_shape_and_the_length_asked_for() -> None:
    """About 20 s each, whatever the utterances' length."""
    for which, clean, spoilt in islice(Spoiler(SPEECH, 3).batches(20.0), 6):
        assert clean.shape == spoilt.shape
        assert len(which) == len(clean)
        assert 20 <= clean.size / 16_000 < 20 + max(LENGTHS_S)
        assert np.isfinite(spoilt).all()


@pytest.mark.parametrize("slope", [0.0, 1.0, 2.0])
def test_coloured_noise_falls_as_it_should(slope: float) -> None:
    """By SciPy's estimate of its spectrum (Welch): 3 dB an octave for a slope of 1."""
    hz, power = welch(coloured(160_000, slope, default_rng(4)), 16_000, nperseg=4096)
    used = (hz > 60) & (hz < 6000)
    fitted = np.polyfit(np.log2(hz[used]), 10 * np.log10(power[used]), 1)[0]
    assert fitted == pytest.approx(-3.01 * slope, abs=0.4)


def test_rooms_begin_with_the_direct_sound() -> None:
    """So that spoilt and clean lie alike; their energy is 1."""
    rng = default_rng(5)
    for _ in range(5):
        response = random_room(rng)
        assert np.argmax(np.abs(response)) == 0
        assert np.sum(response**2) == pytest.approx(1, abs=1e-4)
