"""Finds the holds in an angle trace: where an arm stayed in place, drifted, or was put elsewhere.

Each hold is compared with the target windows as a setup before a test is.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Final

import numpy as np

from logger.core.events import SIDES, ArmAngle, SetupStatus, Side
from logger.core.holds import (
    Comparison,
    Fit,
    Hold,
    HoldKind,
    JudgedHold,
    Target,
    Unseen,
)
from logger.core.statements import SetupWindow
from logger.findings.pieces import (
    ROUNDING_S,
    Floats,
    HoldRules,
    Piece,
    Run,
    pieces_of,
    runs_of,
    seen_samples,
    slope_of,
)
from logger.findings.setup import in_plane_deg, status_in_window

_END_S: Final = 1.0
"""How much of a hold counts as its beginning and as its end."""
_FIT_OF: Final = {
    SetupStatus.IN_RANGE: Fit.IN_RANGE,
    SetupStatus.BORDERLINE: Fit.BORDERLINE,
    SetupStatus.OUT_OF_RANGE: Fit.OUT_OF_RANGE,
}
_WORSE: Final = (Fit.AT_REST, Fit.IN_RANGE, Fit.BORDERLINE, Fit.OUT_OF_RANGE)


def find_holds(angles: Sequence[ArmAngle], rules: HoldRules) -> tuple[Hold, ...]:
    """Return the holds and drifts of both arms, in the order of their start.

    The samples may come in any order and at any rate from 3 to 60 a second, evenly or not. Only
    visible samples with a finite angle count.
    """
    found = [hold for side in SIDES for hold in _holds_of(angles, side, rules)]
    return tuple(sorted(found, key=lambda hold: (hold.start_s, hold.side)))


def find_unseen(
    angles: Sequence[ArmAngle], duration_s: float, rules: HoldRules
) -> tuple[Unseen, ...]:
    """Return where each arm was not seen for longer than `most_gap_s`, by side and time."""
    return tuple(
        Unseen(side, start_s, end_s, _reason(angles, side, start_s, end_s))
        for side in SIDES
        for start_s, end_s in _gaps(seen_samples(angles, side).time_s, duration_s, rules)
    )


def targets_of(windows: Mapping[str, SetupWindow]) -> tuple[Target, ...]:
    """Return the windows, each once, with the tests that share it, narrow ones first."""
    tests: dict[tuple[float, float, float], list[str]] = {}
    for test, window in windows.items():
        key = window.low_deg, window.high_deg, window.plane_deg
        tests.setdefault(key, []).append(test)
    ordered = sorted(tests, key=lambda key: (key[1] - key[0], key))
    return tuple(Target(*key[:2], tuple(tests[key]), key[2]) for key in ordered)


def judge(
    holds: Sequence[Hold],
    targets: Sequence[Target],
    angles: Sequence[ArmAngle],
    rules: HoldRules,
) -> tuple[JudgedHold, ...]:
    """Compare every hold with every target, in the target's plane, and number them from 1.

    `angles` are those in which the holds were found.
    """
    return tuple(
        JudgedHold(number, hold, tuple(_comparisons(hold, targets, angles, rules)))
        for number, hold in enumerate(holds, start=1)
    )


def _comparisons(
    hold: Hold, targets: Sequence[Target], angles: Sequence[ArmAngle], rules: HoldRules
) -> Iterator[Comparison]:
    drifts = hold.kind is HoldKind.DRIFT
    ends = (hold.first_deg, hold.last_deg) if drifts else (hold.angle_deg,)
    compared = []
    for target in targets:
        more_deg = _plane_gain_deg(hold, angles, target.plane_deg)
        at_ends = (_compared(angle + more_deg, target, rules) for angle in ends)
        compared.append(max(at_ends, key=_badness))
    resting = max(ends) <= rules.rest_deg and all(c.fit is Fit.OUT_OF_RANGE for c in compared)
    for comparison in compared:
        yield replace(comparison, fit=Fit.AT_REST) if resting else comparison


def _plane_gain_deg(hold: Hold, angles: Sequence[ArmAngle], plane_deg: float) -> float:
    """Return by how much the arm is raised further if it is held in a plane, in the middle."""
    gains = [
        in_plane_deg(sample, sample.angle_deg, plane_deg) - sample.angle_deg
        for sample in angles
        if sample.side == hold.side
        and sample.visible
        and sample.angle_deg is not None
        and hold.start_s <= sample.time_s <= hold.end_s
    ]
    return float(np.median(gains)) if plane_deg and gains else 0.0


def _compared(angle_deg: float, target: Target, rules: HoldRules) -> Comparison:
    window = SetupWindow(target.low_deg, target.high_deg, source="")
    fit = _FIT_OF[status_in_window(angle_deg, window, rules.error_deg)]
    inside_deg = min(max(angle_deg, target.low_deg), target.high_deg)
    return Comparison(target, angle_deg, fit, angle_deg - inside_deg)


def _badness(comparison: Comparison) -> tuple[int, float]:
    return _WORSE.index(comparison.fit), abs(comparison.off_deg)


def _holds_of(angles: Sequence[ArmAngle], side: Side, rules: HoldRules) -> list[Hold]:
    seen = seen_samples(angles, side)
    holds: list[Hold] = []
    for run in runs_of(seen, rules):
        in_run: list[Hold] = []
        moved = False
        for piece in pieces_of(run, rules):
            if piece.kind is None:
                moved = True
                continue
            hold = _hold(run, piece, side)
            if in_run and (moved or _stepped(in_run[-1], hold, rules)):
                hold = _arrived(hold, in_run[-1])
            since_s = holds[-1].end_s if holds else hold.start_s
            in_run.append(replace(hold, seen_share=_share(seen, since_s, hold.end_s, rules)))
            holds.append(in_run[-1])
            moved = False
    return holds


def _stepped(before: Hold, hold: Hold, rules: HoldRules) -> bool:
    """Whether the arm was put elsewhere between two samples."""
    return abs(hold.first_deg - before.last_deg) >= rules.least_step_deg


def _arrived(hold: Hold, before: Hold) -> Hold:
    return replace(
        hold,
        got_there_s=hold.start_s - before.end_s,
        moved_deg=hold.angle_deg - before.angle_deg,
    )


def _hold(run: Run, piece: Piece, side: Side) -> Hold:
    time_s, angle_deg = (
        run.time_s[piece.start : piece.stop],
        run.angle_deg[piece.start : piece.stop],
    )
    start_s, end_s = float(time_s[0]), float(time_s[-1])
    slope = slope_of(time_s, angle_deg)
    level: Floats = angle_deg - slope * (time_s - time_s.mean())
    drifts = piece.kind is HoldKind.DRIFT
    long = end_s - start_s >= 3 * _END_S
    middle = (time_s >= start_s + _END_S) & (time_s <= end_s - _END_S)
    settled = angle_deg[middle] if long and middle.any() else angle_deg
    low, high = np.quantile(level if drifts else angle_deg, (0.05, 0.95))
    angle = float(np.median(settled))
    return Hold(
        side=side,
        kind=HoldKind.DRIFT if drifts else HoldKind.HOLD,
        start_s=start_s,
        end_s=end_s,
        angle_deg=angle,
        first_deg=float(np.median(angle_deg[time_s <= start_s + _END_S])),
        last_deg=float(np.median(angle_deg[time_s >= end_s - _END_S])),
        spread_deg=float(high - low),
        drift_deg_per_s=slope,
        got_there_s=None,
        moved_deg=None,
        seen_share=1.0,
    )


def _share(seen: Run, from_s: float, until_s: float, rules: HoldRules) -> float:
    within = seen.time_s[(seen.time_s >= from_s) & (seen.time_s <= until_s)]
    steps = np.diff(within)
    total_s = until_s - from_s
    seen_s = float(steps[steps <= rules.most_gap_s + ROUNDING_S].sum())
    return seen_s / total_s if total_s > 0 else 1.0


def _gaps(time_s: Floats, duration_s: float, rules: HoldRules) -> Iterator[tuple[float, float]]:
    ends = np.concatenate([[0.0], time_s, [max(duration_s, 0.0)]])
    for start, end in pairwise(ends.tolist()):
        if end - start > rules.most_gap_s + ROUNDING_S:
            yield start, end


def _reason(angles: Sequence[ArmAngle], side: Side, start_s: float, end_s: float) -> str:
    reasons = Counter(
        sample.reason
        for sample in angles
        if sample.side == side and start_s <= sample.time_s <= end_s and sample.reason
    )
    return reasons.most_common(1)[0][0] if reasons else ""
