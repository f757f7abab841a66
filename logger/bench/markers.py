"""Measures the arm's angle by markers on rendered scenes whose angle is known."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from logger.bench.marker_scenes import Scene, render
from logger.core.events import SIDES, ArmAngle
from logger.seeing.markers.camera import CameraChoice, camera_of_focal_35mm
from logger.seeing.markers.watching import MarkerWatcher

_FOCAL_MM: Final = 28.0
_Change = Callable[[Scene, np.random.Generator], Scene]


@dataclass(frozen=True, slots=True)
class MarkerFigures:
    """What came out under one condition."""

    n: int = 0
    given: int = 0
    """How many of `n` got an angle."""
    errors_deg: tuple[float, ...] = ()
    """Measured less true, of those given."""
    reasons: tuple[str, ...] = ()
    """Why the others got none."""

    def as_json(self) -> dict[str, float | int | None]:
        """Return plain numbers; the shares are of those given, None where there are none."""
        off = np.abs(self.errors_deg)
        if not self.given:
            return {"n": self.n, "given": 0} | dict.fromkeys(_FIGURES)
        figures = (
            off.mean(),
            np.percentile(off, 95),
            off.max(),
            (off <= 2).mean(),  # noqa: PLR2004 - the figure's own name
            (off <= 5).mean(),  # noqa: PLR2004
            (off <= 10).mean(),  # noqa: PLR2004
        )
        rounded = (round(float(figure), 3) for figure in figures)
        return {"n": self.n, "given": self.given} | dict(zip(_FIGURES, rounded, strict=True))

    def line(self, name: str) -> str:
        """Return one line of a table, within 80 columns."""
        if not self.given:
            return f"{name:<16} none of {self.n} given"
        off = np.abs(self.errors_deg)
        return (
            f"{name:<16} {self.given:4d} of {self.n:4d} given   mean {off.mean():4.1f}   "
            f"p95 {np.percentile(off, 95):4.1f}   most {off.max():4.1f} deg"
        )


_FIGURES: Final = (
    "mean_abs_error_deg",
    "p95_abs_error_deg",
    "max_abs_error_deg",
    "within_2",
    "within_5",
    "within_10",
)


def _camera(scene: Scene, size: tuple[int, int], focal_mm: float = _FOCAL_MM) -> Scene:
    return replace(scene, camera=camera_of_focal_35mm(focal_mm, *size))


def _unknown_camera(scene: Scene, rng: np.random.Generator) -> Scene:
    return _camera(scene, (1280, 720), float(rng.uniform(22, 34)))


def _bent_lens(scene: Scene, rng: np.random.Generator) -> Scene:
    distortion = (float(rng.uniform(-0.15, 0.05)), 0.0, 0.0, 0.0, 0.0)
    return replace(scene, camera=replace(scene.camera, distortion=distortion))


def _dim(scene: Scene, rng: np.random.Generator) -> Scene:
    smear_px = float(rng.uniform(0, 3))
    return replace(scene, light=0.4, noise=5.0, blur_px=1.1, smear_px=smear_px, jpeg_quality=60)


def _at(size: tuple[int, int], nearest_mm: float, farthest_mm: float) -> _Change:
    def change(scene: Scene, rng: np.random.Generator) -> Scene:
        return replace(
            _camera(scene, size), distance_mm=float(rng.uniform(nearest_mm, farthest_mm))
        )

    return change


CONDITIONS: Final[Mapping[str, tuple[_Change, float | None]]] = {
    "640x480, 1.3 m": (_at((640, 480), 900, 1300), _FOCAL_MM),
    "1280x720, 2 m": (_at((1280, 720), 1300, 2000), _FOCAL_MM),
    "1920x1080, 3 m": (_at((1920, 1080), 1500, 3000), _FOCAL_MM),
    "hands about": (lambda scene, _: replace(scene, hands=True), _FOCAL_MM),
    "back": (lambda scene, _: replace(scene, trunk="back"), _FOCAL_MM),
    "dim, blurred": (_dim, _FOCAL_MM),
    "bent lens": (_bent_lens, _FOCAL_MM),
    "unknown camera": (_unknown_camera, None),
}
"""How a scene is changed, and the focal length (35 mm terms) the reader is told; None: nothing."""


def random_scene(number: int, rng: np.random.Generator) -> Scene:
    """Return a scene as a session might show it: any arm, view and folding."""
    return Scene(
        camera_of_focal_35mm(_FOCAL_MM, 1280, 720),
        distance_mm=float(rng.uniform(1300, 2000)),
        azimuth_deg=float(rng.uniform(-50, 50)),
        height_deg=float(rng.uniform(-25, 25)),
        roll_deg=float(rng.uniform(-180, 180)),
        side=SIDES[number % 2],
        elevation_deg=float(rng.uniform(0, 150)),
        plane_deg=float(rng.uniform(-10, 60)),
        twist_deg=float(rng.uniform(-40, 40)),
        fold_deg=(float(rng.uniform(25, 45)), float(rng.uniform(45, 70))),
        rough=float(rng.uniform(0, 1)),
        wearer=number,
        seed=number,
    )


def marker_scenes_error(
    count: int = 25, seed: int = 0, names: Sequence[str] = tuple(CONDITIONS)
) -> dict[str, MarkerFigures]:
    """Return the figures of `count` rendered scenes for each condition, and of "all".

    Camera up to 50 degrees aside and 25 above, the picture turned anyhow, the arm raised 0 to
    150 degrees in planes from -10 to 60, strips folded anything from perfectly to carelessly
    (`Scene.rough` 0 to 1).
    The same arguments give the same figures.
    """
    figures = {}
    for name in names:
        change, told_mm = CONDITIONS[name]
        rng = np.random.default_rng((seed, list(CONDITIONS).index(name)))
        scenes = (change(random_scene(1000 * seed + number, rng), rng) for number in range(count))
        figures[name] = figures_of(scenes, CameraChoice(focal_35mm=told_mm))
    return figures | {"all": _joined(figures.values())}


def figures_of(scenes: Iterable[Scene], told: CameraChoice) -> MarkerFigures:
    """Render each scene, read it as a recording of one picture, and compare with the truth."""
    errors, reasons = [], []
    for scene in scenes:
        sample = read_scene(scene, told)
        if sample.visible and sample.angle_deg is not None:
            errors.append(sample.angle_deg - scene.elevation_deg)
        else:
            reasons.append(sample.reason)
    return MarkerFigures(len(errors) + len(reasons), len(errors), tuple(errors), tuple(reasons))


def read_scene(scene: Scene, told: CameraChoice) -> ArmAngle:
    """Return what is read of the scene's arm."""
    watched = MarkerWatcher(told).watch([(0.0, render(scene))])
    return next(sample for sample in watched.angles if sample.side == scene.side)


def _joined(figures: Iterable[MarkerFigures]) -> MarkerFigures:
    parts = list(figures)
    return MarkerFigures(
        sum(part.n for part in parts),
        sum(part.given for part in parts),
        tuple(error for part in parts for error in part.errors_deg),
        tuple(reason for part in parts for reason in part.reasons),
    )
