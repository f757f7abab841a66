"""Renders strips of markers worn by a rough body, before a camera, with a known arm angle.

Drawn with a model of its own: every facet is a plane in space, and every pixel of the picture
looks through the lens at the printed paper. It shares with the reader only the print's layout.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from typing import Any, Final, NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.core.events import Side
from logger.seeing.markers.camera import Camera
from logger.seeing.markers.strips import (
    ARM_STRIPS,
    DICTIONARY,
    STRIPS,
    Strip,
    StripName,
    Vector,
    folded,
)

Picture = NDArray[np.uint8]

_PRINT_PX_PER_MM: Final = 6
_SUPERSAMPLING: Final = 4
_SHOULDER_MM: Final = (185.0, 45.0, -30.0)
"""The left shoulder from the middle of the chest strip: outward, up, forward."""
_ALONG_ARM_MM: Final = 175.0
"""From the shoulder to the middle of the arm's strip."""
_ARM_RADIUS_MM: Final = 47.0


@dataclass(frozen=True, slots=True)
class Scene:
    """What is before the camera, and how it is filmed."""

    camera: Camera
    """The true one."""
    distance_mm: float = 2000.0
    azimuth_deg: float = 0.0
    """How far the camera stands to the side of square on to the trunk."""
    height_deg: float = 0.0
    """How far it stands towards the head."""
    roll_deg: float = 0.0
    """How far the picture is turned."""
    side: Side = "right"
    elevation_deg: float = 55.0
    """From the trunk's long axis: the truth that is to be measured."""
    plane_deg: float = 0.0
    """0 straight out to the side, 30 the scapular plane, 90 straight forward."""
    twist_deg: float = 0.0
    """How far the arm's strip sits round the arm from its outer side."""
    trunk: StripName = "chest"
    arm_strip: StripName | None = None
    """The strip on the arm; None for the one that belongs there."""
    fold_deg: tuple[float, float] = (35.0, 57.0)
    """Trunk and arm."""
    slope_deg: float = 0.0
    """How far the trunk strip's arrow leans towards the camera from the trunk's long axis, as on a
    breastbone, whose upper end lies deeper."""
    skew_deg: float = 0.0
    """How far the arm strip's arrow is turned off the arm's long axis."""
    rough: float = 1.0
    """How carelessly the strips are folded: 1 is a degree of twist in each facet and 0.7 mm in
    the place of each fold, one standard deviation."""
    noise: float = 3.0
    """Of the sensor, of 255, one standard deviation."""
    blur_px: float = 0.7
    smear_px: float = 0.0
    """Motion blur."""
    jpeg_quality: int | None = 80
    light: float = 1.0
    hands: bool = False
    """Whether a clinician's forearms and hands lie over the shoulder."""
    wearer: int = 0
    """Which body, room and folding of the strips; any number."""
    seed: int = 0
    """Which noise; any number."""


@dataclass(frozen=True, slots=True)
class Facet:
    """A piece of printed paper in the camera's axes."""

    strip: Strip
    number: int
    centre: Vector
    across: Vector
    along: Vector

    @property
    def facing(self) -> float:
        """Cosine of the angle at which it is seen; below 0 from behind."""
        normal = np.cross(self.across, self.along)
        return float(-normal @ self.centre / np.linalg.norm(self.centre) / np.linalg.norm(normal))

    def corners_mm(self, number: int) -> Vector:
        """Return the (4, 3) corners of one of its markers in the camera's axes."""
        flat = self.strip.corners_mm(number)
        corners: Vector = self.centre + flat[:, :1] * self.across + flat[:, 1:] * self.along
        return corners

    def to_plane(self) -> Vector:
        """Return the (3, 3) map from paper (mm, right and up) to the plane before the camera."""
        return np.stack([self.across, self.along, self.centre], axis=1)


def trunk_in_camera(scene: Scene) -> tuple[Vector, Vector]:
    """Return (3, 3) trunk axes (left of the patient, head, forward) and (3,) the chest's place."""
    back = scene.trunk == "back"
    # Square on: what is right in the picture is the patient's left, seen from the front.
    square = np.diag([-1.0, -1.0, 1.0]) if back else np.diag([1.0, -1.0, -1.0])
    turn = _about(2, scene.roll_deg) @ _about(0, scene.height_deg) @ _about(1, scene.azimuth_deg)
    return turn @ square, np.array([0.0, 0.0, scene.distance_mm])


