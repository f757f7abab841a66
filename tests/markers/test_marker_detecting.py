"""Finding markers: corners against where the scene's own geometry puts them."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from logger.bench.marker_scenes import Scene, project, render, worn_facets
from logger.seeing.markers.camera import camera_of_focal_35mm
from logger.seeing.markers.detecting import DetectSettings, MarkerDetector
from logger.seeing.markers.strips import DICTIONARY, Vector

DETECTOR = MarkerDetector()


def true_corners(scene: Scene) -> dict[int, Vector]:
    """Return where the corners of the markers that face the camera lie, by id, in pixels."""
    return {
        number: project(facet.corners_mm(number), scene.camera)
        for facet in worn_facets(scene)
        for number in facet.strip.ids
        if facet.strip.place(number).facet == facet.number and facet.facing > 0.35
    }


def flat(number: int, side_px: int, room: int = 60) -> NDArray[np.uint8]:
    """Return a bare marker on grey, its black from `room` to `room + side_px`."""
    dictionary = cv2.aruco.getPredefinedDictionary(DICTIONARY)
    picture = np.full((side_px + 2 * room,) * 2, 120, np.uint8)
    rim = side_px // 6
    picture[room - rim : room + side_px + rim, room - rim : room + side_px + rim] = 230
    marker = np.asarray(cv2.aruco.generateImageMarker(dictionary, number, side_px))
    picture[room : room + side_px, room : room + side_px] = np.where(marker > 0, 230, 30)
    return np.stack([picture] * 3, axis=-1)


@pytest.mark.parametrize(
    ("size", "distance_mm"), [((640, 480), 1000), ((1280, 720), 1800), ((1920, 1080), 2500)]
)
def test_corners_lie_where_the_scene_has_them(size: tuple[int, int], distance_mm: float) -> None:
    errors = []
    wanted = 0
    for number in range(6):
        scene = Scene(
            camera_of_focal_35mm(28, *size),
            distance_mm,
            azimuth_deg=12.0 * number - 30,
            roll_deg=50.0 * number,
            elevation_deg=20.0 * number,
            plane_deg=30,
            wearer=number,
        )
        truth = true_corners(scene)
        found = DETECTOR.find(render(scene)).corners_px
        wanted += len(truth)
        errors += [np.abs(found[n] - truth[n]).max() for n in found if n in truth]
    assert len(errors) > 0.75 * wanted
    assert np.median(errors) < 0.15
    assert np.percentile(errors, 95) < 0.5


@pytest.mark.parametrize("side_px", [18, 24, 36, 60, 120])
def test_sharp_marker_has_its_corners_between_pixels(side_px: int) -> None:
    """Pixels 60 to 60 + n - 1 are black: the edges lie half a pixel outside their middles."""
    found = DETECTOR.find(flat(20, side_px)).corners_px
    low, high = 59.5, 59.5 + side_px
    square = [(low, low), (high, low), (high, high), (low, high)]
    assert found[20] == pytest.approx(np.array(square), abs=0.1)


def test_part_of_a_picture_gives_the_same_corners() -> None:
    picture = flat(33, 60)
    whole = DETECTOR.find(picture).corners_px[33]
    part = DETECTOR.find(picture, (30, 25, 150, 160)).corners_px[33]
    assert part == pytest.approx(whole, abs=0.02)


def test_unknown_and_doubled_markers_are_told_apart_from_ours() -> None:
    picture = np.concatenate([flat(3, 60), flat(20, 60), flat(20, 60), flat(21, 60)], axis=1)
    found = DETECTOR.find(picture)
    assert found.unknown == {3}
    assert found.doubled == {20}
    assert set(found.corners_px) == {21}


def test_marker_with_a_finger_on_it_is_left_out_or_right() -> None:
    """Whatever is covered: a marker that is given has its corners where they are."""
    rng = np.random.default_rng(0)
    given = 0
    for _ in range(60):
        picture = flat(35, 60)
        x, y = rng.integers(40, 120, 2)
        cv2.circle(picture, (int(x), int(y)), int(rng.integers(4, 20)), (150, 120, 100), -1)
        found = DETECTOR.find(picture).corners_px
        square = np.array([(59.5, 59.5), (119.5, 59.5), (119.5, 119.5), (59.5, 119.5)])
        for corners in found.values():
            given += 1
            assert corners == pytest.approx(square, abs=1.0)
    assert given > 10


def test_too_small_is_not_read() -> None:
    assert DETECTOR.find(flat(20, 24)).corners_px
    strict = MarkerDetector(DetectSettings(least_side_px=30))
    assert not strict.find(flat(20, 24)).corners_px


@pytest.mark.parametrize("shape", [(1, 1, 3), (5, 400, 3), (480, 640, 3)])
def test_empty_pictures_hold_nothing(shape: tuple[int, int, int]) -> None:
    noise = np.random.default_rng(1).integers(0, 255, shape, dtype=np.uint8)
    for picture in (noise, np.zeros(shape, np.uint8)):
        assert not DETECTOR.find(picture).corners_px
