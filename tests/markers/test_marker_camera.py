"""The camera: focal lengths by the trade's definitions, and what a calibration file may hold."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.core.errors import UsageError
from logger.seeing.markers.camera import (
    Camera,
    CameraChoice,
    camera_of_focal_35mm,
    load_calibration,
)
from logger.seeing.markers.using import camera_choice

GOOD: dict[str, object] = {
    "format": 1,
    "width": 1920,
    "height": 1080,
    "focal_px": [1500.0, 1501],
    "centre_px": [960.0, 540.0],
    "distortion": [0.1, -0.2, 0.0, 0.0, 0.0],
    "focal_sd_px": 2.0,
    "rms_px": 0.3,
    "views": 30,
}


def written(tmp_path: Path, changes: dict[str, object]) -> Path:
    path = tmp_path / "camera.json"
    path.write_text(json.dumps(GOOD | changes), encoding="utf-8")
    return path


@given(st.floats(10, 200), st.integers(200, 5000), st.integers(200, 5000))
def test_focal_length_keeps_the_diagonal_field_of_view(focal: float, w: int, h: int) -> None:
    """35 mm equivalent: the same field of view along the diagonal of 36 x 24 mm (from memory)."""
    fx, fy = camera_of_focal_35mm(focal, w, h).focal_px
    assert fx == fy
    wanted = math.degrees(2 * math.atan(math.hypot(36, 24) / 2 / focal))
    assert math.degrees(2 * math.atan(math.hypot(w, h) / 2 / fx)) == pytest.approx(wanted)


def test_standard_lens_on_its_own_frame() -> None:
    """A 36 x 24 mm frame of 100 pixels a millimetre: 50 mm are 5000 pixels."""
    assert camera_of_focal_35mm(50, 3600, 2400).focal_px[0] == pytest.approx(5000)


@given(st.sampled_from([0.25, 0.5, 2 / 3, 1.5, 2.0]))
def test_smaller_picture_sees_the_same_directions(scale: float) -> None:
    camera = Camera(1920, 1080, (1500, 1500), (930, 550))
    small = camera.sized(round(1920 * scale), round(1080 * scale))
    for edge in (-0.5, 1919.5):
        there = (edge + 0.5) * scale - 0.5
        before = (edge - camera.centre_px[0]) / camera.focal_px[0]
        after = (there - small.centre_px[0]) / small.focal_px[0]
        assert after == pytest.approx(before)


@pytest.mark.parametrize("size", [(1080, 1920), (640, 480), (1920, 1088)])
def test_picture_of_another_shape_is_refused(size: tuple[int, int]) -> None:
    with pytest.raises(UsageError, match=r"1920 x 1080 .* does not fit"):
        Camera(1920, 1080, (1500, 1500), (959.5, 539.5)).sized(*size)


def test_calibration_is_read(tmp_path: Path) -> None:
    camera = load_calibration(written(tmp_path, {}))
    assert camera.focal_px == (1500, 1501)
    assert camera.distortion == (0.1, -0.2, 0, 0, 0)
    assert camera.focal_doubt == 0


@pytest.mark.parametrize(
    ("changes", "named"),
    [
        ({"focal_px": [1500.0]}, "focal_px"),
        ({"focal_px": [-1.0, 1.0]}, "focal_px"),
        ({"width": 0}, "width"),
        ({"width": "wide"}, "width"),
        ({"distortion": [0.0, 0.0, 0.0, 0.0, float("nan")]}, "distortion"),
        ({"format": 2}, "format"),
        ({"more": 1}, "more"),
    ],
)
def test_bad_calibration_names_file_and_key(
    tmp_path: Path, changes: dict[str, object], named: str
) -> None:
    path = written(tmp_path, changes)
    with pytest.raises(UsageError) as error:
        load_calibration(path)
    assert str(path) in str(error.value)
    assert named in str(error.value)
    assert "calibrate" in str(error.value)


@pytest.mark.parametrize("content", [b"", b"no json", b"[1]", b"\xff\xfe\x00", None])
def test_what_is_no_calibration_is_one_sentence(tmp_path: Path, content: bytes | None) -> None:
    path = tmp_path / "camera.json"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(UsageError, match=r"camera\.json"):
        load_calibration(path)


def test_two_cameras_are_one_too_many(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="one of them"):
        camera_choice(written(tmp_path, {}), 28)


def test_what_is_not_said_is_in_doubt() -> None:
    doubts = [
        choice.camera(1280, 720).focal_doubt
        for choice in (
            CameraChoice(),
            CameraChoice(focal_35mm=28),
            CameraChoice(Camera(1280, 720, (900, 900), (640, 360))),
        )
    ]
    assert doubts[0] > doubts[1] > doubts[2] == 0
