"""Times of the page's clock as seconds of the session.

A page counts milliseconds from when it was loaded. What it sends carries such times, so that a
slow wire or a busy machine does not shift what was said and seen.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from typing import Final

_MS_PER_S: Final = 1000.0


@dataclass(slots=True)
class PageClock:
    """The clock of one page, tied to the session's when they met."""

    page_ms: float
    session_s: float
    """What the session's clock said at `page_ms`."""
    most_slip_s: float = 1.0
    """A page's clock further behind than this was asleep; less is the time of the message."""

    def at_s(self, page_ms: float) -> float:
        """Return a page's time in seconds of the session; never before its beginning."""
        return max(0.0, self.session_s + (page_ms - self.page_ms) / _MS_PER_S)

    def meet(self, page_ms: float, session_s: float) -> float:
        """Tie the clocks anew where the page's has stood still; return how long it slept, or 0."""
        slept_s = session_s - self.at_s(page_ms)
        if slept_s <= self.most_slip_s:
            return 0.0
        self.page_ms, self.session_s = page_ms, session_s
        return slept_s


@dataclass(slots=True)
class SampleClock:
    """When sample 0 of a stream of blocks was captured, from when the blocks say they were.

    A block may be stamped late, but not early, so the least of the lately seen starts is right.
    A sound card's clock drifts against the page's by a second in hours; the least of a short past
    follows it.
    """

    rate_hz: int
    past: int = 200
    """Blocks that count, about 10 s."""
    most_late_s: float = 1.0
    patience: int = 10
    """Blocks in a row that must be later than that before sound is missing: one may be late."""
    slight_s: float = 0.25
    """A word may be lost in this; what is stamped so late for 2 s was not just stamped late."""
    slight_patience: int = 40
    samples: int = 0
    _starts_s: deque[float] = field(default_factory=deque)
    _late_s: list[float] = field(default_factory=list)

    @property
    def start_s(self) -> float:
        """Return when sample 0 was captured; 0 before the first block."""
        return min(self._starts_s, default=0.0)

    def take(self, at_s: float, count: int) -> float:
        """Take a block of `count` samples captured at `at_s`; return the seconds missing before it.

        After any but 0 the stream is broken: go on with another clock.
        """
        start_s = at_s - self.samples / self.rate_hz
        self.samples += count
        late_s = start_s - self.start_s
        if self._starts_s and late_s > self.slight_s:
            self._late_s.append(late_s)
            very = self._late_s[-self.patience :]
            if len(very) == self.patience and min(very) > self.most_late_s:
                return min(very)
            if len(self._late_s) >= self.slight_patience:
                return min(self._late_s)
            return 0.0
        self._late_s.clear()
        self._starts_s.append(start_s)
        if len(self._starts_s) > self.past:
            self._starts_s.popleft()
        return 0.0
