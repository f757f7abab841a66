"""The setup angle: the last steady window in which the arm was really seen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from logger.core.events import ArmAngle, SetupReading, SetupStatus
from logger.core.statements import SetupWindow


@dataclass(frozen=True, slots=True)
class SetupRules:
    """What counts as a steady setup."""

    least_s: float = 0.5
    most_spread_deg: float = 5.0
    most_gap_s: float = 0.5
    """Visible samples further apart than this do not make one window."""
    most_age_s: float = 30.0
    error_deg: float = 5.0
    """The measurement's own error: nearer than this to a limit is borderline. Rendered bodies
    seen from the front read within 3 on average, oblique ones within 5.5."""


def read_setup(
    angles: Sequence[ArmAngle],
    side: str,
    before_s: float,
    window: SetupWindow | None,
    rules: SetupRules,
) -> SetupReading:
    """Return the median angle of the last steady window before `before_s`, and how it fits.

    `not_seen` where there is none, or where the arm was seen to leave it afterwards.
    """
    seen = [
        (sample.time_s, sample.angle_deg)
        for sample in angles
        if sample.side == side
        and sample.visible
        and sample.angle_deg is not None
        and before_s - rules.most_age_s <= sample.time_s <= before_s
    ]
    steady = _last_steady(seen, rules)
    if steady is None:
        return SetupReading(SetupStatus.NOT_SEEN)
    values = [angle for _, angle in steady]
    middle, end_s = median(values), steady[-1][0]
    later = [angle for time_s, angle in seen if time_s > end_s]
    if sum(abs(angle - middle) > rules.most_spread_deg for angle in later) > 1:
        return SetupReading(SetupStatus.NOT_SEEN)
    spread = max(values) - min(values)
    return SetupReading(_status(middle, window, rules.error_deg), middle, spread, end_s)


def _last_steady(
    seen: Sequence[tuple[float, float]], rules: SetupRules
) -> Sequence[tuple[float, float]] | None:
    for end in range(len(seen), 0, -1):
        low = high = seen[end - 1][1]
        start = end - 1
        while start > 0:
            time_s, angle = seen[start - 1]
            low, high = min(low, angle), max(high, angle)
            gap = seen[start][0] - time_s > rules.most_gap_s
            if gap or high - low > rules.most_spread_deg:
                break
            start -= 1
        if seen[end - 1][0] - seen[start][0] >= rules.least_s:
            return seen[start:end]
    return None


def _status(angle_deg: float, window: SetupWindow | None, error_deg: float) -> SetupStatus:
    if window is None:
        return SetupStatus.NOT_REQUIRED
    if min(abs(angle_deg - window.low_deg), abs(angle_deg - window.high_deg)) < error_deg:
        return SetupStatus.BORDERLINE
    inside = window.low_deg <= angle_deg <= window.high_deg
    return SetupStatus.IN_RANGE if inside else SetupStatus.OUT_OF_RANGE
