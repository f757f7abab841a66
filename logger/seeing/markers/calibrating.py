"""Calibrates a camera from a recording of the printed board."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.core.errors import RecordingError
from logger.seeing.looks import paced
from logger.seeing.markers.board import SQUARES, charuco_board
from logger.seeing.markers.camera import CalibrationFile

_HINT: Final = (
    "film the printed board for half a minute, near and far, in every corner of the picture, "
    "tipped to all sides, and hold it still now and then"
)
_CORNERS: Final = (SQUARES[0] - 1) * (SQUARES[1] - 1)


@dataclass(frozen=True, slots=True)
class CalibrationSettings:
    """What makes a calibration that can be trusted."""

    rate_hz: float = 4.0
    least_corners: int = _CORNERS // 2
    least_moved: float = 0.02
    """Views between which the board moved less, as a part of the picture's width, are one."""
    most_views: int = 60
    least_views: int = 12
    least_spread: float = 0.6
    """The part of the picture's width and height over which corners must have been seen."""
    most_rms_px: float = 1.0
    most_focal_sd: float = 0.01
    """How uncertain the focal length may stay, as a part of it."""
    least_tip_deg: float = 15.0
    least_tipped: int = 4
    """Views in which the board must be tipped by at least that much."""


@dataclass(frozen=True, slots=True)
class _View:
    board_mm: NDArray[np.float32]
    corners_px: NDArray[np.float32]


def calibrate(
    frames: Iterable[tuple[float, NDArray[np.uint8]]],
    settings: CalibrationSettings = CalibrationSettings(),
) -> CalibrationFile:
    """Return the calibration of the camera that filmed `frames` of (time_s, (h, w, 3) RGB).

    Raises:
        RecordingError: if the board was not seen often, widely or tipped enough; says which.

    """
    size: tuple[int, int] | None = None
    views: list[_View] = []
    detector = cv2.aruco.CharucoDetector(charuco_board())
    for _, rgb in paced(frames, settings.rate_hz):
        size = rgb.shape[1], rgb.shape[0]
        view = _seen(detector, rgb, settings)
        if view is not None and (not views or _moved(view, views[-1]) > settings.least_moved):
            views.append(view)
    if size is None or len(views) < settings.least_views:
        raise RecordingError(
            f"The calibration board was seen in {len(views)} different places, "
            f"{settings.least_views} are needed: {_HINT}."
        )
    step = -(-len(views) // settings.most_views)
    return _solved(views[::step], size, settings)


def _seen(
    detector: cv2.aruco.CharucoDetector, rgb: NDArray[np.uint8], settings: CalibrationSettings
) -> _View | None:
    corners, numbers, _, _ = detector.detectBoard(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY))
    if numbers is None or len(numbers) < settings.least_corners:
        return None
    board_mm, corners_px = charuco_board().matchImagePoints(list(corners), numbers)
    return _View(
        np.asarray(board_mm, dtype=np.float32).reshape(-1, 3),
        np.asarray(corners_px, dtype=np.float32).reshape(-1, 2),
    )


def _moved(view: _View, last: _View) -> float:
    """Return how far the board moved, turned or tipped, as a part of its size in the picture."""
    ends = [np.stack([v.corners_px.min(axis=0), v.corners_px.max(axis=0)]) for v in (view, last)]
    return float(np.abs(ends[0] - ends[1]).max() / np.ptp(ends[1], axis=0).max())


@dataclass(frozen=True, slots=True)
class _Solution:
    """What OpenCV makes of some views."""

    rms_px: float
    matrix: NDArray[np.float64]
    lens: NDArray[np.float64]
    focal_sd_px: float
    tips_deg: NDArray[np.float64]
    """How far the board was tipped from square on, for each view."""
    errors_px: NDArray[np.float64]
    """For each view."""


def _solved(
    views: list[_View], size: tuple[int, int], settings: CalibrationSettings
) -> CalibrationFile:
    made = _calibrated(views, size)
    # A view that was blurred or misread shows by its error; it goes, and all is done again.
    bad = made.errors_px > 3 * np.median(made.errors_px)
    good = [view for view, out in zip(views, bad, strict=True) if not out]
    if settings.least_views <= len(good) < len(views):
        made = _calibrated(good, size)
    for problem in _doubts(good, size, made, settings):
        raise RecordingError(f"The camera cannot be calibrated from this: {problem}; {_HINT}.")
    return CalibrationFile(
        width=size[0],
        height=size[1],
        focal_px=[float(made.matrix[0, 0]), float(made.matrix[1, 1])],
        centre_px=[float(made.matrix[0, 2]), float(made.matrix[1, 2])],
        distortion=[float(value) for value in made.lens[:5]],
        focal_sd_px=made.focal_sd_px,
        rms_px=made.rms_px,
        views=len(made.errors_px),
    )


def _calibrated(views: list[_View], size: tuple[int, int]) -> _Solution:
    rms, matrix, lens, turns, _, sd, _, errors = cv2.calibrateCameraExtended(
        [v.board_mm for v in views],
        [v.corners_px for v in views],
        size,
        np.eye(3),
        np.zeros(5),
        flags=cv2.CALIB_FIX_K3,
    )
    normals = [np.asarray(cv2.Rodrigues(turn)[0])[2, 2] for turn in turns]
    return _Solution(
        float(rms),
        np.asarray(matrix, dtype=np.float64),
        np.ravel(lens).astype(np.float64),
        float(np.ravel(sd)[0]),
        np.degrees(np.arccos(np.clip(np.abs(normals), 0.0, 1.0))),
        np.ravel(errors).astype(np.float64),
    )


def _doubts(
    views: list[_View], size: tuple[int, int], made: _Solution, settings: CalibrationSettings
) -> Iterator[str]:
    spread = np.ptp(np.concatenate([v.corners_px for v in views]), axis=0) / size
    focal_sd = made.focal_sd_px / made.matrix[0, 0]
    if spread.min() < settings.least_spread:
        yield f"the board was seen over only {spread.min():.0%} of the picture"
    if made.rms_px > settings.most_rms_px:
        yield f"the corners are off by {made.rms_px:.1f} pixels, so the board was bent or moving"
    # Square on, a longer lens farther away gives the same pictures.
    tipped = int((made.tips_deg > settings.least_tip_deg).sum())
    if tipped < settings.least_tipped or not focal_sd < settings.most_focal_sd:
        yield f"the board was tipped well in only {tipped} views, so the focal length stays open"
