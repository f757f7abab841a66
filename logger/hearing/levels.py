"""Brings sound to one loudness for the detector of speech, which misses what is faint."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class LevelRules:
    """What loudness to bring the sound to. Levels are peaks, of full scale."""

    target: float = 0.5
    lowest: float = 0.01
    """What is fainter counts as this loud: a silent room is not turned up without end."""
    half_life_s: float = 10.0
    """How fast a loud moment is forgotten: not between two utterances."""


class Leveller:
    """Scales sound, chunk by chunk, by the loudest that was lately heard."""

    def __init__(self, sample_rate_hz: int, rules: LevelRules | None = None) -> None:
        """Start as after a long silence."""
        self._rules = rules or LevelRules()
        self._rate = sample_rate_hz
        self._level = self._rules.lowest

    def level(self, chunk: FloatArray) -> FloatArray:
        """Return `chunk`, shape (n,), brought to the target level and clipped to [-1, 1]."""
        fade = 0.5 ** (len(chunk) / self._rate / self._rules.half_life_s)
        loudest = float(np.abs(chunk).max(initial=0.0))
        self._level = max(loudest, self._level * fade, self._rules.lowest)
        scaled: FloatArray = np.clip(chunk * (self._rules.target / self._level), -1, 1)
        return scaled
