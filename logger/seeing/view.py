"""From where the camera sees the trunk, and what an arm's seen angle is in space.

The trunk frame is the thorax frame of the ISB recommendation (Wu 2005): x to the patient's left,
y forward, z down the thorax. A distant camera drops what lies along its own direction. An arm at
an elevation, in a given plane, is therefore seen at an angle that follows from the camera's place
alone; the correction finds the elevation that would be seen at the angle that was measured.

Two things are no geometry but were fitted, on stills with known angles (see `ViewModel`): where
the model's shoulder and hip points lie on a body, and how its rough guess of depth follows the
camera.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np

from logger.seeing.pose import Joint

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from logger.core.events import Side
    from logger.seeing.pose import Person

_LEVELS_DEG: Final = np.arange(-20.0, 180.5, 0.5)
"""The elevations tried; below 0 the arm would be inside the body, above the sides cross."""
_AZIMUTHS_DEG: Final = np.arange(-60.0, 61.0, 1.0)
_ELEVATIONS_DEG: Final = np.arange(-70.0, 51.0, 1.0)


@dataclass(frozen=True, slots=True)
class Facing:
    """What was fitted for a body seen from the front, or from the back."""

    pitch_deg: float
    """By how much the line from mid-shoulder to mid-hip leans forward of the thorax's axis."""
    elevation_deg: tuple[float, float, float]
    """The camera's elevation: a constant, and slopes on the guessed one and on hips/shoulders."""
    elevation_error_deg: float


@dataclass(frozen=True, slots=True)
class ViewModel:
    """The fitted numbers.

    Fitted on 24 stills of one person and 7 with a clinician (front), and on 12 of a prone person,
    all rendered; checked on the arms of five rendered sessions, which had no part in the fit.
    """

    front: Facing = field(default_factory=lambda: Facing(6.0, (38.5, -1.33, -82.0), 7.0))
    back: Facing = field(default_factory=lambda: Facing(-5.0, (4.5, -1.5, 0.0), 10.0))
    azimuth_error_deg: float = 8.0
    skew_error_deg: float = 2.0
    usual_azimuth_deg: float = 15.0
    """Cameras stand square on more often than not: the spread of their azimuths."""
    usual_elevation_deg: float = 20.0
    arm_trunks: float = 0.52
    """An upper arm's length in trunk lengths."""
    joint_out_trunks: float = 0.006
    """How far outward of the model's shoulder point the arm turns, in trunk lengths."""
    joint_down_trunks: float = 0.028
    most_misfit_deg: float = 8.0
    """An angle that no elevation explains better than this is none."""

    def facing(self, prone: bool) -> Facing:
        """Return what was fitted for this side of the body."""
        return self.back if prone else self.front


@dataclass(frozen=True, slots=True)
class Camera:
    """Where the camera stands, as seen from the trunk; 0 and 0 is square on."""

    azimuth_deg: float
    """Towards the patient's left, -60 to 60; of a prone body, from square on to the back."""
    elevation_deg: float
    """Towards the head, -70 to 50, from square to the thorax's axis."""
    prone: bool
    """Whether the back is seen."""


def camera_of(person: Person, model: ViewModel) -> Camera | None:
    """Return the camera's place by the body it sees; None where the finder gives no depth.

    The most likely place given the model's guess of depth, the hips' width for the shoulders',
    the skew of the shoulder line against the trunk, and that cameras stand roughly square on.
    """
    if person.world is None:
        return None
    shoulders, trunk = _lines(person.points)
    prone = bool(shoulders[0] * trunk[1] - shoulders[1] * trunk[0] < 0)
    facing = model.facing(prone)
    hips = person.joint(Joint.LEFT_HIP) - person.joint(Joint.RIGHT_HIP)
    width = math.hypot(*hips) / max(math.hypot(*shoulders), 1e-6)
    azimuth, elevation = _guessed(person.world, prone)
    base, slope, of_width = facing.elevation_deg
    guess = base + slope * elevation + of_width * width
    across, along = np.meshgrid(_AZIMUTHS_DEG, _ELEVATIONS_DEG, indexing="ij")
    skew = _turn_deg(shoulders, trunk) - 90.0
    cost = (
        ((across - azimuth) / model.azimuth_error_deg) ** 2
        + ((along - guess) / facing.elevation_error_deg) ** 2
        + (_wrapped(skew - _skews(across, along, prone, facing)) / model.skew_error_deg) ** 2
        + (across / model.usual_azimuth_deg) ** 2
        + (along / model.usual_elevation_deg) ** 2
    )
    best = np.unravel_index(int(cost.argmin()), cost.shape)
    return Camera(float(across[best]), float(along[best]), prone)


def outward_deg(arm: ArrayLike, trunk: ArrayLike, outward: ArrayLike) -> float | None:
    """Return the arm's angle from the trunk in the picture, away from the body positive.

    (2,) directions in pixels: shoulder to elbow, mid-shoulder to mid-hip, other shoulder to this
    one. -180 to 180 degrees; None where a line has no length or is not finite.
    """
    lines = [np.asarray(line, dtype=np.float64) for line in (arm, trunk, outward)]
    if not all(np.isfinite(line).all() and math.hypot(*line) > 0 for line in lines):
        return None
    away = _turn_deg(lines[2], lines[1])
    return _turn_deg(lines[0], lines[1]) * (1.0 if away >= 0 else -1.0)


