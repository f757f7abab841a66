"""Practice of one setup: where the arm is now, and a score sheet of where it was held.

No speech is needed. An attempt is a hold as `findings.holds` finds it in a recording, anywhere but
at rest; so the score sheet says what the command `setup` would say of the same practice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Final, Self

from logger.core.errors import UsageError
from logger.core.events import ArmAngle, SetupStatus, Side
from logger.core.holds import Fit, Hold, HoldKind, Target
from logger.core.statements import SetupWindow
from logger.findings.holds import find_holds, judge
from logger.findings.pieces import HoldRules
from logger.findings.setup import SetupRules
from logger.findings.trace import AngleTrace
from logger.grammar.pack import Pack
from logger.live.gauge import gauge_of, shown_deg
from logger.live.state import Gauge

_OVER_S: Final = 1.0
"""A hold is over when for this long after its end the arm was elsewhere or not seen."""
_LOOK_EVERY_S: Final = 0.5
_LONGEST_S: Final = 60.0
"""No more of the past than this is looked at again: a longer hold counts from then."""


@dataclass(frozen=True, slots=True)
class Attempt:
    """One line of the score sheet."""

    number: int
    """From 1."""
    test: str
    """A key of the pack, or empty for a free window."""
    side: Side
    start_s: float
    """When the arm came to rest in this place."""
    angle_deg: float
    """In the plane of the window's test."""
    fit: Fit
    off_deg: float
    """How far beyond the nearer limit: negative below the window, positive above, 0 inside."""
    got_there_s: float | None
    """From leaving the place before, or from the start; None where that was not seen."""
    held_s: float
    spread_deg: float
    steady: bool
    """False where the arm drifted all the time."""


@dataclass(frozen=True, slots=True)
class PracticeView:
    """What there is to show of a practice at one moment."""

    window: SetupWindow
    gauge: Gauge
    words: str
    """One line for the screen: "52\u00b0, in range, steady"."""
    in_place: bool
    """Whether the arm is in the window and steady."""
    got_there_s: float | None
    """How long it took to come to where the arm is held now; None while it moves."""
    steady_s: float
    done: Attempt | None
    """The attempt that was just found to be over."""
    attempts: tuple[Attempt, ...]


@dataclass(slots=True)
class _Past:
    """What is still looked at, and what is settled."""

    angles: list[ArmAngle] = field(default_factory=list)
    attempts: list[Attempt] = field(default_factory=list)
    settled_s: float = float("-inf")
    """The end of the last hold that is over."""
    looked_s: float = float("-inf")
    steady_s: float = 0.0
    """When the arm was last seen to hold still."""
    got_there_s: float | None = None
    moved_s: float = float("-inf")
    """When the arm was last not seen to hold still: while it is still, no hold ends."""

    def forget(self, now_s: float) -> None:
        """Let go of what is too old to be looked at."""
        if self.angles and self.angles[0].time_s < now_s - _LONGEST_S:
            self.angles = [a for a in self.angles if a.time_s >= now_s - _LONGEST_S]


