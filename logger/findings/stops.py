"""When listening was paused, and when the session was over."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

Stopped = Literal["", "paused", "ended"]
_WHY = {
    "paused": "it was said while listening was paused",
    "ended": "it was said after the session's end",
}


@dataclass(slots=True)
class _Stop:
    kind: Stopped
    from_s: float
    until_s: float = float("inf")
    questions: list[str] = field(default_factory=list)


class Stops:
    """The stretches in which what is said makes no row.

    They are kept by their times, so that an utterance that began before a key was pressed and is
    recognised after it counts as what it was.
    """

    def __init__(self) -> None:
        """Begin with none."""
        self._stops: list[_Stop] = []

    @property
    def now(self) -> Stopped:
        """What the last word was."""
        last = self._stops[-1] if self._stops else None
        return last.kind if last and last.until_s == float("inf") else ""

    def stop(self, kind: Stopped, at_s: float) -> None:
        """Stop from `at_s` on; a pause goes over into the end."""
        if self.now:
            self._stops[-1].until_s = at_s
        self._stops.append(_Stop(kind, at_s))

    def resume(self, at_s: float) -> None:
        """Go on from `at_s`, if anything was stopped."""
        if self.now:
            self._stops[-1].until_s = at_s

    def question(self, words: str) -> None:
        """Note that listening may have been resumed: what follows may have been meant."""
        if self.now:
            self._stops[-1].questions.append(words)

    def why(self, start_s: float) -> str:
        """Return why what began at `start_s` makes no row; empty where it does."""
        for stop in self._stops:
            if stop.from_s <= start_s < stop.until_s:
                return ", ".join((_WHY[stop.kind], *stop.questions))
        return ""
