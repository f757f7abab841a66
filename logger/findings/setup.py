"""The setup angle: the last steady window in which the arm was really seen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import atan2, cos, degrees, isfinite, radians, sin
from statistics import median
from typing import Final, NamedTuple

from logger.core.events import ArmAngle, SetupReading, SetupStatus, Source
from logger.core.statements import SetupWindow

_LEAST_ANGLE_DEG: Final = 0.0
_MOST_ANGLE_DEG: Final = 180.0
_SCAPULAR_DEG: Final = 30.0
_LEAST_SAMPLES: Final = 3
"""Two samples that agree are not yet a window, however far apart they are."""


POSE_ERROR_DEG: Final = 6.0


@dataclass(frozen=True, slots=True)
class SetupRules:
    """What counts as a steady setup."""

    least_s: float = 0.5
    """How long the arm must have been seen to hold still."""
    most_spread_deg: float = 5.0
    most_gap_s: float = 0.5
    """Visible samples further apart than this do not make one window. A shorter blink does not
    end a window, but the time in it does not count as seen."""
    most_age_s: float = 30.0
    """How long before the finding the window may end."""
    most_unseen_s: float = 3.0
    """A window that ended longer ago than this is given only if nothing speaks against the arm
    having stayed, not even readings that are too poor to count."""
    held_unseen_s: float = 1.0
    """Such readings that hold still elsewhere for this long speak against it."""
    most_moved_deg: float = 15.0
    """Poor readings further off than this, in the middle, say that the arm has moved."""
    edge_s: float = 1.0
    """At each end of a hold, where the arm still settles or hands come on, this much does not
    count; of a short hold a quarter at each end."""
    most_drift_deg: float = 2.5
    """Where the last third of a hold lies further than this from the first, the arm has drifted,
    and only the last third counts."""
    error_deg: float = POSE_ERROR_DEG
    """The error of angles that do not state their own: this near to a limit is borderline. On five
    rendered sessions 28 of 31 setups were off by no more, the others by up to 9 (arms at 78 and
    above, and one of 20 beside hands of the patient's colour). For comparison, two testers with a
    goniometer differ by 5 to 7 (adhesive capsulitis, Sharma 2015) and up to 20 (de Winter 2004:
    limits of agreement)."""

    @property
    def reach_s(self) -> float:
        """How far back before a finding angles matter at all."""
        # How far a window reaches back beyond its latest end matters little to a median, so that
        # the search need not go through a whole session.
        return 2 * self.most_age_s


class _Seen(NamedTuple):
    time_s: float
    angle_deg: float
    step_s: float
    """Time since the visible sample before, 0 where the arm was out of sight in between."""
    seen_deg: float
    """The angle in the picture."""
    source: Source
    error_deg: float | None


def read_setup(
    angles: Sequence[ArmAngle],
    side: str,
    before_s: float,
    window: SetupWindow | None,
    rules: SetupRules,
) -> SetupReading:
    """Return the median angle of the last steady window before `before_s`, and how it fits.

    The samples may come in any order and at any rate from 5 to 60 a second, evenly or not. The
    window is the longest run that ends last: at least `least_s` seen, no spread above
    `most_spread_deg`, no gap above `most_gap_s`. A single sample that jumps away from two
    neighbours that agree is an error of the measurement and is set aside; two in a row are not.

    Returns:
        `not_seen` without an angle where there is no such window, or where the arm was seen
        elsewhere after it: more than one later sample off the window's median by more than
        `most_spread_deg`, or a lone one with a gap before it or after it. `not_required` with
        the angle where `window` is None.

    """
    plane_deg = 0.0 if window is None else window.plane_deg
    seen = _visible(angles, side, plane_deg, (before_s - rules.reach_s, before_s))
    steady, later = _last_steady(_without_outliers(seen, rules), before_s, rules)
    if not steady:
        return SetupReading(SetupStatus.NOT_SEEN)
    end_s = steady[-1].time_s
    inner = _inner(steady, rules)
    values = [sample.angle_deg for sample in inner]
    middle = median(values)
    unseen = _unseen(angles, side, plane_deg, (end_s, before_s))
    if _left(later, middle, (end_s, before_s), rules) or _moved_unseen(unseen, middle, rules):
        return SetupReading(SetupStatus.NOT_SEEN)
    error_deg = max(
        rules.error_deg if sample.error_deg is None else sample.error_deg for sample in steady
    )
    return SetupReading(
        status_in_window(middle, window, error_deg),
        middle,
        max(values) - min(values),
        end_s,
        steady[-1].source,
        error_deg,
        middle - median(sample.seen_deg for sample in inner),
        _correction(inner, plane_deg),
    )


def steady_for_s(
    angles: Sequence[ArmAngle], side: str, at_s: float, plane_deg: float, rules: SetupRules
) -> float:
    """Return for how long the arm has been seen to hold still up to `at_s`; 0 while it moves."""
    seen = _without_outliers(_visible(angles, side, plane_deg, (at_s - rules.reach_s, at_s)), rules)
    if not seen or at_s - seen[-1].time_s > rules.most_gap_s:
        return 0.0
    run = seen[_reach_back(seen, len(seen), rules) :]
    held_s = sum(sample.step_s for sample in run[1:])
    return held_s if len(run) >= _LEAST_SAMPLES and held_s >= rules.least_s - 1e-6 else 0.0


def _visible(
    angles: Sequence[ArmAngle], side: str, plane_deg: float, between_s: tuple[float, float]
) -> list[_Seen]:
    mine = [a for a in angles if a.side == side and between_s[0] <= a.time_s <= between_s[1]]
    seen: list[_Seen] = []
    blinked = True
    for sample in sorted(mine, key=lambda a: a.time_s):
        if not sample.visible or sample.angle_deg is None or not isfinite(sample.angle_deg):
            blinked = True
            continue
        step_s = 0.0 if blinked else sample.time_s - seen[-1].time_s
        angle = in_plane_deg(sample, sample.angle_deg, plane_deg)
        raw = sample.angle_deg if sample.seen_deg is None else sample.seen_deg
        own = sample.source, sample.error_deg
        seen.append(_Seen(sample.time_s, angle, step_s, raw, *own))
        blinked = False
    return seen


def in_plane_deg(sample: ArmAngle, frontal_deg: float, plane_deg: float) -> float:
    """Return the elevation of an arm held in a plane turned forward by `plane_deg`, in degrees.

    `frontal_deg` is the sample's own angle. Between the two planes for which the eye gives it (0
    and 30), and a little beyond, on a straight line; where it gives only the frontal one, as a
    square camera sees it: tan(true) = tan(seen) / cos(plane). Markers give the elevation in space,
    whatever its plane.
    """
    if not plane_deg or sample.source == "markers":
        return frontal_deg
    if sample.scapular_deg is not None:
        return frontal_deg + (sample.scapular_deg - frontal_deg) * plane_deg / _SCAPULAR_DEG
    seen = radians(frontal_deg)
    return degrees(atan2(sin(seen), cos(seen) * cos(radians(plane_deg))))


def _correction(steady: Sequence[_Seen], plane_deg: float) -> str:
    """Return what was corrected for, in words; empty where nothing was."""
    viewed = any(sample.angle_deg != sample.seen_deg for sample in steady)
    if not viewed:
        return ""
    plane = (
        f"arm held {plane_deg:.0f} deg forward" if plane_deg else "arm held in the frontal plane"
    )
    return f"for the camera's place, {plane}"


def _without_outliers(seen: Sequence[_Seen], rules: SetupRules) -> list[_Seen]:
    """Drop samples that jump away from both neighbours, which agree with each other.

    Neither the first nor the last sample is dropped, and none beside another such: an angle
    that goes to and fro is no steady one.
    """
    jumps = [False] * len(seen)
    for i in range(1, len(seen) - 1):
        low, high = sorted((seen[i - 1].angle_deg, seen[i + 1].angle_deg))
        away = max(low - seen[i].angle_deg, seen[i].angle_deg - high)
        near = seen[i + 1].time_s - seen[i - 1].time_s <= 2 * rules.most_gap_s
        agree = high - low <= rules.most_spread_deg
        jumps[i] = near and agree and away > rules.most_spread_deg / 2
    kept: list[_Seen] = []
    carried_s = 0.0
    for i, sample in enumerate(seen):
        if jumps[i] and not jumps[i - 1] and not jumps[i + 1]:
            carried_s = sample.step_s
            continue
        # The time across one dropped sample was seen, unless the arm was out of sight as well.
        kept.append(sample._replace(step_s=sample.step_s + carried_s if sample.step_s else 0.0))
        carried_s = 0.0
    return kept


def _last_steady(
    seen: Sequence[_Seen], before_s: float, rules: SetupRules
) -> tuple[Sequence[_Seen], Sequence[_Seen]]:
    """Return the last steady window and the samples after it; empty where there is none."""
    for end in range(len(seen), 0, -1):
        if seen[end - 1].time_s < before_s - rules.most_age_s:
            break
        start = _reach_back(seen, end, rules)
        held_s = sum(sample.step_s for sample in seen[start + 1 : end])
        # Times such as 0.1 and 0.2 are not exact: their differences may sum to just under 0.5.
        if end - start >= _LEAST_SAMPLES and held_s >= rules.least_s - 1e-6:
            return seen[start:end], seen[end:]
    return (), ()


def _inner(steady: Sequence[_Seen], rules: SetupRules) -> Sequence[_Seen]:
    """Return the part of a hold that counts: without its ends, and after any slow drift."""
    start_s, end_s = steady[0].time_s, steady[-1].time_s
    edge_s = min(rules.edge_s, (end_s - start_s) / 4)
    inner = [s for s in steady if start_s + edge_s <= s.time_s <= end_s - edge_s]
    third = len(inner) // 3
    if third >= _LEAST_SAMPLES:
        first, last = inner[:third], inner[-third:]
        moved = median(s.angle_deg for s in last) - median(s.angle_deg for s in first)
        if abs(moved) > rules.most_drift_deg:
            return last
    return inner or steady


def _reach_back(seen: Sequence[_Seen], end: int, rules: SetupRules) -> int:
    """Return where the run that ends before index `end` starts."""
    start = end - 1
    low = high = seen[start].angle_deg
    while start > 0:
        earlier = seen[start - 1]
        low, high = min(low, earlier.angle_deg), max(high, earlier.angle_deg)
        gap_s = seen[start].time_s - earlier.time_s
        if gap_s > rules.most_gap_s + 1e-6 or high - low > rules.most_spread_deg:
            break
        start -= 1
    return start


def _left(
    later: Sequence[_Seen], middle_deg: float, between_s: tuple[float, float], rules: SetupRules
) -> bool:
    """Whether the arm was seen elsewhere between the window's end and the finding."""
    off = [s for s in later if abs(s.angle_deg - middle_deg) > rules.most_spread_deg]
    if len(off) != 1:
        return bool(off)
    # One sample right after the window and right before the finding may be an error of the
    # measurement; beside a gap it is all that is known of where the arm went.
    end_s, before_s = between_s
    before_gap = off[0] is later[-1] and before_s - off[0].time_s > rules.most_gap_s
    return before_gap or off[0].time_s - end_s > rules.most_gap_s


