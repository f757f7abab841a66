"""Calibrating from pictures of the board, drawn through a known lens."""

from __future__ import annotations

import json
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import av
import cv2
import numpy as np
import pytest
from click.testing import CliRunner
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from logger.cli import main
from logger.core.errors import RecordingError, UsageError
from logger.seeing.markers.board import CELLS_A_SQUARE, SQUARE_MM, SQUARES, board_cells
from logger.seeing.markers.calibrating import calibrate
from logger.seeing.markers.camera import Camera, load_calibration

LENS = Camera(640, 480, (560.0, 556.0), (327.0, 236.0), (-0.12, 0.05, 0.0, 0.0, 0.0))
FLAT = Camera(640, 480, (560.0, 560.0), (319.5, 239.5))


FINE = 2  # rays a pixel, across and down


@cache
def rays_of(camera: Camera) -> NDArray[np.float64]:
    """Return (n, 3) directions in which the camera's pixels look, row by row."""
    x = np.arange(camera.width * FINE) / FINE + 0.5 / FINE - 0.5
    y = np.arange(camera.height * FINE) / FINE + 0.5 / FINE - 0.5
    pixels = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 1, 2)
    rays = cv2.undistortPoints(pixels, camera.matrix, camera.lens).reshape(-1, 2)
    return np.concatenate([rays, np.ones((len(rays), 1))], axis=1)


def board_picture(
    camera: Camera, turn: Rotation, place_mm: NDArray[np.float64]
) -> NDArray[np.uint8]:
    """Look through every pixel of the camera at the board (its middle at `place_mm`)."""
    matrix = turn.as_matrix()
    plane = np.stack([matrix[:, 0], matrix[:, 1], place_mm], axis=1)
    there = rays_of(camera) @ np.linalg.inv(plane).T
    cell = SQUARE_MM / CELLS_A_SQUARE
    half = np.array(SQUARES) * CELLS_A_SQUARE / 2
    cells = there[:, :2] / there[:, 2:] / cell + half
    paper = np.pad(np.where(board_cells(), 30, 225).astype(np.uint8), 4, constant_values=225)
    inside = ((cells > -4) & (cells < 2 * half + 4)).all(axis=1)
    column, row = np.clip(np.floor(cells + 4).astype(int), 0, np.array(paper.shape[::-1]) - 1).T
    seen = np.where(inside, paper[row, column], 120)
    grey = seen.reshape(camera.height, FINE, camera.width, FINE).mean(axis=(1, 3))
    noise = np.random.default_rng(0).normal(0, 2, grey.shape)
    return np.stack([(grey + noise).clip(0, 255).astype(np.uint8)] * 3, axis=-1)


def filmed(
    camera: Camera, count: int, tilt_deg: float, reach: float
) -> Iterator[NDArray[np.uint8]]:
    """Yield views of the board: tipped by up to `tilt_deg`, over `reach` of the picture."""
    rng = np.random.default_rng(4)
    for _ in range(count):
        turn = Rotation.from_euler(
            "zxy", rng.uniform(-1, 1, 3) * (20, tilt_deg, tilt_deg), degrees=True
        )
        away = rng.uniform(420, 700)
        across, down = rng.uniform(-reach, reach, 2) * (0.5, 0.38) * away
        yield board_picture(camera, turn, np.array([across, down, away]))


def timed(pictures: Iterator[NDArray[np.uint8]]) -> Iterator[tuple[float, NDArray[np.uint8]]]:
    return ((0.5 * number, picture) for number, picture in enumerate(pictures))


@pytest.mark.parametrize("lens", [LENS, FLAT])
def test_lens_comes_out_as_it_was_drawn(lens: Camera) -> None:
    made = calibrate(timed(filmed(lens, 18, 40, 0.6)))
    camera = made.camera()
    assert camera.focal_px == pytest.approx(lens.focal_px, rel=0.01)
    assert camera.centre_px == pytest.approx(lens.centre_px, abs=5)
    # What matters is where it says that pixels look; the corners of the picture included.
    grid = np.stack(np.meshgrid(np.linspace(20, 620, 7), np.linspace(20, 460, 5)), axis=-1)
    pixels = grid.reshape(-1, 1, 2)
    one, other = (
        np.asarray(cv2.undistortPoints(pixels, c.matrix, c.lens)).reshape(-1, 2) * 560
        for c in (camera, lens)
    )
    assert np.abs(one - other).max() < 8
    assert np.sqrt(np.mean((one - other) ** 2)) < 3
    assert made.rms_px < 0.4
    assert abs(made.focal_px[0] - lens.focal_px[0]) < 4 * made.focal_sd_px + 1


def test_board_seen_too_seldom_is_refused() -> None:
    with pytest.raises(RecordingError, match="seen in 5 different places"):
        calibrate(timed(filmed(FLAT, 5, 40, 0.6)))
    still = next(filmed(FLAT, 1, 40, 0.6))
    with pytest.raises(RecordingError, match="seen in 1 different places"):
        calibrate(timed(iter([still] * 20)))
    with pytest.raises(RecordingError, match="seen in 0 different places"):
        calibrate(iter([]))


def test_board_seen_in_the_middle_only_is_refused() -> None:
    pictures = (
        board_picture(
            FLAT,
            Rotation.from_euler("xyz", (7 * n % 60 - 30, 5 * n, 3 * n), degrees=True),
            np.array([0, 0, 1100.0]),
        )
        for n in range(13)
    )
    with pytest.raises(RecordingError, match="of the picture"):
        calibrate(timed(pictures))


def test_board_never_tipped_is_refused() -> None:
    """Square on, a longer lens farther away gives the same pictures (Zhang 2000, degenerate)."""
    with pytest.raises(RecordingError, match="tipped well in only 0 views"):
        calibrate(timed(filmed(FLAT, 13, 0, 0.5)))


def test_command_writes_a_file_that_read_takes(tmp_path: Path) -> None:
    film = tmp_path / "board.mp4"
    with av.open(str(film), "w") as container:
        stream = container.add_stream("libx264", rate=2)
        stream.width, stream.height, stream.pix_fmt = 640, 480, "yuv420p"
        for picture in filmed(FLAT, 14, 40, 0.6):
            container.mux(stream.encode(av.VideoFrame.from_ndarray(picture, format="rgb24")))
        container.mux(stream.encode(None))
    out = tmp_path / "camera.json"
    result = CliRunner().invoke(main, ["calibrate", str(film), "--out", str(out)])
    assert result.exit_code == 0, result.output
    assert load_calibration(out).focal_px == pytest.approx((560, 560), rel=0.01)
    assert json.loads(out.read_text(encoding="utf-8"))["width"] == 640
    assert "focal length 56" in result.output or "focal length 55" in result.output
    wrong = CliRunner().invoke(main, ["calibrate", str(film), "--out", str(tmp_path / "c.txt")])
    assert wrong.exit_code == UsageError.exit_code
    assert "must end in .json" in wrong.output
