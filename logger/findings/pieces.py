"""Cuts the angle trace of one arm into straight pieces: holds, drifts and movements.

A penalised fit of straight lines (the pruned exact search of Killick, Fearnhead and Eckley 2012).
A line that rises or falls quickly is a movement; one that is level is a hold; one that is long,
slow and goes somewhere is a drift. Neighbouring levels that are one within the measurement's
jitter are joined, so that only a real change of place splits a hold.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import floor, isfinite
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from logger.core.events import ArmAngle, Side
from logger.core.holds import HoldKind
from logger.findings.setup import POSE_ERROR_DEG

ROUNDING_S: Final = 1e-6
"""Times such as 0.1 and 0.2 are not exact."""
_BIN_S: Final = 0.1
_BEND: Final = 3
"""Samples that a bend takes."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class HoldRules:
    """What counts as a hold, a drift and a movement."""

    least_s: float = 1.0
    """A shorter standstill is a pause in a movement."""
    most_gap_s: float = 0.5
    """Seen samples further apart than this leave a stretch unseen, which ends a hold."""
    least_samples: int = 3
    jitter_deg: tuple[float, float] = (0.7, 1.5)
    """How much a held arm's angle jitters, least and most; what the samples themselves show, in
    between, is the scale of the fit."""
    penalty: float = 15.0
    """What one more line must gain, in squared jitters."""
    least_step_deg: float = 4.0
    """Levels nearer than this are one hold; further apart, the arm was put elsewhere."""
    blip_s: float = 0.6
    """A shorter excursion that comes back to the same level is an error of the measurement."""
    least_drift_deg: float = 4.0
    """A line that goes less far than this is level."""
    soft_s: float = 0.4
    """How much of a slope beside a movement may belong to the movement."""
    least_drift_s: float = 2.0
    """A shorter slope is part of a movement."""
    most_drift_deg_per_s: float = 3.0
    """Quicker is a movement."""
    rest_deg: float = 20.0
    """Up to here an arm outside every window lies at the side (common practice, no source)."""
    error_deg: float = POSE_ERROR_DEG
    """The measurement's own error, as in `SetupRules`."""


class Run(NamedTuple):
    """Samples of one arm without an unseen stretch among them."""

    time_s: Floats
    angle_deg: Floats


class Piece(NamedTuple):
    """A straight piece of a run: samples `start` to `stop`, without `stop`."""

    start: int
    stop: int
    kind: HoldKind | None
    """None is a movement."""


def seen_samples(angles: Sequence[ArmAngle], side: Side) -> Run:
    """Return the samples of one arm that count, in order, at most one for each tenth of a second.

    The fit takes a time that grows with the number of samples, and a hold needs no more.
    """
    bins: dict[int, list[tuple[float, float]]] = {}
    for sample in angles:
        angle_deg = sample.angle_deg if sample.side == side and sample.visible else None
        if angle_deg is not None and isfinite(angle_deg):
            at = floor(sample.time_s / _BIN_S + ROUNDING_S)
            bins.setdefault(at, []).append((sample.time_s, angle_deg))
    middles = [np.median(bins[at], axis=0) for at in sorted(bins)]
    table = np.array(middles, dtype=np.float64).reshape(-1, 2)
    return Run(table[:, 0], table[:, 1])


def runs_of(seen: Run, rules: HoldRules) -> Iterator[Run]:
    """Yield the stretches without an unseen one among them, lone jumps set aside."""
    breaks = np.flatnonzero(np.diff(seen.time_s) > rules.most_gap_s + ROUNDING_S) + 1
    for time_s, angle_deg in zip(
        np.split(seen.time_s, breaks), np.split(seen.angle_deg, breaks), strict=True
    ):
        if time_s.size:
            kept = ~_lone_jumps(angle_deg, rules)
            yield Run(time_s[kept], angle_deg[kept])


def _lone_jumps(angle_deg: Floats, rules: HoldRules) -> NDArray[np.bool_]:
    """Return which samples jump away from two neighbours that agree."""
    jumps = np.zeros(angle_deg.size, dtype=np.bool_)
    before, here, after = angle_deg[:-2], angle_deg[1:-1], angle_deg[2:]
    low, high = np.minimum(before, after), np.maximum(before, after)
    away = np.maximum(low - here, here - high)
    jumps[1:-1] = (high - low <= rules.least_step_deg) & (away > rules.least_step_deg / 2)
    lone = jumps.copy()
    lone[1:] &= ~jumps[:-1]
    lone[:-1] &= ~jumps[1:]
    return lone


