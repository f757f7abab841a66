"""Sound on the recording's clock: resampled, mixed to one channel, gaps filled with silence."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Final

import av
import numpy as np
from numpy.typing import NDArray

from logger.core.sound import SAMPLE_RATE_HZ

_TOLERANCE_S: Final = 0.02
"""A file's times are rounded, to a millisecond in Matroska; what is further off is a gap."""
_MOST_OVERLAP_S: Final = 1.0
"""Times that go back by more have started anew; what follows is no repetition."""
_MOST_GAP_S: Final = 3600.0
"""A longer pause is damage to the times: it would make days of silence."""
_HORIZON_S: Final = 10.0
_DEAD_POWER: Final = 1e-4
"""A channel 40 dB under the loudest carries no speech that the loudest does not carry better."""
_CANCELLED_POWER: Final = 0.05
"""Eight unrelated channels keep an eighth of their power; a mix with less cancels itself."""

Samples = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class AudioBlock:
    """A stretch of sound."""

    start_s: float
    samples: Samples
    """Mono, 16 kHz, shape (n,), in [-1, 1]."""
    filled_s: float = 0.0
    """How much of it is silence in the place of sound that the file lacks or that is damaged."""


class Mixer:
    """Mixes channels to one without letting a dead one weaken the others."""

    def __init__(self) -> None:
        """Start without having heard anything."""
        self._power = np.zeros(0)
        self._mixed_power = 0.0

    def mix(self, samples: NDArray[Any]) -> Samples:
        """Return one channel, shape (n,), of samples of shape (channels, n) at 16 kHz.

        The mean of the channels that were live in the last ten seconds or so; the loudest alone
        where they cancel each other out, as with one microphone wired the wrong way round.
        """
        if len(samples) == 1 or samples.shape[1] < 2:  # noqa: PLR2004 - one sample has no steps
            return np.asarray(samples.mean(axis=0), np.float32)
        if len(self._power) != len(samples):
            self._power, self._mixed_power = np.zeros(len(samples)), 0.0
        # The power of the steps between samples: a constant offset and hum weigh little in it.
        steps = np.diff(samples.astype(np.float64), axis=1)
        decay = math.exp(-samples.shape[1] / (SAMPLE_RATE_HZ * _HORIZON_S))
        self._power = self._power * decay + (steps**2).sum(axis=1)
        live = self._power >= _DEAD_POWER * self._power.max()
        self._mixed_power = self._mixed_power * decay + float((steps[live].mean(axis=0) ** 2).sum())
        if self._mixed_power < _CANCELLED_POWER * self._power[live].mean():
            return np.asarray(samples[int(self._power.argmax())], np.float32)
        return np.asarray(samples[live].mean(axis=0), np.float32)


class Timeline:
    """Puts decoded frames in their place in one unbroken row of samples."""

    def __init__(self, origin_s: float, duration_s: float) -> None:
        """Count from `origin_s` of the file's times; later than `duration_s` is not believed."""
        self._origin_s = origin_s
        self._latest_s = duration_s + _MOST_OVERLAP_S
        self._given = 0
        self._mixer = Mixer()
        self._resampler: Any = None
        self._kind: tuple[object, ...] = ()
        self._start_s = 0.0
        self._taken_s = 0.0
        self._shift_s = 0.0
        self._skip = 0

    def place(self, frames: Iterable[Any]) -> Iterator[tuple[Samples, bool]]:
        """Yield (samples, whether they were filled in) in order from the recording's start."""
        for frame in frames:
            kind = (frame.sample_rate, frame.layout.name, frame.format.name)
            due_s = self._start_s + self._taken_s
            time_s = self._time_s(frame, due_s)
            first = self._resampler is None
            if first or kind != self._kind or abs(time_s - due_s) > _TOLERANCE_S:
                yield from self._flushed()
                yield from self._begin(time_s)
                self._kind = kind
            self._taken_s += frame.samples / frame.sample_rate
            yield from self._resampled(frame)
        yield from self._flushed()

    def _time_s(self, frame: Any, due_s: float) -> float:
        """Return the frame's place; where the file's times make no sense, right after the last."""
        if frame.pts is None:
            return due_s
        time_s = float(frame.pts * frame.time_base) - self._origin_s + self._shift_s
        early_s = self._given / SAMPLE_RATE_HZ - time_s
        if early_s > _MOST_OVERLAP_S or -early_s > _MOST_GAP_S or time_s > self._latest_s:
            self._shift_s += due_s - time_s
            return due_s
        return time_s

    def _begin(self, time_s: float) -> Iterator[tuple[Samples, bool]]:
        # Interleaved samples: PyAV reads planes beyond the eighth from memory that is not its own.
        self._resampler = av.AudioResampler(format="flt", rate=SAMPLE_RATE_HZ)
        self._start_s, self._taken_s = time_s, 0.0
        missing = round(time_s * SAMPLE_RATE_HZ) - self._given
        self._skip = max(0, -missing)
        while missing > 0:
            # In pieces, so that a gap of an hour takes no more memory than one of a second.
            piece = min(missing, SAMPLE_RATE_HZ)
            yield np.zeros(piece, np.float32), True
            self._given += piece
            missing -= piece

    def _flushed(self) -> Iterator[tuple[Samples, bool]]:
        if self._resampler is not None:
            yield from self._resampled(None)

    def _resampled(self, frame: Any) -> Iterator[tuple[Samples, bool]]:
        try:
            pieces = self._resampler.resample(frame)
        except (av.FFmpegError, ValueError):
            # Damage made a frame that is no sound: what follows starts afresh at its own time.
            self._resampler = None
            return
        for piece in pieces:
            channels = piece.to_ndarray().reshape(-1, piece.layout.nb_channels).T
            samples = self._mixer.mix(np.nan_to_num(channels))
            kept = np.clip(samples[self._skip :], -1.0, 1.0)
            self._skip = max(0, self._skip - len(samples))
            self._given += len(kept)
            yield kept, False


def in_blocks(pieces: Iterable[tuple[Samples, bool]], block_s: float) -> Iterator[AudioBlock]:
    """Yield blocks of exactly `block_s`, the last one perhaps shorter."""
    size = round(block_s * SAMPLE_RATE_HZ)
    if size < 1:
        raise ValueError(f"A block of {block_s} s holds no sample.")
    waiting: list[Samples] = []
    held = filled = start = 0
    for samples, is_filled in pieces:
        rest = samples
        while len(rest):
            part, rest = rest[: size - held], rest[size - held :]
            waiting.append(part)
            held += len(part)
            filled += len(part) if is_filled else 0
            if held == size:
                yield _block(start, waiting, filled)
                start += size
                waiting, held, filled = [], 0, 0
    if held:
        yield _block(start, waiting, filled)


def _block(start: int, parts: list[Samples], filled: int) -> AudioBlock:
    return AudioBlock(start / SAMPLE_RATE_HZ, np.concatenate(parts), filled / SAMPLE_RATE_HZ)
