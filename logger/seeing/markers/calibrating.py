"""Calibrates a camera from a recording of the printed board."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.core.errors import RecordingError
from logger.seeing.markers.board import SQUARES, charuco_board
from logger.seeing.markers.camera import CalibrationFile
from logger.seeing.watching import paced

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
    """How uncertain the focal length may stay, as a part of it; the board seen only square on
    leaves it open."""


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


def _solved(
    views: list[_View], size: tuple[int, int], settings: CalibrationSettings
) -> CalibrationFile:
    rms, matrix, lens, sd, errors = _calibrated(views, size)
    # A view that was blurred or misread shows by its error; it goes, and all is done again.
    good = [v for v, e in zip(views, errors, strict=True) if e <= 3 * np.median(errors)]
    if settings.least_views <= len(good) < len(views):
        rms, matrix, lens, sd, _ = _calibrated(good, size)
    for problem in _doubts(good, size, (rms, float(sd[0] / matrix[0, 0])), settings):
        raise RecordingError(f"The camera cannot be calibrated from this: {problem}; {_HINT}.")
    return CalibrationFile(
        width=size[0],
        height=size[1],
        focal_px=[float(matrix[0, 0]), float(matrix[1, 1])],
        centre_px=[float(matrix[0, 2]), float(matrix[1, 2])],
        distortion=[float(value) for value in lens[:5]],
        focal_sd_px=float(sd[0]),
        rms_px=float(rms),
        views=len(good),
    )


def _calibrated(
    views: list[_View], size: tuple[int, int]
) -> tuple[float, NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], list[float]]:
    """Return rms, matrix, distortion, standard deviations (focal length first), view errors."""
    rms, matrix, lens, _, _, sd, _, errors = cv2.calibrateCameraExtended(
        [v.board_mm for v in views],
        [v.corners_px for v in views],
        size,
        np.eye(3),
        np.zeros(5),
        flags=cv2.CALIB_FIX_K3,
    )
    return (
        float(rms),
        np.asarray(matrix, dtype=np.float64),
        np.ravel(lens).astype(np.float64),
        np.ravel(sd).astype(np.float64),
        np.ravel(errors).tolist(),
    )


def _doubts(
    views: list[_View],
    size: tuple[int, int],
    fit: tuple[float, float],
    settings: CalibrationSettings,
) -> Iterator[str]:
    corners = np.concatenate([v.corners_px for v in views])
    spread = np.ptp(corners, axis=0) / size
    rms, focal_sd = fit
    if spread.min() < settings.least_spread:
        yield f"the board was seen over only {spread.min():.0%} of the picture"
    if rms > settings.most_rms_px:
        yield f"the corners are off by {rms:.1f} pixels, so the board was bent or moving"
    if not focal_sd < settings.most_focal_sd:
        yield f"the focal length stays open to {focal_sd:.1%}, so the board was not tipped enough"
