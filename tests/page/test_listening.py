"""The ear's thread: order, runs of sound, and what happens where it cannot keep up."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np
import pytest
from numpy.typing import NDArray
from room_kit import ScriptedEar

from logger.core.errors import ModelError
from logger.core.events import Utterance
from logger.page.listening import HearsBlocks, Listener, ListenRules, Outlets, Placed

SCRIPT = ("", "one", "two", "three")
WAIT_S = 10.0


@dataclass
class Told:
    """Everything that the ear's thread tells."""

    heard: list[tuple[str, float]] = field(default_factory=list)
    missing: list[tuple[float, float]] = field(default_factory=list)
    broken: list[str] = field(default_factory=list)
    speech: list[bool] = field(default_factory=list)

    def outlets(self) -> Outlets:
        """Collect what is told."""

        def heard(utterance: Utterance) -> None:
            self.heard.append((utterance.text, round(utterance.start_s, 2)))

        def missing(start_s: float, length_s: float) -> None:
            self.missing.append((round(start_s, 2), round(length_s, 2)))

        return Outlets(heard, lambda: None, self.broken.append, missing, self.speech.append)


def block(number: int, at_s: float, word: int = 0, samples: int = 1600) -> Placed:
    return Placed(number, at_s, np.full(samples, word / 128, np.float32))


def flushed(listener: Listener) -> bool:
    done = threading.Event()
    listener.flush(done.set)
    return done.wait(WAIT_S)


def opening(ear: Callable[[], HearsBlocks]) -> Callable[[], Callable[[], HearsBlocks]]:
    return lambda: ear


def test_utterances_are_placed_in_the_session() -> None:
    """By when the page captured them, however late the blocks come."""
    told = Told()
    listener = Listener(opening(lambda: ScriptedEar(SCRIPT)), told.outlets())
    for i, word in enumerate((0, 1, 0, 2)):
        listener.put(block(i, 100 + i / 10, word))
    assert flushed(listener)
    listener.stop()
    assert told.heard == [("one", 100.1), ("two", 100.3)]


def test_another_run_is_heard_by_another_ear() -> None:
    """A page that was loaded anew, a device that was plugged in again."""
    told = Told()
    made: list[ScriptedEar] = []

    def make() -> ScriptedEar:
        made.append(ScriptedEar(SCRIPT))
        return made[-1]

    listener = Listener(opening(make), told.outlets())
    listener.put(block(0, 5.0, 1))
    listener.put(block(0, 60.0, 2))
    assert flushed(listener)
    listener.stop()
    assert told.heard == [("one", 5.0), ("two", 60.0)]
    assert len(made) == 3
    (missing,) = told.missing
    assert missing == pytest.approx((5.1, 54.9))


def test_what_was_said_before_the_first_sound_of_a_resumed_session_is_missing() -> None:
    """The program was killed 8 s ago; a page that was loaded anew within a second lost nothing."""
    for until_s, missing in ((92.0, [(92.0, 8.0)]), (99.5, []), (None, [])):
        told = Told()
        listener = Listener(opening(lambda: ScriptedEar(SCRIPT)), told.outlets(), None, until_s)
        listener.put(block(0, 100.0, 1))
        assert flushed(listener)
        listener.stop()
        assert told.missing == missing


def test_a_hole_in_a_run_is_told_and_what_follows_is_placed_right() -> None:
    """Four seconds are missing in the middle."""
    told = Told()
    listener = Listener(opening(lambda: ScriptedEar(SCRIPT)), told.outlets())
    for i in range(40):
        late_s = 4.0 if i >= 20 else 0.0
        listener.put(block(i, i / 20 + late_s, 3 if i == 36 else 0, samples=800))
    assert flushed(listener)
    listener.stop()
    ((start_s, length_s),) = told.missing
    assert length_s == pytest.approx(4.0)
    assert start_s == pytest.approx(1.45)
    assert told.heard == [("three", 5.8)]


class SlowEar(ScriptedEar):
    """Waits until it is let go."""

    go = threading.Event()

    def push(self, samples: NDArray[np.float32]) -> Iterator[Utterance]:
        """Wait, then hear."""
        assert self.go.wait(WAIT_S)
        return super().push(samples)


def test_sound_that_is_left_out_is_told() -> None:
    """The ear stands still for longer than may wait."""
    told = Told()
    SlowEar.go.clear()
    rules = ListenRules(say_behind_s=0.35, most_behind_s=0.55)
    listener = Listener(opening(lambda: SlowEar(SCRIPT)), told.outlets(), rules)
    for i in range(8):
        listener.put(block(i, i / 10))
    assert listener.says_behind
    assert listener.behind_s == pytest.approx(0.5)
    SlowEar.go.set()
    assert flushed(listener)
    assert listener.behind_s == pytest.approx(0.0)
    listener.put(block(8, 0.8, 2))
    assert flushed(listener)
    listener.stop()
    assert told.missing == [(0.5, 0.3)]
    assert [text for text, _ in told.heard] == ["two"]


def test_an_ear_that_breaks_is_told_and_nobody_waits_for_it() -> None:
    """Whatever went wrong in it; and one that could not be opened."""

    class Breaking(ScriptedEar):
        def push(self, samples: NDArray[np.float32]) -> Iterator[Utterance]:
            raise ZeroDivisionError(samples.shape)

    told = Told()
    listener = Listener(opening(lambda: Breaking(SCRIPT)), told.outlets())
    listener.put(block(0, 0.0))
    assert flushed(listener)
    listener.put(block(1, 0.1))
    assert flushed(listener)
    listener.stop()
    assert told.broken == [
        "Hearing has failed (ZeroDivisionError): end the session and start again."
    ]

    def nothing() -> Callable[[], HearsBlocks]:
        raise ModelError("There is no model.")

    told = Told()
    listener = Listener(nothing, told.outlets())
    assert flushed(listener)
    listener.stop()
    assert told.broken == ["There is no model."]


def test_the_page_is_told_while_somebody_speaks() -> None:
    """Once when it begins, once when it ends."""

    class Talking(ScriptedEar):
        def push(self, samples: NDArray[np.float32]) -> Iterator[Utterance]:
            self.in_speech = bool(samples[0])
            return super().push(samples)

    told = Told()
    listener = Listener(opening(lambda: Talking(SCRIPT)), told.outlets())
    for i, word in enumerate((0, 1, 1, 0, 0, 2)):
        listener.put(block(i, i / 10, word))
    assert flushed(listener)
    listener.stop()
    assert told.speech == [True, False, True, False]