def pieces_of(run: Run, rules: HoldRules) -> list[Piece]:
    """Return the pieces of a run in order: holds, drifts and, as None, movements."""
    pieces = [_classed(run, start, stop, rules) for start, stop in pairwise(best_cuts(run, rules))]
    pieces = _settled(run, pieces, rules)
    joined = True
    while joined:
        pieces, joined = _join_one(run, pieces, rules)
    trimmed = [_trimmed(run, piece, rules) for piece in _settled(run, pieces, rules)]
    return [piece if _lasts(run, piece, rules) else piece._replace(kind=None) for piece in trimmed]


def _trimmed(run: Run, piece: Piece, rules: HoldRules) -> Piece:
    """Leave what is off a hold's level to the movement before and after it.

    A line that stands for a hold may reach some way into a movement that sets off gently. Where
    the arm is not seen before or after, its ends stay as they are.
    """
    if piece.kind is not HoldKind.HOLD:
        return piece
    angle_deg = run.angle_deg[piece.start : piece.stop]
    low, middle, high = np.quantile(angle_deg, (0.1, 0.5, 0.9))
    near = np.abs(angle_deg - middle) <= max(rules.jitter_deg[1], high - middle, middle - low)
    first, last = int(near.argmax()), int(near[::-1].argmax())
    start = piece.start + (first if piece.start > 0 else 0)
    stop = piece.stop - (last if piece.stop < run.time_s.size else 0)
    return piece._replace(start=start, stop=stop)


def _lasts(run: Run, piece: Piece, rules: HoldRules) -> bool:
    held_s = run.time_s[piece.stop - 1] - run.time_s[piece.start]
    return bool(
        held_s >= rules.least_s - ROUNDING_S and piece.stop - piece.start >= rules.least_samples
    )


def _classed(run: Run, start: int, stop: int, rules: HoldRules) -> Piece:
    time_s = run.time_s[start:stop]
    slope, lasted_s = slope_of(time_s, run.angle_deg[start:stop]), float(time_s[-1] - time_s[0])
    kind: HoldKind | None = HoldKind.HOLD
    if abs(slope) * lasted_s >= rules.least_drift_deg:
        slow = abs(slope) <= rules.most_drift_deg_per_s and lasted_s >= rules.least_drift_s
        kind = HoldKind.DRIFT if slow else None
    return Piece(start, stop, kind)


def _settled(run: Run, pieces: Sequence[Piece], rules: HoldRules) -> list[Piece]:
    """Take a drift for a hold where only its ends slope, as part of the movements beside it."""
    moves = [True, *(piece.kind is None for piece in pieces), True]
    return [
        piece._replace(kind=HoldKind.HOLD)
        if piece.kind is HoldKind.DRIFT and _level(run, piece, (moves[i], moves[i + 2]), rules)
        else piece
        for i, piece in enumerate(pieces)
    ]


def _level(run: Run, piece: Piece, moves: tuple[bool, bool], rules: HoldRules) -> bool:
    """Whether a piece is level but for its ends beside a movement (before it, after it)."""
    time_s, angle_deg = (
        run.time_s[piece.start : piece.stop],
        run.angle_deg[piece.start : piece.stop],
    )
    from_s = time_s[0] + (rules.soft_s if moves[0] and piece.start else 0.0)
    until_s = time_s[-1] - (rules.soft_s if moves[1] and piece.stop < run.time_s.size else 0.0)
    amid = (time_s >= from_s) & (time_s <= until_s)
    slope = slope_of(time_s[amid], angle_deg[amid])
    return bool(abs(slope) * (until_s - from_s) < rules.least_drift_deg)


def _join_one(run: Run, pieces: list[Piece], rules: HoldRules) -> tuple[list[Piece], bool]:
    """Join the first neighbours that are one hold or one drift, if there are any."""
    for i, piece in enumerate(pieces):
        for other in (i + 1, i + 2):
            if other < len(pieces) and _one(run, pieces[i : other + 1], rules):
                whole = _classed(run, piece.start, pieces[other].stop, rules)
                if whole.kind is not None:
                    return [*pieces[:i], whole, *pieces[other + 1 :]], True
    return pieces, False


