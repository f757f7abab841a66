"""From two strips to the arm's elevation and its plane, with their likely error.

In the words of the ISB recommendation (Wu 2005): elevation is the angle between the long axes of
humerus and thorax; the plane of elevation is 0 straight out to the side (abduction) and 90
straight forward (flexion). Here the arm's axis is the arrow on its strip; the trunk's is the arrow
on its strip or, once it is known where the arm lay along the trunk, that direction.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from logger.core.events import Side
from logger.seeing.markers.fitting import Fit
from logger.seeing.markers.strips import UP, Vector

_LEAST_FOR_PLANE_DEG: Final = 20.0
"""Nearer to the trunk's axis an arm has no plane to speak of."""
_TURNED_BACK: Final = np.diag([-1.0, 1.0, -1.0])
"""From the axes of a strip on the back to left, head and forward."""
_HALF_ARM_MM: Final = 175.0
"""From the middle of the arm's strip to the shoulder, and to the elbow; about."""
_NEAR_MM: Final = 60.0
_FAR_MM: Final = 700.0


@dataclass(frozen=True, slots=True)
class Elevation:
    """The arm as the markers show it in one picture."""

    angle_deg: float
    """0 (along the trunk) to 180, in space."""
    sd_deg: float
    """The error to be expected of the angle from where the corners lie; one standard deviation."""
    plane_deg: float | None
    """-180 to 180; None for an arm near the trunk's axis."""


def body_axes(trunk: Fit) -> Vector:
    """Return the (3, 3) turn from the trunk's axes (left, head, forward) to the camera's."""
    if trunk.strip.name == "back":
        turned: Vector = trunk.rotation @ _TURNED_BACK
        return turned
    return trunk.rotation


def elevation(trunk: Fit, arm: Fit, side: Side, head: Vector = UP) -> Elevation:
    """Return the elevation of one arm; `head` is the trunk's long axis in the trunk's axes."""
    axes = body_axes(trunk)
    axis, up = axes @ head, arm.up
    cross = np.linalg.norm(np.cross(axis, up))
    angle_deg = float(np.degrees(np.arctan2(cross, axis @ up)))
    sd_deg = float(np.degrees(np.sqrt(_variance(trunk, axis, up) + _variance(arm, up, axis))))
    far_from_axis = _LEAST_FOR_PLANE_DEG < angle_deg < 180.0 - _LEAST_FOR_PLANE_DEG
    plane_deg = _plane_deg(axes, axis, -up, side) if far_from_axis else None
    return Elevation(angle_deg, sd_deg, plane_deg)


def along_trunk(pairs: Sequence[tuple[Fit, Fit]]) -> tuple[Vector, float]:
    """Return the trunk's long axis from pictures (trunk, arm) of the arm lying along the trunk.

    The second value is how far the arm is off that in any of them, in degrees: large if it moved.
    """
    arrows = np.stack([body_axes(trunk).T @ arm.up for trunk, arm in pairs])
    axis: Vector = arrows.mean(axis=0)
    axis /= np.linalg.norm(axis)
    return axis, float(np.degrees(np.arccos(np.clip(arrows @ axis, -1.0, 1.0)).max()))


def misplaced(trunk: Fit, arm: Fit, side: Side) -> str:
    """Return why the two strips cannot be worn as they should be; empty where they can.

    Lengths are judged generously: they depend on the print's size and the camera, and bodies
    differ.
    """
    axes = body_axes(trunk)
    middle = axes.T @ (arm.place_mm - trunk.place_mm)
    if not _NEAR_MM < np.linalg.norm(middle) < _FAR_MM:
        return "the strips lie too far apart or too near for one body, or differ in size"
    to_shoulder = axes.T @ arm.up * _HALF_ARM_MM
    shoulder, elbow = middle + to_shoulder, middle - to_shoulder
    if np.linalg.norm(shoulder) > np.linalg.norm(elbow):
        return "the arrow of the arm's strip points away from the shoulder"
    outward = shoulder[0] if side == "left" else -shoulder[0]
    if outward < 0:
        return "the arm's strip is on the other arm, or the trunk's arrow points to the feet"
    return ""


def _variance(fit: Fit, own: Vector, other: Vector) -> float:
    """Return the variance of the angle between two directions from the error of `own`, rad^2."""
    spread = fit.direction_covariance(own)
    within = other - (other @ own) * own
    length = np.linalg.norm(within)
    if length < 0.1:  # noqa: PLR2004 - nearly parallel: any way of being off counts
        return float(np.linalg.eigvalsh(spread)[-1])
    within /= length
    return float(within @ spread @ within)


def _plane_deg(axes: Vector, axis: Vector, to_elbow: Vector, side: Side) -> float:
    forward = axes[:, 2]
    forward = forward - (forward @ axis) * axis
    forward /= np.linalg.norm(forward)
    outward = np.cross(axis, forward) * (1.0 if side == "left" else -1.0)
    return float(np.degrees(np.arctan2(to_elbow @ forward, to_elbow @ outward)))