def elevation_deg(
    seen_deg: float, side: Side, camera: Camera, plane_deg: float, model: ViewModel
) -> float | None:
    """Return the elevation (0 to 180) of an arm seen at `seen_deg` (as of `outward_deg`).

    `plane_deg` is the plane of elevation: 0 frontal, 30 scapular. None where an arm in that
    plane could not be seen so from there.
    """
    misfit = np.abs(_seen_deg(_LEVELS_DEG, side, camera, plane_deg, model) - seen_deg)
    best = int(misfit.argmin())
    if misfit[best] > model.most_misfit_deg:
        return None
    near = slice(max(best - 1, 0), best + 2)
    weights = 1.0 / (misfit[near] + 1e-3)
    return max(float((_LEVELS_DEG[near] * weights).sum() / weights.sum()), 0.0)


def _seen_deg(
    levels_deg: NDArray[np.float64], side: Side, camera: Camera, plane_deg: float, model: ViewModel
) -> NDArray[np.float64]:
    """Return the angles at which arms at `levels_deg` (n,) are seen, outward positive."""
    sign = 1.0 if side == "left" else -1.0
    level, plane = np.radians(levels_deg), math.radians(plane_deg)
    length = model.arm_trunks
    arm = np.stack(
        [
            sign * (length * np.sin(level) * math.cos(plane) + model.joint_out_trunks),
            length * np.sin(level) * math.sin(plane),
            length * np.cos(level) + model.joint_down_trunks,
        ]
    )
    turned = 180.0 if camera.prone else 0.0
    left, down = _axes(np.array(camera.azimuth_deg + turned), np.array(camera.elevation_deg))
    trunk = _trunk_axis(model.facing(camera.prone))
    trunk_px = np.array([left @ trunk, down @ trunk])
    across, along = left @ arm, down @ arm
    cross = across * trunk_px[1] - along * trunk_px[0]
    seen = np.degrees(np.arctan2(cross, across * trunk_px[0] + along * trunk_px[1]))
    out: NDArray[np.float64] = seen * sign * (-1.0 if camera.prone else 1.0)
    return out


def _axes(
    azimuth_deg: NDArray[np.float64], elevation_deg: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the picture's axes (..., 3) in the trunk frame: to the patient's left, and down."""
    around, up = np.radians(azimuth_deg), np.radians(elevation_deg)
    to_camera = np.stack(
        [np.sin(around) * np.cos(up), np.cos(around) * np.cos(up), -np.sin(up)], axis=-1
    )
    down = np.array([0.0, 0.0, 1.0]) - to_camera[..., 2:] * to_camera
    down = down / np.linalg.norm(down, axis=-1, keepdims=True)
    return np.cross(to_camera, down), down


def _trunk_axis(facing: Facing) -> NDArray[np.float64]:
    lean = math.radians(facing.pitch_deg)
    return np.array([0.0, math.sin(lean), math.cos(lean)])


def _skews(
    azimuth_deg: NDArray[np.float64],
    elevation_deg: NDArray[np.float64],
    prone: bool,
    facing: Facing,
) -> NDArray[np.float64]:
    """Return by how much the shoulder line would look off square to the trunk, signed."""
    left, down = _axes(azimuth_deg + (180.0 if prone else 0.0), elevation_deg)
    trunk = _trunk_axis(facing)
    shoulders_px, trunk_px = (left[..., 0], down[..., 0]), (left @ trunk, down @ trunk)
    cross = shoulders_px[0] * trunk_px[1] - shoulders_px[1] * trunk_px[0]
    dot = shoulders_px[0] * trunk_px[0] + shoulders_px[1] * trunk_px[1]
    return _wrapped(np.degrees(np.arctan2(cross, dot)) - 90.0)


def _guessed(world: NDArray[np.float64], prone: bool) -> tuple[float, float]:
    """Return the camera's azimuth and elevation by the model's guess of depth, in degrees."""
    shoulders, trunk = _lines(world)
    trunk = trunk / max(float(np.linalg.norm(trunk)), 1e-9)
    left = shoulders - (shoulders @ trunk) * trunk
    left = left / max(float(np.linalg.norm(left)), 1e-9)
    forward = np.cross(trunk, left)
    turned = -1.0 if prone else 1.0
    azimuth = math.degrees(math.atan2(-turned * left[2], -turned * forward[2]))
    return azimuth, math.degrees(math.asin(float(np.clip(-trunk[2], -1.0, 1.0))))


def _lines(points: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return right-to-left shoulder and mid-shoulder to mid-hip."""
    shoulders = points[[Joint.LEFT_SHOULDER, Joint.RIGHT_SHOULDER]]
    hips = points[[Joint.LEFT_HIP, Joint.RIGHT_HIP]]
    return shoulders[0] - shoulders[1], hips.mean(axis=0) - shoulders.mean(axis=0)


def _turn_deg(line: NDArray[np.float64], onto: NDArray[np.float64]) -> float:
    cross = line[0] * onto[1] - line[1] * onto[0]
    return math.degrees(math.atan2(cross, float(line @ onto)))


def _wrapped(angle_deg: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return an angle of a line that has no direction, -90 to 90."""
    return (angle_deg + 90.0) % 180.0 - 90.0