def _one(run: Run, pieces: Sequence[Piece], rules: HoldRules) -> bool:
    """Whether the first and last of two or three pieces are one, with at most a blip between."""
    first, last = pieces[0], pieces[-1]
    if first.kind is None or first.kind is not last.kind:
        return False
    if len(pieces) > 2:  # noqa: PLR2004 - the two and what is between
        between_s = run.time_s[last.start] - run.time_s[first.stop - 1]
        if between_s > rules.blip_s + ROUNDING_S:
            return False
    if first.kind is HoldKind.DRIFT:
        return _slope_of_piece(run, first) * _slope_of_piece(run, last) > 0 and len(pieces) == 2  # noqa: PLR2004
    levels = [float(np.median(run.angle_deg[p.start : p.stop])) for p in (first, last)]
    return abs(levels[0] - levels[1]) < rules.least_step_deg


def _slope_of_piece(run: Run, piece: Piece) -> float:
    return slope_of(run.time_s[piece.start : piece.stop], run.angle_deg[piece.start : piece.stop])


def slope_of(time_s: Floats, angle_deg: Floats) -> float:
    """Return the slope of the line of least squares, degrees a second; 0 for one moment."""
    away = time_s - time_s.mean()
    across = float(away @ away)
    return float(away @ (angle_deg - angle_deg.mean())) / across if across > 0 else 0.0


def best_cuts(run: Run, rules: HoldRules) -> list[int]:
    """Return where the best fit of straight lines starts and ends each, from 0 to the length.

    Best is the least sum, over the lines, of squared distances in jitters plus the penalty. A
    start that even without its penalty cannot be better any more is dropped, which leaves the
    result exact.
    """
    sums, scale_deg = _sums(run), jitter_deg(run, rules)
    count = run.time_s.size
    cost = np.full(count + 1, np.inf)
    cost[0] = -rules.penalty
    came_from = np.zeros(count + 1, dtype=np.int64)
    starts = np.array([0])
    for stop in range(1, count + 1):
        fits = cost[starts] + _misfit(sums, starts, stop) / scale_deg**2
        best = int(fits.argmin())
        cost[stop] = fits[best] + rules.penalty
        came_from[stop] = starts[best]
        starts = np.append(starts[fits <= cost[stop]], stop)
    cuts = [count]
    while cuts[-1] > 0:
        cuts.append(int(came_from[cuts[-1]]))
    return cuts[::-1]


def jitter_deg(run: Run, rules: HoldRules) -> float:
    """Return the standard deviation that the bends from sample to sample show, within limits."""
    if run.angle_deg.size < _BEND:
        return rules.jitter_deg[1]
    bends = np.abs(np.diff(run.angle_deg, n=2))
    # A bend is a - 2b + c: its variance is six times a sample's; 1.4826 makes a median of
    # distances the standard deviation of a normal distribution.
    shown = float(1.4826 * np.median(bends) / np.sqrt(6))
    return min(max(shown, rules.jitter_deg[0]), rules.jitter_deg[1])


def _sums(run: Run) -> Floats:
    """Return running sums of 1, t, y, tt, ty and yy, shape (6, n + 1)."""
    t, y = run.time_s - run.time_s[0], run.angle_deg - run.angle_deg.mean()
    rows = np.stack([np.ones_like(t), t, y, t * t, t * y, y * y])
    return np.concatenate([np.zeros((6, 1)), rows.cumsum(axis=1)], axis=1)


def _misfit(sums: Floats, starts: NDArray[np.int64], stop: int) -> Floats:
    """Return the squared distances from the line of least squares, for each start."""
    n, t, y, tt, ty, yy = sums[:, [stop]] - sums[:, starts]
    across = tt - t * t / n
    along = ty - t * y / n
    up = yy - y * y / n
    slope_part = np.divide(along * along, across, out=np.zeros_like(up), where=across > 1e-9)  # noqa: PLR2004
    misfit: Floats = np.maximum(up - slope_part, 0.0)
    return misfit
