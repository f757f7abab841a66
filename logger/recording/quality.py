"""What is wrong with a sound, told once at the end; a constant offset is taken out on the way."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from logger.core.sound import SAMPLE_RATE_HZ

Samples = NDArray[np.float32]

_FRAME: Final = SAMPLE_RATE_HZ // 50
_CLIPPED_LEVEL: Final = 0.985
"""Resampling and coding pull the flat tops of a clipped sound a little under full scale."""


@dataclass(frozen=True, slots=True)
class QualityRules:
    """When the user is told."""

    least_rate_hz: int = 16_000
    """A file with fewer samples a second lacks the sounds above half of that."""
    quiet_db: float = -50.0
    """The loudest fiftieth of a second, in dB under full scale: speech lies far above this."""
    clipped_share: float = 0.001
    """Of all samples; ordinary loud speech touches full scale in far fewer."""
    offset: float = 0.02
    settle_s: float = 4.0
    """How fast the offset taken out follows the sound."""


class SoundQuality:
    """Listens along block by block; memory is constant."""

    def __init__(self, rules: QualityRules | None = None) -> None:
        """Start without having heard anything."""
        self._rules = rules or QualityRules()
        self._offset: float | None = None
        self._largest_offset = 0.0
        self._count = self._clipped = 0
        self._loudest = 0.0

    def take(self, samples: Samples) -> Samples:
        """Note what a block, shape (n,) in [-1, 1], is like; return it without its offset."""
        if not len(samples):
            return samples
        mean = float(samples.mean())
        weight = min(1.0, len(samples) / (self._rules.settle_s * SAMPLE_RATE_HZ))
        before = mean if self._offset is None else self._offset
        self._offset = before + weight * (mean - before)
        self._largest_offset = max(self._largest_offset, abs(self._offset))
        self._count += len(samples)
        self._clipped += int((np.abs(samples) >= _CLIPPED_LEVEL).sum())
        centred = samples - np.linspace(before, self._offset, len(samples), dtype=np.float32)
        self._loudest = max(self._loudest, _loudest_power(centred))
        return centred

    def warnings(self, name: str, sample_rate_hz: int | None) -> Iterator[str]:
        """Yield a sentence for each thing that is wrong; `name` is the file's."""
        rules = self._rules
        if not self._count:
            return
        if self._loudest == 0.0:
            yield f"The sound of {name} is silent throughout: check the microphone."
            return
        level_db = 10 * np.log10(self._loudest)
        if level_db < rules.quiet_db:
            yield (
                f"The sound of {name} is very quiet ({level_db:.0f} dB): move the microphone "
                "closer."
            )
        if self._clipped > rules.clipped_share * self._count:
            share = 100 * self._clipped / self._count
            yield (
                f"The sound of {name} is clipped in {share:.1f} % of its samples: turn the "
                "microphone down; more may be missed or marked for a check."
            )
        if self._largest_offset > rules.offset:
            yield (
                f"The sound of {name} has a constant offset, which was taken out: check the device."
            )
        if sample_rate_hz is not None and sample_rate_hz < rules.least_rate_hz:
            yield (
                f"The sound of {name} has only {sample_rate_hz} samples a second: words that "
                "differ in s or f sound alike; record with 16000 or more."
            )


def _loudest_power(samples: Samples) -> float:
    whole = samples[: len(samples) // _FRAME * _FRAME].reshape(-1, _FRAME)
    if not len(whole):
        return float((samples**2).mean())
    return float((whole.astype(np.float64) ** 2).mean(axis=1).max())
