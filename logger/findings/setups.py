"""The setups of a table's rows and its position checks, each read once it can change no more."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from logger.core.events import ArmAngle, PositionCheck, SetupReading, SetupStatus, Side
from logger.core.statements import SetupWindow, SlotValue
from logger.findings.rows import SpokenRow
from logger.findings.setup import SetupRules
from logger.findings.trace import AngleTrace

_NOT_SEEN = SetupReading(SetupStatus.NOT_SEEN)


@dataclass(frozen=True, slots=True)
class _Settled:
    """A setup that was read, and for which tests and sides."""

    asked: tuple[tuple[SlotValue, ...], tuple[SlotValue, ...]]
    reading: SetupReading


class Setups:
    """Reads setups from the angles of the last while."""

    def __init__(self, windows: Mapping[str, SetupWindow], rules: SetupRules) -> None:
        """Begin without angles."""
        self.trace = AngleTrace(rules)
        self._windows = windows
        self._settled: dict[int, _Settled] = {}
        self._checks: list[PositionCheck] = []
        self._open_checks: list[int] = []

    def unsettled(self, rows: int) -> bool:
        """Whether angles still to come may change a setup of so many rows, or a check."""
        return len(self._settled) < rows or bool(self._open_checks)

    def see(self, angles: Sequence[ArmAngle], rows: Sequence[SpokenRow]) -> None:
        """Take angles, in the order of time, and settle what they settle."""
        self.trace.add(angles)
        # All of them: a correction may have asked anew for one that was settled.
        for at, row in enumerate(rows):
            self.of_row(at, row)
        self._read_checks()

    def of_row(self, at: int, row: SpokenRow) -> SetupReading:
        """Return the setup of the row at this place in the table."""
        asked = row.values.get("test", ()), row.values.get("side", ())
        settled = self._settled.get(at)
        if settled and settled.asked == asked:
            return settled.reading
        reading = self._read(row)
        if self.trace.until_s > row.first.start_s:
            self._settled[at] = _Settled(asked, reading)
        return reading

    def check(self, at_s: float, sides: Sequence[Side]) -> None:
        """Note a position check of these arms."""
        for side in sides:
            self._open_checks.append(len(self._checks))
            self._checks.append(PositionCheck(at_s, side, _NOT_SEEN))
        self._read_checks()

    @property
    def checks(self) -> tuple[PositionCheck, ...]:
        """Every position check, as far as it can be told."""
        return tuple(self._checks)

    def _read_checks(self) -> None:
        for at in self._open_checks:
            check = self._checks[at]
            reading = self.trace.reading(check.side, check.at_s, None)
            self._checks[at] = PositionCheck(check.at_s, check.side, reading)
        self._open_checks = [
            at for at in self._open_checks if self._checks[at].at_s >= self.trace.until_s
        ]

    def _read(self, row: SpokenRow) -> SetupReading:
        test = row.value("test")
        if test is None:
            # Which of two tests was set up for cannot be told; a motion needs no setup.
            asked = row.conflicted("test")
            return SetupReading(SetupStatus.NOT_SEEN if asked else SetupStatus.NOT_REQUIRED)
        window = self._windows.get(str(test))
        if window is None:
            return SetupReading(SetupStatus.NOT_REQUIRED)
        side = row.value("side")
        if side is None:
            return _NOT_SEEN
        return self.trace.reading(str(side), row.first.start_s, window)
