"""Noise of every kind that a treatment room has, made from a seed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, Final

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt

from logger.core.sound import SAMPLE_RATE_HZ

FloatArray = NDArray[np.float32]

_FAN_BLADES_HZ: Final = 58.0
_BABBLE_TALKERS: Final = 6


def pink(samples: int, rng: Generator) -> FloatArray:
    """Return pink noise (power falling as 1/f from 20 Hz up) of unit power, shape (n,)."""
    return _shaped(samples, rng, lambda hz: 1 / np.sqrt(np.maximum(hz, 20.0)))


def fan(samples: int, rng: Generator) -> FloatArray:
    """Return a fan: a low rush of air and the hum of its blades, unit power, shape (n,)."""
    rush = _shaped(samples, rng, lambda hz: 1 / (1 + (hz / 250.0) ** 1.2))
    time_s = np.arange(samples) / SAMPLE_RATE_HZ
    hum = np.zeros(samples)
    for harmonic in (1, 2, 3):
        phase = rng.uniform(0, 2 * np.pi)
        hum += np.sin(2 * np.pi * harmonic * _FAN_BLADES_HZ * time_s + phase) / harmonic**2
    return of_unit_power((rush + 0.3 * hum).astype(np.float32))


def babble(samples: int, rng: Generator, speech: Sequence[FloatArray]) -> FloatArray:
    """Return several people talking at once, of unit power; `speech` are clips of talk."""
    mixed = np.zeros(samples, np.float32)
    for _ in range(_BABBLE_TALKERS):
        at = -int(rng.integers(0, SAMPLE_RATE_HZ))
        while at < samples:
            clip = speech[int(rng.integers(len(speech)))]
            first, last = max(at, 0), min(at + len(clip), samples)
            if last > first:
                mixed[first:last] += of_unit_power(clip)[first - at : last - at]
            at += len(clip) + int(rng.integers(1, SAMPLE_RATE_HZ // 2))
    return of_unit_power(mixed)


def of_unit_power(samples: FloatArray) -> FloatArray:
    """Scale to unit mean power; silence stays silence."""
    power = float(np.mean(np.square(samples, dtype=np.float64))) if len(samples) else 0.0
    return samples if power == 0 else (samples / np.sqrt(power)).astype(np.float32)


def sound(name: str, rng: Generator) -> FloatArray:
    """Return one sound that nobody says, by its name in `talk_scripts.NOISES`, peak 1 or less."""
    return _SOUNDS[name](rng)


def _shaped(
    samples: int, rng: Generator, gain: Callable[[NDArray[Any]], NDArray[Any]]
) -> FloatArray:
    spectrum = np.fft.rfft(rng.normal(size=samples))
    hz = np.fft.rfftfreq(samples, 1 / SAMPLE_RATE_HZ)
    return of_unit_power(np.fft.irfft(spectrum * gain(hz), samples).astype(np.float32))


def _seconds(seconds: float) -> int:
    return round(seconds * SAMPLE_RATE_HZ)


def _band(noise: NDArray[np.float64], low_hz: float, high_hz: float) -> NDArray[np.float64]:
    shape = butter(2, (low_hz, high_hz), "bandpass", fs=SAMPLE_RATE_HZ, output="sos")
    return np.asarray(sosfilt(shape, noise))


def _burst(
    rng: Generator, seconds: float, fades_s: float, band_hz: tuple[float, float]
) -> FloatArray:
    noise = rng.normal(size=_seconds(seconds))
    fading = np.exp(-np.arange(len(noise)) / SAMPLE_RATE_HZ / fades_s)
    return _peak(_band(noise, *band_hz) * fading)


def _peak(samples: NDArray[np.float64], peak: float = 0.6) -> FloatArray:
    return (samples * (peak / max(float(np.abs(samples).max()), 1e-9))).astype(np.float32)


def _door(rng: Generator) -> FloatArray:
    return _burst(rng, 0.8, rng.uniform(0.06, 0.15), (40.0, 600.0))


def _knock(rng: Generator) -> FloatArray:
    gap = np.zeros(_seconds(rng.uniform(0.12, 0.2)), np.float32)
    return np.concatenate(
        [p for _ in range(3) for p in (_burst(rng, 0.1, 0.02, (150.0, 1500.0)), gap)]
    )


def _keys(rng: Generator) -> FloatArray:
    clicks = [_burst(rng, rng.uniform(0.07, 0.22), 0.006, (1500.0, 7000.0)) for _ in range(14)]
    return np.concatenate(clicks) * np.float32(0.5)


def _cough(rng: Generator) -> FloatArray:
    """Make two bursts of breath through the formants of an open mouth."""
    parts: list[FloatArray] = []
    for fades_s in (rng.uniform(0.05, 0.09), rng.uniform(0.08, 0.14)):
        breath = rng.normal(size=_seconds(0.35))
        formants = np.sum(
            [_band(breath, hz * 0.8, hz * 1.25) for hz in (650.0, 1200.0, 2600.0)], axis=0
        )
        rise = np.minimum(np.arange(len(breath)) / _seconds(0.015), 1.0)
        parts.append(_peak(formants * rise * np.exp(-np.arange(len(breath)) / _seconds(fades_s))))
        parts.append(np.zeros(_seconds(0.08), np.float32))
    return np.concatenate(parts)


def _hum(rng: Generator) -> FloatArray:
    time_s = np.arange(_seconds(rng.uniform(1.5, 4.0))) / SAMPLE_RATE_HZ
    return _peak(
        np.sum([np.sin(2 * np.pi * 50 * k * time_s) / k for k in (1, 2, 3, 5)], axis=0), 0.3
    )


def _tones(rng: Generator) -> FloatArray:
    """Make a few bars of plucked tones and a drum: music as a detector of speech hears it."""
    scale_hz = 220 * 2 ** (np.array([0, 2, 4, 7, 9, 12]) / 12)
    beat = _seconds(rng.uniform(0.25, 0.4))
    time_s = np.arange(beat) / SAMPLE_RATE_HZ
    bars: list[NDArray[np.float64]] = []
    for step in range(12):
        tone_hz = float(rng.choice(scale_hz))
        pluck = np.sum([np.sin(2 * np.pi * tone_hz * k * time_s) / k for k in range(1, 6)], axis=0)
        note = pluck * np.exp(-time_s / 0.2)
        if step % 4 == 0:
            note = note + np.sin(2 * np.pi * 70 * time_s) * np.exp(-time_s / 0.08) * 2
        bars.append(note)
    return _peak(np.concatenate(bars), 0.4)


def _silence(rng: Generator) -> FloatArray:
    return np.zeros(_seconds(rng.uniform(2.0, 6.0)), np.float32)


_SOUNDS: Final[dict[str, Callable[[Generator], FloatArray]]] = {
    "door": _door,
    "keys": _keys,
    "cough": _cough,
    "hum": _hum,
    "tones": _tones,
    "knock": _knock,
    "silence": _silence,
}