def arm_direction(scene: Scene) -> Vector:
    """Return the (3,) direction from shoulder to elbow in the trunk's axes."""
    elevation, plane = np.radians([scene.elevation_deg, scene.plane_deg])
    out = 1.0 if scene.side == "left" else -1.0
    return np.array(
        [
            out * np.sin(elevation) * np.cos(plane),
            -np.cos(elevation),
            np.sin(elevation) * np.sin(plane),
        ]
    )


def render(scene: Scene) -> Picture:
    """Return the (h, w, 3) uint8 RGB picture of a scene; the same scene gives the same bytes."""
    room = np.random.default_rng((scene.wearer, 1))
    light = _background(scene, room)
    _draw_body(light, scene, room)
    for facet in sorted(worn_facets(scene), key=lambda f: -float(np.linalg.norm(f.centre))):
        if facet.facing > 0.05:  # noqa: PLR2004 - nothing can be read of thinner ones
            _draw_facet(light, facet, scene)
    if scene.hands:
        _draw_hands(light, scene, room)
    return _filmed(light, scene, np.random.default_rng((scene.seed, 2)))


def _filmed(light: NDArray[np.float32], scene: Scene, rng: np.random.Generator) -> Picture:
    if scene.smear_px > 0:
        length = max(round(scene.smear_px), 1)
        turn = cv2.getRotationMatrix2D((length / 2, length / 2), float(rng.uniform(0, 180)), 1)
        line = np.zeros((length + 1, length + 1), np.float32)
        line[length // 2] = 1
        kernel = np.asarray(cv2.warpAffine(line, turn, (length + 1, length + 1)))
        light = _grey(cv2.filter2D(light, -1, kernel / kernel.sum()))
    if scene.blur_px > 0:
        light = _grey(cv2.GaussianBlur(light, (0, 0), scene.blur_px))
    noisy = light * scene.light + rng.normal(0, scene.noise, light.shape)
    tint = np.array([1.0, 0.96, 0.9])
    rgb: Picture = (noisy[..., None] * tint).clip(0, 255).astype(np.uint8)
    if scene.jpeg_quality is None:
        return rgb
    _, packed = cv2.imencode(".jpg", rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, scene.jpeg_quality])
    unpacked = np.asarray(cv2.imdecode(packed, cv2.IMREAD_COLOR), dtype=np.uint8)
    return np.ascontiguousarray(unpacked[..., ::-1])


def _grey(light: Any) -> NDArray[np.float32]:
    return np.asarray(light, dtype=np.float32)


def _about(axis: int, angle_deg: float) -> Vector:
    turn = np.zeros(3)
    turn[axis] = np.radians(angle_deg)
    return np.asarray(cv2.Rodrigues(turn)[0], dtype=np.float64)


def worn_facets(scene: Scene) -> Iterator[Facet]:
    """Yield the pieces of paper in a scene, also those seen from behind."""
    rng = np.random.default_rng((scene.wearer, 3))
    trunk, chest = trunk_in_camera(scene)
    on_trunk = trunk if scene.trunk == "chest" else trunk @ np.diag([-1.0, 1.0, -1.0])
    on_trunk = on_trunk @ _about(0, -scene.slope_deg)
    worn = _Wearing(STRIPS[scene.trunk], on_trunk, chest, scene.fold_deg[0])
    yield from _folded(worn, scene, rng)
    arm = STRIPS[scene.arm_strip or ARM_STRIPS[scene.side]]
    axes = _arm_axes(scene)
    along = arm_direction(scene)
    place = _shoulder(scene) + along * _ALONG_ARM_MM + axes[:, 2] * _ARM_RADIUS_MM
    skewed = trunk @ axes @ _about(2, scene.skew_deg)
    worn = _Wearing(arm, skewed, trunk @ place + chest, scene.fold_deg[1])
    yield from _folded(worn, scene, rng)


def _shoulder(scene: Scene) -> Vector:
    """Return the shoulder in the trunk's axes, from the trunk's strip."""
    out, up, forward = _SHOULDER_MM
    depth = 200.0 if scene.trunk == "back" else 0.0
    return np.array([out if scene.side == "left" else -out, up, forward + depth])


