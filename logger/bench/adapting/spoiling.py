"""Pairs of the same speech: close and clean, and as a microphone in a noisy room hears it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np
import pyroomacoustics
from numpy.random import Generator, default_rng
from numpy.typing import NDArray
from scipy.signal import butter, fftconvolve, resample_poly, sosfilt

from logger.bench.hearing.noises import babble, fan, of_unit_power
from logger.bench.hearing.rooms import respoken
from logger.core.sound import SAMPLE_RATE_HZ

FloatArray = NDArray[np.float32]
Pair = tuple[int, FloatArray, FloatArray]
"""Which utterance, and its sound clean and spoilt, of one length."""
Batch = tuple[NDArray[np.int64], FloatArray, FloatArray]
"""The same of several: shapes (k,), (k, n) and (k, n)."""

LENGTHS_S: Final = (1.6, 2.2, 3.0, 4.0, 5.2, 6.6, 8.4)
"""Utterances are laid into one of these, so that a batch has one shape."""
_CLEAN_DB: Final = -23.0
_BEFORE_S: Final = (0.15, 0.6)
_AFTER_S: Final = 0.2
_ROOMS: Final = 160


@dataclass(frozen=True, slots=True)
class Odds:
    """How often each thing happens to the speech, and how much."""

    clean: float = 0.2
    """Nothing but the level is changed: what is heard well must not be unlearnt."""
    respoken: float = 0.7
    speeds: tuple[int, int] = (17, 23)
    """Twentieths: played slower and lower down to 20/23, or faster and higher up to 20/17."""
    apart: float = 0.5
    """Of the respoken, how often tempo and pitch are changed each for itself."""
    tempo: tuple[float, float] = (0.8, 1.35)
    semitones: float = 3.0
    room: float = 0.65
    noise: float = 0.85
    snr_db: tuple[float, float] = (2.0, 24.0)
    babble: float = 0.35
    babble_least_snr_db: float = 6.0
    low_pass: float = 0.25
    high_pass: float = 0.25
    clipped: float = 0.05
    peak_db: tuple[float, float] = (-26.0, -1.0)


@dataclass(slots=True)
class Spoiler:
    """Draws pairs from clean utterances, each shape (n,), int16 at 16 kHz."""

    speech: Sequence[NDArray[np.int16]]
    seed: int
    odds: Odds = field(default_factory=Odds)
    _rooms: list[FloatArray] = field(default_factory=list)

    def pairs(self) -> Iterator[Pair]:
        """Yield pairs without end, each of one of `LENGTHS_S`."""
        rng = default_rng(self.seed)
        self._rooms = [random_room(rng) for _ in range(_ROOMS)]
        while True:
            which = int(rng.integers(len(self.speech)))
            clean = self._laid(self._utterance(which, rng), rng)
            if clean is not None:
                yield which, clean, self._spoilt(clean, rng)

    def batches(self, seconds: float) -> Iterator[Batch]:
        """Yield batches of one shape, (k, n) each, of about so many seconds of sound."""
        waiting: dict[int, list[Pair]] = {}
        for pair in self.pairs():
            held = waiting.setdefault(len(pair[1]), [])
            held.append(pair)
            if len(held) * len(pair[1]) >= seconds * SAMPLE_RATE_HZ:
                which, clean, spoilt = zip(*held, strict=True)
                yield np.array(which), np.stack(clean), np.stack(spoilt)
                held.clear()

    def _utterance(self, which: int, rng: Generator) -> FloatArray:
        speech = self.speech[which].astype(np.float32)
        if rng.random() < self.odds.respoken:
            speech = self._respoken(speech, rng)
        return of_unit_power(speech) * np.float32(10 ** (_CLEAN_DB / 20))

    def _respoken(self, speech: FloatArray, rng: Generator) -> FloatArray:
        odds = self.odds
        if rng.random() < odds.apart:
            shift = float(rng.uniform(-odds.semitones, odds.semitones))
            return respoken(speech, float(rng.uniform(*odds.tempo)), shift)
        twentieths = int(rng.integers(*odds.speeds, endpoint=True))
        return np.asarray(resample_poly(speech, 20, twentieths), np.float32)

    def _laid(self, speech: FloatArray, rng: Generator) -> FloatArray | None:
        before = round(SAMPLE_RATE_HZ * rng.uniform(*_BEFORE_S))
        needed = before + len(speech) + round(SAMPLE_RATE_HZ * _AFTER_S)
        lengths = [round(SAMPLE_RATE_HZ * s) for s in LENGTHS_S]
        length = next((each for each in lengths if each >= needed), None)
        if length is None:
            return None
        return np.pad(speech, (before, length - before - len(speech)))

    def _spoilt(self, clean: FloatArray, rng: Generator) -> FloatArray:
        odds = self.odds
        heard = clean if rng.random() < odds.clean else self._in_noise(clean, rng)
        heard = heard / np.abs(heard).max() * 10 ** (rng.uniform(*odds.peak_db) / 20)
        if rng.random() < odds.clipped:
            heard = np.clip(heard * rng.uniform(2, 8), -1, 1)
        return np.asarray(heard, np.float32)

    def _in_noise(self, clean: FloatArray, rng: Generator) -> FloatArray:
        odds, heard = self.odds, clean
        if rng.random() < odds.room:
            heard = self._in_room(heard, rng)
        if rng.random() < odds.noise:
            heard = self._noisy(heard, np.flatnonzero(clean), rng)
        if rng.random() < odds.low_pass:
            heard = _filtered(heard, "lowpass", rng.uniform(2500, 7000))
        if rng.random() < odds.high_pass:
            heard = _filtered(heard, "highpass", rng.uniform(80, 400))
        return heard

    def _in_room(self, sound: FloatArray, rng: Generator) -> FloatArray:
        response = self._rooms[rng.integers(len(self._rooms))]
        return np.asarray(fftconvolve(sound, response)[: len(sound)], np.float32)

    def _noisy(self, heard: FloatArray, spoken: NDArray[np.intp], rng: Generator) -> FloatArray:
        least_db, most_db = self.odds.snr_db
        if rng.random() < self.odds.babble:
            others = rng.integers(len(self.speech), size=12)
            clips = [self._utterance(int(which), rng) for which in others]
            noise = self._in_room(babble(len(heard), rng, clips), rng)
            least_db = self.odds.babble_least_snr_db
        elif rng.random() < 0.4:  # noqa: PLR2004 - how often the noise is a fan's
            noise = fan(len(heard), rng)
        else:
            noise = coloured(len(heard), float(rng.choice([0, 1, 1, 1.5, 2])), rng)
        power = np.mean(np.square(heard[spoken[0] : spoken[-1] + 1]))
        gain = np.sqrt(power) * 10 ** (-rng.uniform(least_db, most_db) / 20)
        return np.asarray(heard + of_unit_power(noise) * gain, np.float32)


def _filtered(sound: FloatArray, kind: Literal["lowpass", "highpass"], hz: float) -> FloatArray:
    shape = butter(1, hz, kind, fs=SAMPLE_RATE_HZ, output="sos")
    return np.asarray(sosfilt(shape, sound), np.float32)


def coloured(samples: int, slope: float, rng: Generator) -> FloatArray:
    """Return noise whose power falls as 1/f to the power of `slope`, of unit power, shape (n,)."""
    spectrum = np.fft.rfft(rng.normal(size=samples))
    hz = np.maximum(np.fft.rfftfreq(samples, 1 / SAMPLE_RATE_HZ), 20.0)
    return of_unit_power(np.fft.irfft(spectrum * hz ** (-slope / 2), samples).astype(np.float32))


def random_room(rng: Generator) -> FloatArray:
    """Return the impulse response of some room from the direct sound on, of unit energy.

    RT60 0.2 to 0.8 s, the speaker 0.5 to 3 m from the microphone, each anywhere. Shape (n,).
    """
    while True:
        size_m = (rng.uniform(2.5, 7), rng.uniform(2.3, 5), rng.uniform(2.3, 3.2))
        try:
            absorption, order = pyroomacoustics.inverse_sabine(rng.uniform(0.2, 0.8), size_m)
        except ValueError:
            continue  # no wall is so soft: another room
        break
    room = pyroomacoustics.ShoeBox(
        size_m,
        fs=SAMPLE_RATE_HZ,
        materials=pyroomacoustics.Material(absorption),
        max_order=min(order, 25),
    )
    head = [*(rng.uniform(0.5, side - 0.5) for side in size_m[:2]), rng.uniform(1.0, 1.8)]
    turn, reach_m = rng.uniform(0, 2 * np.pi), rng.uniform(0.5, 3.0)
    microphone = [
        float(np.clip(head[0] + reach_m * np.cos(turn), 0.1, size_m[0] - 0.1)),
        float(np.clip(head[1] + reach_m * np.sin(turn), 0.1, size_m[1] - 0.1)),
        rng.uniform(0.6, 1.9),
    ]
    room.add_source(head)
    room.add_microphone(microphone)
    room.compute_rir()
    response = np.asarray(room.rir[0][0], np.float32)
    response = response[int(np.argmax(np.abs(response))) :][:SAMPLE_RATE_HZ]
    return np.asarray(response / np.sqrt(np.sum(response**2)), np.float32)
