"""What an annotated picture shows, and the plane geometry of it.

Points are x and y in pixels with y downwards; angles are degrees from the trunk's axis, towards
the outside of the arm's own side.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.core.events import RowStatus, SeenBody, SetupStatus, Side

Points = NDArray[np.float64]
"""(n, 2)."""

_BRIDGE_S = 0.5
"""Bodies further apart are not joined by a movement between them."""
_REACH_S = 0.25
"""How long a body or an angle stands for the time around it."""
_STEP_DEG = 2.0
"""An arc is drawn as a line with a corner this often."""


@dataclass(frozen=True, slots=True)
class ArmNote:
    """One arm at one moment."""

    time_s: float
    angle_deg: float | None
    """None where the arm was not seen."""
    status: SetupStatus
    window: tuple[float, float] | None
    """The limits of the test's window; None where no test is near."""
    words: tuple[str, ...]
    """The lines beside the joint."""


@dataclass(frozen=True, slots=True)
class Caption:
    """A finding, for as long as it is shown."""

    start_s: float
    end_s: float
    lines: tuple[str, ...]
    status: RowStatus


@dataclass(frozen=True, slots=True)
class Overlay:
    """Everything to be drawn over a recording."""

    bodies: tuple[SeenBody, ...] = ()
    arms: Mapping[Side, tuple[ArmNote, ...]] | None = None
    """In the order of time."""
    captions: tuple[Caption, ...] = ()


@dataclass(frozen=True, slots=True)
class Joint:
    """A shoulder with its arm and the trunk's axis, from which angles are drawn."""

    shoulder: Points
    """(2,)"""
    elbow: Points
    trunk: Points
    """(2,) of length 1: from the shoulders to the hips."""
    outward: float
    """1 where angles grow as x turns towards y, -1 where the other way round."""

    @property
    def arm_px(self) -> float:
        """The length of the upper arm in the picture."""
        return float(np.linalg.norm(self.elbow - self.shoulder))

    @property
    def angle_deg(self) -> float:
        """How the arm lies in the picture; negative where it crosses the trunk's axis inwards."""
        arm = self.elbow - self.shoulder
        cross = self.trunk[0] * arm[1] - self.trunk[1] * arm[0]
        return self.outward * math.degrees(math.atan2(cross, float(self.trunk @ arm)))

    def at(self, angle_deg: float, radius_px: float) -> Points:
        """Return the (2,) point at an angle from the trunk's axis."""
        point: Points = self.arc(angle_deg, angle_deg, radius_px)[0]
        return point

    def arc(self, from_deg: float, to_deg: float, radius_px: float) -> Points:
        """Return points along an arc about the shoulder, ends included, at most 2 degrees apart."""
        count = max(math.ceil(abs(to_deg - from_deg) / _STEP_DEG), 1) + 1
        turn = self.outward * np.radians(np.linspace(from_deg, to_deg, count))
        along, across = np.cos(turn), np.sin(turn)
        x, y = self.trunk
        ray = np.stack([along * x - across * y, across * x + along * y], axis=1)
        points: Points = self.shoulder + radius_px * ray
        return points


def joint_of(points: Mapping[str, tuple[float, float]], side: Side) -> Joint | None:
    """Return one shoulder; None where a joint that it needs is not seen or has no direction."""
    other = "left" if side == "right" else "right"
    names = (
        f"{side}_shoulder",
        f"{other}_shoulder",
        f"{side}_hip",
        f"{other}_hip",
        f"{side}_elbow",
    )
    if any(name not in points for name in names):
        return None
    shoulder, across, hip, far_hip, elbow = (np.array(points[name], np.float64) for name in names)
    axis = (hip + far_hip - shoulder - across) / 2
    out = shoulder - across
    turned = axis[0] * out[1] - axis[1] * out[0]
    length = float(np.linalg.norm(axis))
    if not np.isfinite([*axis, *elbow]).all() or length < 1 or abs(turned) < 1:
        return None
    return Joint(shoulder, elbow, axis / length, math.copysign(1.0, turned))


def body_at(bodies: Sequence[SeenBody], time_s: float) -> Mapping[str, tuple[float, float]]:
    """Return the joints at a time, moved evenly between two sightings; empty where none is near."""
    after = bisect_right(bodies, time_s, key=lambda body: body.time_s)
    before = bodies[after - 1] if after else None
    following = bodies[after] if after < len(bodies) else None
    if before is not None and following is not None:
        gap_s = following.time_s - before.time_s
        if gap_s <= _BRIDGE_S:
            share = (time_s - before.time_s) / gap_s
            return {
                name: (
                    (1 - share) * point[0] + share * following.points[name][0],
                    (1 - share) * point[1] + share * following.points[name][1],
                )
                for name, point in before.points.items()
                if name in following.points
            }
    near = [b for b in (before, following) if b and abs(b.time_s - time_s) <= _REACH_S]
    nearest = min(near, key=lambda body: abs(body.time_s - time_s), default=None)
    return nearest.points if nearest is not None else {}


def note_at(notes: Sequence[ArmNote], time_s: float) -> ArmNote | None:
    """Return the note nearest to a time; None where none is near."""
    after = bisect_right(notes, time_s, key=lambda note: note.time_s)
    near = [n for n in notes[max(after - 1, 0) : after + 1] if abs(n.time_s - time_s) <= _REACH_S]
    return min(near, key=lambda note: abs(note.time_s - time_s), default=None)


def captions_at(captions: Sequence[Caption], time_s: float) -> list[Caption]:
    """Return the captions that are shown at a time, in their own order."""
    return [caption for caption in captions if caption.start_s <= time_s < caption.end_s]