def _arm_axes(scene: Scene) -> Vector:
    """Return the (3, 3) axes of the arm's strip in the trunk's: x, y to the shoulder, z out."""
    up = -arm_direction(scene)
    front = np.array([0.0, 0.0, -1.0 if scene.trunk == "back" else 1.0])
    out = np.array([1.0 if scene.side == "left" else -1.0, 0.0, 0.0])
    # Between the arm's outer side and its front, as a strip that is to be filmed is put on.
    normal = out + front
    normal -= (normal @ up) * up
    normal /= np.linalg.norm(normal)
    axes = np.stack([np.cross(up, normal), up, normal], axis=1)
    return axes @ _about(1, scene.twist_deg)


class _Wearing(NamedTuple):
    """A strip in the camera's axes, before it is folded."""

    strip: Strip
    axes: Vector
    place: Vector
    fold_deg: float


def _folded(wearing: _Wearing, scene: Scene, rng: np.random.Generator) -> Iterator[Facet]:
    strip, axes, place, fold_deg = wearing
    folds = np.radians(fold_deg + scene.rough * rng.normal(0, 4, strip.facets - 1))
    shape = folded(strip, folds)
    for number in range(strip.facets):
        right = shape.rightward[number]
        normal = np.cross(right, (0.0, 1.0, 0.0))
        own = np.stack([right, (0.0, 1.0, 0.0), normal], axis=1)
        slack = np.asarray(cv2.Rodrigues(np.radians(scene.rough * rng.normal(0, 1, 3)))[0])
        shift = scene.rough * rng.normal(0, 0.7, 3)
        turned = axes @ own @ slack
        centre = axes @ (shape.centres_mm[number] + shift) + place
        yield Facet(strip, number, centre, turned[:, 0], turned[:, 1])


@cache
def _print(name: StripName, facet: int) -> NDArray[np.float32]:
    """Return the print of one facet, grey, at `_PRINT_PX_PER_MM`."""
    strip = STRIPS[name]
    fine = _PRINT_PX_PER_MM
    paper = np.full(
        (round(strip.rows * strip.pitch_mm * fine), round(strip.pitch_mm * fine)), 235.0
    )
    dictionary = cv2.aruco.getPredefinedDictionary(DICTIONARY)
    size = round(strip.marker_mm * fine)
    rim = round((strip.pitch_mm - strip.marker_mm) / 2 * fine)
    for row in range(strip.rows):
        number = strip.first_id + row * strip.facets + facet
        marker = cv2.aruco.generateImageMarker(dictionary, number, size)
        top = round(row * strip.pitch_mm * fine) + rim
        paper[top : top + size, rim : rim + size] = np.where(np.asarray(marker) > 0, 235.0, 28.0)
    return paper.astype(np.float32)


def _draw_facet(light: NDArray[np.float32], facet: Facet, scene: Scene) -> None:
    """Look through each pixel (four by four rays of it) at the paper."""
    strip, camera = facet.strip, scene.camera
    half_w, half_h = strip.pitch_mm / 2, strip.rows * strip.pitch_mm / 2
    edge = np.array([(-half_w, half_h), (half_w, half_h), (half_w, -half_h), (-half_w, -half_h)])
    points = facet.centre + edge[:, :1] * facet.across + edge[:, 1:] * facet.along
    corners = project(points, camera)
    low = np.floor(corners.min(axis=0) - 1).astype(int).clip(0)
    high = np.minimum(np.ceil(corners.max(axis=0) + 2).astype(int), (camera.width, camera.height))
    if (high <= low).any():
        return
    fine = _SUPERSAMPLING
    x = np.arange(low[0] * fine, high[0] * fine) / fine + (0.5 / fine - 0.5)
    y = np.arange(low[1] * fine, high[1] * fine) / fine + (0.5 / fine - 0.5)
    pixels = np.stack(np.meshgrid(x, y), axis=-1)
    rays = cv2.undistortPoints(pixels.reshape(-1, 1, 2), camera.matrix, camera.lens)
    rays = np.concatenate([rays.reshape(-1, 2), np.ones((rays.shape[0], 1))], axis=1)
    paper = rays @ np.linalg.inv(facet.to_plane()).T
    paper = (paper[:, :2] / paper[:, 2:]).reshape(*pixels.shape)
    print_px = np.stack(
        [
            (paper[..., 0] + half_w) * _PRINT_PX_PER_MM - 0.5,
            (half_h - paper[..., 1]) * _PRINT_PX_PER_MM - 0.5,
        ],
        axis=-1,
    ).astype(np.float32)
    shade = 0.45 + 0.55 * facet.facing
    ink = cv2.remap(_print(strip.name, facet.number), print_px, None, cv2.INTER_LINEAR) * shade
    inside = (np.abs(paper[..., 0]) <= half_w) & (np.abs(paper[..., 1]) <= half_h)
    size = high - low
    cover = _shrunk(inside.astype(np.float32), size)
    seen = _shrunk(np.where(inside, ink, 0).astype(np.float32), size)
    part = light[low[1] : high[1], low[0] : high[0]]
    part *= 1 - cover
    part += seen


