"""The recogniser as a library: push 16 kHz blocks, get utterances.

    ear = Ear(open_recogniser("moonshine", load_pack("glenohumeral")))
    for block in blocks:  # float32, shape (n,), 16 kHz mono in [-1, 1], any n
        for utterance in ear.push(block):
            ...
    for utterance in ear.finish():
        ...

An utterance comes out of the push in which its closing silence ends, 0.7 s after the speech, plus
the time of computing it. Memory does not grow: what has been heard is let go.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from logger.core.events import Utterance
from logger.hearing.engines import Recogniser
from logger.hearing.stretches import FloatArray, StretchCutter, StretchRules

_AT_THE_EDGE_S = 0.1


class Ear:
    """Hears one recording or one live microphone; not to be shared between threads."""

    def __init__(self, recogniser: Recogniser, rules: StretchRules | None = None) -> None:
        """Hear with `recogniser`, which may serve several ears one after the other."""
        self._recogniser = recogniser
        self._cutter = StretchCutter(rules)
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
            self.starts_in_speech |= stretch.start_s < _AT_THE_EDGE_S
            yield self._recogniser.hear(stretch)

    def finish(self) -> Iterator[Utterance]:
        """Yield the utterance that the end of the sound cut off, if there is one."""
        for stretch in self._cutter.finish():
            self.starts_in_speech |= stretch.start_s < _AT_THE_EDGE_S
            yield self._recogniser.hear(stretch)


def hear_all(
    blocks: Iterable[FloatArray], recogniser: Recogniser, rules: StretchRules | None = None
) -> Iterator[Utterance]:
    """Yield an utterance for each stretch of speech of a whole sound, in the order of time."""
    ear = Ear(recogniser, rules)
    for block in blocks:
        yield from ear.push(block)
    yield from ear.finish()
