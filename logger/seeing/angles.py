"""Plane geometry of the arm-to-trunk angle. Pure numpy; y may point up or down.

The angle lies between the upper arm (shoulder to elbow) and the trunk's long axis (middle of the
shoulders to middle of the hips), both as they appear in the picture. It needs no upright camera:
turning, mirroring, moving or scaling the picture leaves it as it is.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

_SHORTEST = 1e-9
"""Below this length a line has no direction; in the unit of the points."""


def line_angle_deg(first: ArrayLike, second: ArrayLike) -> float | None:
    """Return the angle between two (2,) directions, 0 to 180 degrees.

    None where either has no length or is not finite.
    """
    a = np.asarray(first, dtype=np.float64)
    b = np.asarray(second, dtype=np.float64)
    lengths = math.hypot(*a), math.hypot(*b)
    if not all(math.isfinite(length) and length > _SHORTEST for length in lengths):
        return None
    # atan2 of cross and dot keeps its accuracy near 0 and 180 degrees, where acos loses it.
    cross = abs(a[0] * b[1] - a[1] * b[0])
    return math.degrees(math.atan2(cross, float(a @ b)))


def arm_to_trunk_deg(
    shoulder: ArrayLike, elbow: ArrayLike, mid_shoulder: ArrayLike, mid_hip: ArrayLike
) -> float | None:
    """Return the arm-to-trunk angle of (2,) points: 0 (arm along the trunk) to 180 degrees.

    None where the arm or the trunk has no length or a point is not finite.
    """
    arm = np.subtract(elbow, shoulder, dtype=np.float64)
    trunk = np.subtract(mid_hip, mid_shoulder, dtype=np.float64)
    return line_angle_deg(arm, trunk)


def seen_angle_deg(elevation_deg: float, out_of_plane_deg: float) -> float:
    """Return the angle a square, distant camera sees of a true elevation, in degrees.

    `elevation_deg` (0 to 180) is taken from the trunk's axis, in a plane turned by
    `out_of_plane_deg` out of the picture's: tan(seen) = tan(elevation) * cos(out of plane).
    """
    elevation = math.radians(elevation_deg)
    across = math.sin(elevation) * math.cos(math.radians(out_of_plane_deg))
    return math.degrees(math.atan2(abs(across), math.cos(elevation)))


def skew_deg(shoulders: ArrayLike, trunk: ArrayLike) -> float | None:
    """Return by how much the shoulder line looks other than square to the trunk, in degrees.

    Both are (2,) directions in the picture; 0 to 90; None where either has no length. On a body
    lying straight the two are square, so what is seen beyond a few degrees is the view's.
    """
    between = line_angle_deg(shoulders, trunk)
    return None if between is None else abs(90.0 - between)


def squared_angle_deg(arm: ArrayLike, trunk: ArrayLike, outward: ArrayLike) -> float | None:
    """Return the arm-to-trunk angle with the view's skew taken out, 0 to 180 degrees.

    A distant camera maps the plane of the trunk to the picture by an affine map, under which the
    shoulder line need not stay square to the trunk. The arm is therefore read in parts along
    `trunk` (mid-shoulder to mid-hip) and along `outward` (from the other shoulder to this one),
    and the two are set square to each other again; their lengths stay as seen. Where they are
    square already this is `line_angle_deg(arm, trunk)`. All are (2,) directions in pixels. None
    where the trunk and the shoulder line do not span the picture.
    """
    down = np.asarray(trunk, dtype=np.float64)
    out = np.asarray(outward, dtype=np.float64)
    basis = np.stack([down, out], axis=1)
    lengths = math.hypot(*down), math.hypot(*out)
    if not np.isfinite(basis).all() or abs(np.linalg.det(basis)) <= _SHORTEST * math.prod(lengths):
        return None
    along, across = np.linalg.solve(basis, np.asarray(arm, dtype=np.float64))
    return line_angle_deg((along * lengths[0], across * lengths[1]), (1.0, 0.0))