def _shrunk(large: NDArray[np.float32], size: NDArray[np.int64]) -> NDArray[np.float32]:
    shape = int(size[1]), _SUPERSAMPLING, int(size[0]), _SUPERSAMPLING
    small: NDArray[np.float32] = large.reshape(shape).mean(axis=(1, 3), dtype=np.float32)
    return small


def project(points: Vector, camera: Camera) -> Vector:
    """Return the (n, 2) pixels at which the camera sees (n, 3) points."""
    pixels, _ = cv2.projectPoints(
        points.reshape(-1, 1, 3), np.zeros(3), np.zeros(3), camera.matrix, camera.lens
    )
    return np.asarray(pixels, dtype=np.float64).reshape(-1, 2)


def _background(scene: Scene, rng: np.random.Generator) -> NDArray[np.float32]:
    """Return a wall with things on it, unevenly lit."""
    camera = scene.camera
    coarse = rng.uniform(60, 200, (7, 9)).astype(np.float32)
    size = camera.width, camera.height
    light = _grey(cv2.resize(coarse, size, interpolation=cv2.INTER_CUBIC))
    for _ in range(25):
        x, y = int(rng.integers(0, camera.width)), int(rng.integers(0, camera.height))
        w, h = rng.integers(camera.width // 40, camera.width // 6, 2).tolist()
        cv2.rectangle(light, (x, y), (x + w, y + h), float(rng.uniform(20, 230)), -1)
    return light


def _draw_body(light: NDArray[np.float32], scene: Scene, rng: np.random.Generator) -> None:
    trunk, chest = trunk_in_camera(scene)
    shoulder = _shoulder(scene)
    forward = -110.0 if scene.trunk == "chest" else 110.0
    middle = np.array([(0, 60, forward), (0, -430, forward)], dtype=np.float64)
    arm = np.stack([shoulder, shoulder + arm_direction(scene) * 320])
    for line, width_mm in ((middle, 340.0), (arm, 90.0)):
        ends = project(line @ trunk.T + chest, scene.camera)
        thick = round(width_mm * scene.camera.focal_px[0] / scene.distance_mm)
        _draw_limb(light, ends, thick, rng)


def _draw_limb(
    light: NDArray[np.float32], ends: Vector, thick: int, rng: np.random.Generator
) -> None:
    mask = np.zeros(light.shape, np.uint8)
    (x0, y0), (x1, y1) = ends.round().astype(int).tolist()
    cv2.line(mask, (x0, y0), (x1, y1), 255, max(thick, 1))
    weave = rng.normal(0, 9, (light.shape[0] // 3 + 1, light.shape[1] // 3 + 1)).astype(np.float32)
    skin = cv2.resize(weave, light.shape[::-1]) + float(rng.uniform(110, 190))
    np.copyto(light, skin, where=mask > 0)


def _draw_hands(light: NDArray[np.float32], scene: Scene, rng: np.random.Generator) -> None:
    """Lay two forearms from the picture's edge onto the shoulder and the upper arm."""
    trunk, chest = trunk_in_camera(scene)
    shoulder, along = _shoulder(scene), arm_direction(scene)
    scale = scene.camera.focal_px[0] / scene.distance_mm
    for reach_mm in (0.0, float(rng.uniform(60, 110))):
        point = trunk @ (shoulder + along * reach_mm + (0, 0, 60)) + chest
        (hand,) = project(point[None], scene.camera)
        turn = rng.uniform(0, 2 * np.pi)
        far = hand + 900 * scale * np.array([np.cos(turn), np.sin(turn)])
        _draw_limb(light, np.stack([hand, far]), round(85 * scale), rng)


def still(scene: Scene, seed: int) -> Scene:
    """Return the same scene with other noise, as the next picture of a recording has it."""
    return replace(scene, seed=seed)
