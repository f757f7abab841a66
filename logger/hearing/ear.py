"""The recogniser as a library: push 16 kHz blocks, get utterances.

    ear = Ear(open_recogniser("moonshine", load_pack("glenohumeral")))
    for block in blocks:  # float32, shape (n,), 16 kHz mono in [-1, 1], any n
        for utterance in ear.push(block):
            ...
    for utterance in ear.finish():
        ...

An utterance comes out of the push in which its closing silence ends, 0.7 s after the speech, plus
the time of computing it. For a live microphone, `ahead=True` begins to compute after 0.2 s of the
silence, and throws the result away if speech goes on: the same utterances, mostly with the end of
their silence. The blocks that come in meanwhile must wait in the caller's queue. Memory does not
grow: what has been heard is let go.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from logger.core.events import Utterance, Verdict
from logger.hearing.engines import Recogniser
from logger.hearing.stretches import FloatArray, Stretch, StretchCutter, StretchRules

_AT_THE_EDGE_S = 0.1


class Ear:
    """Hears one recording or one live microphone; not to be shared between threads."""

    def __init__(
        self, recogniser: Recogniser, rules: StretchRules | None = None, *, ahead: bool = False
    ) -> None:
        """Hear with `recogniser`, which may serve several ears one after the other."""
        self._recogniser = recogniser
        self._cutter = StretchCutter(rules, ahead=ahead)
        self._early: Utterance | None = None
        self._pushed = 0
        self.starts_in_speech = False
        """Whether the first sound was already speech: what was said before it is missing."""

    @property
    def in_speech(self) -> bool:
        """Whether somebody was speaking when the last sample came."""
        return self._cutter.in_speech

    def push(self, samples: FloatArray) -> Iterator[Utterance]:
        """Take the next samples, shape (n,), and yield each utterance, talk too, that ends in them.

        Times count from the first sample pushed. The samples are taken in as the iterator is
        used up.
        """
        for stretch in self._cutter.push(samples):
            yield from self._heard(stretch)

    def finish(self) -> Iterator[Utterance]:
        """Yield the utterance that the end of the sound cut off, if there is one."""
        for stretch in self._cutter.finish():
            yield from self._heard(stretch)

    def _heard(self, stretch: Stretch) -> Iterator[Utterance]:
        early, self._early = self._early, None
        if early is None or (early.start_s, early.end_s) != (stretch.start_s, stretch.end_s):
            early = self._recogniser.hear(stretch)
        if stretch.ended:
            self.starts_in_speech |= stretch.start_s < _AT_THE_EDGE_S
            yield _drowned(early) if stretch.drowned else early
        else:
            self._early = early


def _drowned(utterance: Utterance) -> Utterance:
    unsure = Verdict.UNSURE if utterance.verdict is Verdict.HEARD else utterance.verdict
    return replace(utterance, drowned=True, verdict=unsure)


def hear_all(
    blocks: Iterable[FloatArray],
    recogniser: Recogniser,
    rules: StretchRules | None = None,
    *,
    ahead: bool = False,
) -> Iterator[Utterance]:
    """Yield an utterance for each stretch of speech of a whole sound, in the order of time."""
    ear = Ear(recogniser, rules, ahead=ahead)
    for block in blocks:
        yield from ear.push(block)
    yield from ear.finish()
