"""The angles from which a setup may still be read; older ones are let go."""

from __future__ import annotations

from bisect import bisect_left, bisect_right, insort
from collections.abc import Iterable
from operator import attrgetter

from logger.core.events import SIDES, ArmAngle, SetupReading
from logger.core.statements import SetupWindow
from logger.findings.setup import SetupRules, read_setup

_TIME = attrgetter("time_s")


class AngleTrace:
    """Both arms' angles, in the order of time."""

    def __init__(self, rules: SetupRules) -> None:
        """Begin without any."""
        self._rules = rules
        self._arms: dict[str, list[ArmAngle]] = {side: [] for side in SIDES}
        self.until_s = float("-inf")
        """The time of the newest sample: what is known up to here changes no more."""

    def add(self, angles: Iterable[ArmAngle]) -> None:
        """Take samples whose times are no earlier than those taken before."""
        for sample in angles:
            insort(self._arms[sample.side], sample, key=_TIME)
            self.until_s = max(self.until_s, sample.time_s)

    def reading(self, side: str, before_s: float, window: SetupWindow | None) -> SetupReading:
        """Return the setup before `before_s` as `read_setup` does."""
        arm = self._arms.get(side, [])
        first = bisect_left(arm, before_s - self._rules.reach_s, key=_TIME)
        last = bisect_right(arm, before_s, key=_TIME)
        return read_setup(arm[first:last], side, before_s, window, self._rules)

    def last(self, side: str) -> ArmAngle | None:
        """Return the newest sample of one arm."""
        arm = self._arms.get(side)
        return arm[-1] if arm else None

    def recent(self, side: str, for_s: float) -> list[ArmAngle]:
        """Return one arm's samples of the last `for_s` seconds."""
        arm = self._arms.get(side, [])
        return arm[bisect_left(arm, self.until_s - for_s, key=_TIME) :]

    def forget(self, before_s: float) -> None:
        """Let go of samples from which no setup at `before_s` or later can be read."""
        for arm in self._arms.values():
            del arm[: bisect_left(arm, before_s - self._rules.reach_s, key=_TIME)]