def _unseen(
    angles: Sequence[ArmAngle], side: str, plane_deg: float, between_s: tuple[float, float]
) -> list[tuple[float, float]]:
    """Return (time_s, angle_deg) of the readings after the window that were too poor to count."""
    return [
        (a.time_s, in_plane_deg(a, a.angle_deg, plane_deg))
        for a in angles
        if a.side == side
        and between_s[0] < a.time_s <= between_s[1]
        and not a.visible
        and a.angle_deg is not None
        and isfinite(a.angle_deg)
    ]


def _moved_unseen(
    unseen: Sequence[tuple[float, float]], middle_deg: float, rules: SetupRules
) -> bool:
    """Whether readings too poor to count say that the arm was moved while hands covered it.

    Under hands a reading may be tens of degrees off. Shortly after a window that says nothing;
    over a longer time the arm may really have been moved, and a blank is better: where the
    readings lie elsewhere in the middle, or held still elsewhere for a while.
    """
    if len(unseen) < _LEAST_SAMPLES or unseen[-1][0] - unseen[0][0] < rules.most_unseen_s:
        return False
    if abs(median(angle for _, angle in unseen) - middle_deg) > rules.most_moved_deg:
        return True
    return any(_held_away(unseen[start:], middle_deg, rules) for start in range(len(unseen)))


def _held_away(unseen: Sequence[tuple[float, float]], middle_deg: float, rules: SetupRules) -> bool:
    """Whether the first of these readings and those after it hold still elsewhere for a while."""
    low = high = unseen[0][1]
    for time_s, angle in unseen:
        low, high = min(low, angle), max(high, angle)
        near = abs(angle - middle_deg) <= rules.most_moved_deg
        if near or high - low > rules.most_spread_deg:
            return False
        if time_s - unseen[0][0] >= rules.held_unseen_s - 1e-6:
            return True
    return False


def status_in_window(angle_deg: float, window: SetupWindow | None, error_deg: float) -> SetupStatus:
    """Compare with the window; where the scale of angles ends, a window has no limit to miss."""
    if window is None:
        return SetupStatus.NOT_REQUIRED
    limits = [
        limit
        for limit in (window.low_deg, window.high_deg)
        if _LEAST_ANGLE_DEG < limit < _MOST_ANGLE_DEG
    ]
    if any(abs(angle_deg - limit) <= error_deg for limit in limits):
        return SetupStatus.BORDERLINE
    inside = window.low_deg <= angle_deg <= window.high_deg
    return SetupStatus.IN_RANGE if inside else SetupStatus.OUT_OF_RANGE
