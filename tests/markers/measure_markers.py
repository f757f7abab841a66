"""Measures how far the angle by markers is off, by distance, view, folding and focal length.

    python tests/markers/measure_markers.py [SCENES]

prints the tables of the documentation; it takes about half an hour for 100 scenes a row.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import partial

import cv2
import numpy as np

from logger.bench.marker_scenes import Scene
from logger.bench.markers import MarkerFigures, figures_of, random_scene
from logger.seeing.markers.camera import CameraChoice, camera_of_focal_35mm

Row = tuple[str, Callable[[Scene], Scene], float]


def rows() -> Iterator[Row]:
    """Yield (name, change of a random scene, focal length in 35 mm terms that is told)."""
    for size, distances_mm in (
        ((640, 480), (800, 1000, 1300, 1600, 2000)),
        ((1280, 720), (1000, 1500, 2000, 2500, 3000)),
        ((1920, 1080), (1500, 2000, 3000, 4000, 5000)),
    ):
        for distance_mm in distances_mm:
            yield f"{size[0]}x{size[1]} {distance_mm / 1000} m", partial(at, size, distance_mm), 28
    for low, high in ((0, 15), (15, 30), (30, 45), (45, 60), (60, 70)):
        yield f"{low} to {high} deg aside", partial(aside, low, high), 28
    for rough in (0.0, 0.5, 1.0, 1.5):
        yield f"rough {rough}", partial(folded, rough), 28
    for told in (20, 22, 25, 28, 31, 34, 40):
        yield f"told {told} mm, is 28", partial(folded, 0.0), told


def at(size: tuple[int, int], distance_mm: float, scene: Scene) -> Scene:
    return replace(scene, camera=camera_of_focal_35mm(28, *size), distance_mm=distance_mm)


def aside(low: float, high: float, scene: Scene) -> Scene:
    share = abs(scene.azimuth_deg) / 50
    azimuth_deg = float(np.copysign(low + (high - low) * share, scene.azimuth_deg))
    return replace(scene, azimuth_deg=azimuth_deg, height_deg=0.0)


def folded(rough: float, scene: Scene) -> Scene:
    return replace(scene, rough=rough)


def measured(row: Row, count: int) -> MarkerFigures:
    cv2.setNumThreads(1)
    _, change, told_mm = row
    rng = np.random.default_rng(11)
    scenes = (change(random_scene(5000 + number, rng)) for number in range(count))
    return figures_of(scenes, CameraChoice(focal_35mm=told_mm))


def main(arguments: Sequence[str]) -> None:
    """Print the tables."""
    count = int(arguments[0]) if arguments else 100
    wanted = list(rows())
    with ProcessPoolExecutor(2) as pool:
        for (name, _, _), figures in zip(
            wanted, pool.map(partial(measured, count=count), wanted), strict=True
        ):
            sys.stdout.write(figures.line(name) + "\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main(sys.argv[1:])
