"""The ear on a thread of its own: sound goes in from the page, utterances come out in order."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from logger.core.errors import SpokenFindingsError
from logger.core.events import Utterance
from logger.core.sound import SAMPLE_RATE_HZ
from logger.page.timing import SampleClock

FloatArray = NDArray[np.float32]


class HearsBlocks(Protocol):
    """What is asked of an ear; `logger.hearing.ear.Ear` is one."""

    @property
    def in_speech(self) -> bool:
        """Whether somebody was speaking when the last sample came."""
        ...

    def push(self, samples: FloatArray) -> Iterator[Utterance]:
        """Take samples and yield what was heard; times count from the first sample pushed."""
        ...

    def finish(self) -> Iterator[Utterance]:
        """Yield what the end of the sound cut off."""
        ...


@dataclass(frozen=True, slots=True)
class Placed:
    """A block of sound with its place in the session."""

    number: int
    """From 0 in each unbroken run of blocks."""
    at_s: float
    samples: FloatArray

    @property
    def length_s(self) -> float:
        """Return how much sound it is."""
        return len(self.samples) / SAMPLE_RATE_HZ


@dataclass(frozen=True, slots=True)
class ListenRules:
    """How far hearing may fall behind."""

    say_behind_s: float = 3.0
    """From here on the page says so."""
    most_behind_s: float = 120.0
    """From here on sound is left out, and that is said too."""
    unheard_s: float = 1.0
    """What is missing between two runs of sound is told from here on."""


@dataclass(frozen=True, slots=True)
class Outlets:
    """Whom the ear's thread tells; each is called on that thread."""

    heard: Callable[[Utterance], None]
    ready: Callable[[], None]
    broken: Callable[[str], None]
    """Hearing has failed for good, with a sentence for the user."""
    missing: Callable[[float, float], None]
    """Sound is missing: from when, in seconds of the session, and how much."""
    speech: Callable[[bool], None]
    """Somebody has begun to speak, or has ended."""


_FLUSH: Final = "flush"
_STOP: Final = "stop"
_Item = Placed | tuple[str, Callable[[], None]]


class Listener:
    """Hears one session. `put`, `flush` and `behind_s` are for any thread and never wait."""

    def __init__(
        self,
        open_ear: Callable[[], Callable[[], HearsBlocks]],
        outlets: Outlets,
        rules: ListenRules | None = None,
        until_s: float | None = None,
    ) -> None:
        """Start the thread, which opens the model first; sound may be put in before it is ready.

        `open_ear` loads the model and returns a function that makes an ear with it. `until_s` is
        up to when the session was heard before, if it was.
        """
        self._open_ear = open_ear
        self._outlets = outlets
        self._rules = rules or ListenRules()
        self._queue: queue.SimpleQueue[_Item] = queue.SimpleQueue()
        self._lock = threading.Lock()
        self._waiting_s = 0.0
        self._until_s = until_s
        self._left_out: tuple[float, float] | None = None
        self._thread = threading.Thread(target=self._run, name="ear", daemon=True)
        self._thread.start()

    @property
    def behind_s(self) -> float:
        """Return how much sound waits to be heard."""
        return self._waiting_s

    @property
    def says_behind(self) -> bool:
        """Whether that is enough to be told."""
        return self._waiting_s > self._rules.say_behind_s

    def put(self, block: Placed) -> None:
        """Take a block; where far too much waits it is left out, which `missing` is told."""
        with self._lock:
            if self._waiting_s + block.length_s > self._rules.most_behind_s:
                start_s, length_s = self._left_out or (block.at_s, 0.0)
                self._left_out = (start_s, length_s + block.length_s)
                return
            left_out, self._left_out = self._left_out, None
            self._waiting_s += block.length_s
        if left_out:
            self._outlets.missing(*left_out)
        self._queue.put(block)

    def flush(self, then: Callable[[], None]) -> None:
        """Hear what is waiting and what the end cuts off, then call `then` on the ear's thread."""
        self._queue.put((_FLUSH, then))

    def stop(self) -> None:
        """End the thread after what it is at; what waits is let go."""
        self._queue.put((_STOP, lambda: None))

    def _run(self) -> None:
        try:
            new_ear = self._open_ear()
            self._outlets.ready()
            self._listen(new_ear)
        except SpokenFindingsError as error:
            self._outlets.broken(str(error))
        except Exception as error:  # noqa: BLE001 - whatever it is, the page must not go on as if it heard
            kind = type(error).__name__
            self._outlets.broken(f"Hearing has failed ({kind}): end the session and start again.")
        else:
            return
        self._let_go()

    def _let_go(self) -> None:
        """Hear nothing any more, but answer whoever waits for the end of what was said."""
        while True:
            item = self._queue.get()
            if isinstance(item, Placed):
                with self._lock:
                    self._waiting_s = max(0.0, self._waiting_s - item.length_s)
                continue
            what, then = item
            if what == _STOP:
                return
            then()

    def _listen(self, new_ear: Callable[[], HearsBlocks]) -> None:
        hearing = _Run(new_ear(), self._outlets)
        until_s = float("inf") if self._until_s is None else self._until_s
        while True:
            item = self._queue.get()
            if isinstance(item, Placed):
                if item.number == 0 and hearing.begun:
                    hearing.finish()
                    hearing = _Run(new_ear(), self._outlets)
                if not hearing.begun and item.at_s - until_s > self._rules.unheard_s:
                    self._outlets.missing(until_s, item.at_s - until_s)
                gap_s = hearing.take(item)
                if gap_s:
                    hearing.finish()
                    self._outlets.missing(item.at_s - gap_s, gap_s)
                    hearing = _Run(new_ear(), self._outlets)
                until_s = item.at_s + item.length_s
                with self._lock:
                    self._waiting_s = max(0.0, self._waiting_s - item.length_s)
                continue
            what, then = item
            if what == _STOP:
                return
            hearing.finish()
            hearing = _Run(new_ear(), self._outlets)
            then()


class _Run:
    """One unbroken run of sound through one ear."""

    def __init__(self, ear: HearsBlocks, outlets: Outlets) -> None:
        self._ear = ear
        self._outlets = outlets
        self._clock = SampleClock(SAMPLE_RATE_HZ)
        self._in_speech = False

    @property
    def begun(self) -> bool:
        return self._clock.samples > 0

    def take(self, block: Placed) -> float:
        """Hear a block; return the seconds of sound missing before it."""
        gap_s = self._clock.take(block.at_s, len(block.samples))
        self._tell(self._ear.push(block.samples))
        self._tell_speech(self._ear.in_speech)
        return gap_s

    def finish(self) -> None:
        self._tell(self._ear.finish())
        self._tell_speech(False)

    def _tell_speech(self, in_speech: bool) -> None:
        if in_speech != self._in_speech:
            self._in_speech = in_speech
            self._outlets.speech(in_speech)

    def _tell(self, utterances: Iterator[Utterance]) -> None:
        for utterance in utterances:
            start_s = self._clock.start_s
            self._outlets.heard(
                replace(
                    utterance,
                    start_s=utterance.start_s + start_s,
                    end_s=utterance.end_s + start_s,
                )
            )