class SetupPractice:
    """One arm, one window; any number of attempts."""

    def __init__(self, window: SetupWindow, side: Side, start_s: float, test: str = "") -> None:
        """Practise a window, of a test of the pack or a free one.

        Raises:
            UsageError: for a window that is empty or beyond 0 to 180 degrees.

        """
        if not 0 <= window.low_deg <= window.high_deg <= 180:  # noqa: PLR2004 - the scale's end
            raise UsageError(
                f"No arm can be held at {window.low_deg:g} to {window.high_deg:g} degrees: give "
                "two angles from 0 to 180, the smaller one first."
            )
        self.window = window
        self.side = side
        self.test = test
        self._start_s = start_s
        self._rules = HoldRules()
        self._trace = AngleTrace(SetupRules())
        self._past = _Past(steady_s=start_s)

    @classmethod
    def of_test(cls, pack: Pack, test: str, side: Side, start_s: float) -> Self:
        """Practise the setup of a test.

        Raises:
            UsageError: if the pack has no window for it.

        """
        window = pack.setup.get(test)
        if window is None:
            known = ", ".join(pack.setup) or "none"
            raise UsageError(f"{test} has no window in the pack {pack.name}; name one of {known}.")
        return cls(window, side, start_s, test)

    def see(self, angles: Sequence[ArmAngle]) -> PracticeView:
        """Take angles, of both arms or of one, in the order of time."""
        mine = [a for a in angles if a.side == self.side and a.time_s >= self._start_s]
        self._trace.add(mine)
        now_s = self._trace.until_s
        self._past.angles += [self._in_plane(sample) for sample in mine]
        self._past.forget(now_s)
        self._trace.forget(now_s)
        gauge = gauge_of(self._trace, self.side, self.window, now_s)
        done = self._look(now_s) if mine and self._is_due(gauge, now_s) else None
        return PracticeView(
            self.window,
            gauge,
            self._words(gauge),
            gauge.status is SetupStatus.IN_RANGE and gauge.steady_s > 0,
            self._got_there(gauge, now_s),
            gauge.steady_s,
            done,
            tuple(self._past.attempts),
        )

    def finish(self) -> tuple[Attempt, ...]:
        """End the practice and return the score sheet, the hold that still lasts included."""
        self._look(float("inf"))
        return tuple(self._past.attempts)

    def _got_there(self, gauge: Gauge, now_s: float) -> float | None:
        past = self._past
        if not gauge.steady_s:
            past.got_there_s = None
        elif past.got_there_s is None:
            past.got_there_s = max(0.0, now_s - gauge.steady_s - past.steady_s)
        if gauge.steady_s:
            past.steady_s = now_s
        return past.got_there_s

    def _is_due(self, gauge: Gauge, now_s: float) -> bool:
        past = self._past
        if not gauge.steady_s:
            past.moved_s = now_s
        due = now_s - past.looked_s >= _LOOK_EVERY_S and now_s - past.moved_s <= 2 * _OVER_S
        past.looked_s = now_s if due else past.looked_s
        return due

    def _look(self, now_s: float) -> Attempt | None:
        """Settle the holds that are over; return the last attempt among them."""
        past, last = self._past, None
        for hold in find_holds(past.angles, self._rules):
            if hold.start_s < past.settled_s or hold.end_s > now_s - _OVER_S:
                continue
            past.settled_s = hold.end_s
            attempt = self._attempt(hold)
            if attempt:
                past.attempts.append(attempt)
                last = attempt
            keep_s = hold.start_s
            past.angles = [a for a in past.angles if a.time_s >= keep_s]
        return last

    def _attempt(self, hold: Hold) -> Attempt | None:
        target = Target(self.window.low_deg, self.window.high_deg, (self.test,))
        (judged,) = judge([hold], [target], self._past.angles, self._rules)
        (compared,) = judged.comparisons
        if compared.fit is Fit.AT_REST:
            return None
        first = not self._past.attempts and hold.got_there_s is None
        return Attempt(
            number=len(self._past.attempts) + 1,
            test=self.test,
            side=self.side,
            start_s=hold.start_s,
            angle_deg=hold.angle_deg,
            fit=compared.fit,
            off_deg=compared.off_deg,
            got_there_s=hold.start_s - self._start_s if first else hold.got_there_s,
            held_s=hold.duration_s,
            spread_deg=hold.spread_deg,
            steady=hold.kind is HoldKind.HOLD,
        )

    def _in_plane(self, sample: ArmAngle) -> ArmAngle:
        if sample.angle_deg is None:
            return sample
        return replace(sample, angle_deg=shown_deg(sample, self.window))

    def _words(self, gauge: Gauge) -> str:
        if gauge.angle_deg is None:
            return gauge.words
        words = gauge.words
        if gauge.status is SetupStatus.OUT_OF_RANGE:
            below = self.window.low_deg - gauge.angle_deg
            above = gauge.angle_deg - self.window.high_deg
            off = f"{below:.0f}\u00b0 below" if below > 0 else f"{above:.0f}\u00b0 above"
            words = f"{gauge.angle_deg:.0f}\u00b0, {off}"
        return f"{words}, steady" if gauge.steady_s else f"{words}, moving"
