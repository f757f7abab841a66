"""Pictures as a viewer shows them: turned upright, with square pixels."""

from __future__ import annotations

from typing import Any, Final

import av
import numpy as np
from numpy.typing import NDArray

_UNTURNED: Final = np.eye(2, dtype=np.int32)


def shown(frame: Any, pixel_aspect: float) -> NDArray[np.uint8] | None:
    """Return the picture, RGB, shape (height, width, 3); None if damage made it no picture.

    The file's turn and mirroring are applied, and pixels that are wider than high are stretched
    to square ones: an angle measured in oblong pixels is wrong.
    """
    width = round(frame.width * pixel_aspect)
    try:
        rgb = frame.to_ndarray(format="rgb24", width=width, height=frame.height)
    except (av.FFmpegError, ValueError):
        return None
    return np.ascontiguousarray(upright(rgb, display_matrix(frame)))


def shown_size(frame: Any, pixel_aspect: float) -> tuple[int, int]:
    """Return (width, height) of the picture as `shown` gives it, in pixels."""
    size = round(frame.width * pixel_aspect), frame.height
    return size if display_matrix(frame)[0, 0] else (size[1], size[0])


def turn_deg(frame: Any) -> int:
    """Return how far the stored picture is turned to be upright: 0, 90, 180 or 270, clockwise."""
    matrix = display_matrix(frame)
    # Where the picture's left-to-right axis points to; y grows downwards, so this is clockwise.
    return round(float(np.degrees(np.arctan2(matrix[0, 1], matrix[0, 0])))) % 360


def display_matrix(frame: Any) -> NDArray[np.int32]:
    """Return the frame's turn as [[a, b], [c, d]] of -1, 0 and 1.

    A point (x, y) goes to (a x + c y, b x + d y), as in FFmpeg's display matrix. A turn by
    anything but a quarter is taken as the nearest one.
    """
    for data in frame.side_data:
        if data.type.name == "DISPLAYMATRIX":
            matrix = np.frombuffer(bytes(data), np.int32).reshape(3, 3)[:2, :2].astype(np.float64)
            largest = np.abs(matrix) >= np.abs(matrix).max(axis=1, keepdims=True)
            turn: NDArray[np.int32] = np.where(largest, np.sign(matrix), 0).astype(np.int32)
            # Only a matrix that is one of the eight turns and mirrorings can be followed.
            return (
                turn if abs(turn[0]) @ abs(turn[1]) == 0 and turn.any(axis=1).all() else _UNTURNED
            )
    return _UNTURNED


def upright(rgb: NDArray[np.uint8], matrix: NDArray[np.int32]) -> NDArray[np.uint8]:
    """Return the picture turned and mirrored by one of the eight matrices of `display_matrix`."""
    (a, b), (c, d) = matrix.tolist()
    if a == 0:
        rgb = rgb.transpose(1, 0, 2)
        a, d = c, b
    return rgb[:: -1 if d < 0 else 1, :: -1 if a < 0 else 1]
