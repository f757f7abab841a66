"""The camera as a pinhole with a lens: from a calibration, a focal length or a stated default."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Final, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from logger.core.errors import UsageError

_FULL_FRAME_DIAGONAL_MM: Final = math.hypot(36.0, 24.0)
DEFAULT_FOCAL_35MM: Final = 28.0
"""What the main camera of a telephone or a webcam has when it films; common practice, no source.
From 22 to 34 covers nearly all of them."""
DEFAULT_DOUBT: Final = 0.22
GIVEN_DOUBT: Final = 0.08
"""Filming crops a little of the picture that the stated focal length is for, and the stated one is
rounded; common practice, no source."""
_SAME_ASPECT: Final = 0.005


@dataclass(frozen=True, slots=True)
class Camera:
    """Pinhole and lens distortion, for pictures of one size."""

    width: int
    height: int
    focal_px: tuple[float, float]
    """Across and down."""
    centre_px: tuple[float, float]
    distortion: tuple[float, ...] = (0.0,) * 5
    """k1, k2, p1, p2, k3, as OpenCV has them."""
    focal_doubt: float = 0.0
    """How far the true focal length may lie from this one, as a part of it."""

    @property
    def matrix(self) -> NDArray[np.float64]:
        """The (3, 3) camera matrix."""
        (fx, fy), (cx, cy) = self.focal_px, self.centre_px
        return np.array([(fx, 0.0, cx), (0.0, fy, cy), (0.0, 0.0, 1.0)])

    @property
    def lens(self) -> NDArray[np.float64]:
        """The (5,) distortion coefficients."""
        return np.array(self.distortion)

    def zoomed(self, factor: float) -> Camera:
        """Return this camera with its focal length longer by `factor`."""
        fx, fy = self.focal_px
        return replace(self, focal_px=(fx * factor, fy * factor))

    def sized(self, width: int, height: int) -> Camera:
        """Return this camera for pictures of another size of the same shape.

        Raises:
            UsageError: if the shape differs: what was cut off or turned is not known.

        """
        if (width, height) == (self.width, self.height):
            return self
        across, down = width / self.width, height / self.height
        if abs(across / down - 1.0) > _SAME_ASPECT:
            raise UsageError(
                f"The calibration is for pictures of {self.width} x {self.height} pixels and does "
                f"not fit {width} x {height}: film the board with the camera held and set as for "
                "the session, and calibrate again."
            )
        (fx, fy), (cx, cy) = self.focal_px, self.centre_px
        # The middle of a pixel is a whole number, so that edges lie at halves.
        centre = (cx + 0.5) * across - 0.5, (cy + 0.5) * down - 0.5
        return replace(
            self, width=width, height=height, focal_px=(fx * across, fy * down), centre_px=centre
        )


def camera_of_focal_35mm(
    focal_mm: float, width: int, height: int, focal_doubt: float = 0.0
) -> Camera:
    """Return a camera without distortion from its focal length in 35 mm terms.

    The 35 mm equivalent, as pictures carry it (Exif FocalLengthIn35mmFilm), has the same field of
    view along the picture's diagonal on a frame of 36 by 24 mm.
    """
    focal_px = focal_mm / _FULL_FRAME_DIAGONAL_MM * math.hypot(width, height)
    centre = (width - 1) / 2, (height - 1) / 2
    return Camera(width, height, (focal_px, focal_px), centre, focal_doubt=focal_doubt)


@dataclass(frozen=True, slots=True)
class CameraChoice:
    """What the user said of the camera; the stated default where that is nothing."""

    calibrated: Camera | None = None
    focal_35mm: float | None = None

    def camera(self, width: int, height: int) -> Camera:
        """Return the camera for pictures of this size.

        Raises:
            UsageError: if the calibration does not fit the size.

        """
        if self.calibrated is not None:
            return self.calibrated.sized(width, height)
        if self.focal_35mm is not None:
            return camera_of_focal_35mm(self.focal_35mm, width, height, GIVEN_DOUBT)
        return camera_of_focal_35mm(DEFAULT_FOCAL_35MM, width, height, DEFAULT_DOUBT)

    @property
    def in_words(self) -> str:
        """How the camera is known."""
        if self.calibrated is not None:
            return "calibrated"
        if self.focal_35mm is not None:
            return f"a focal length of {self.focal_35mm:.0f} mm (35 mm equivalent) as given"
        return (
            f"unknown and taken as {DEFAULT_FOCAL_35MM:.0f} mm (35 mm equivalent); "
            "--focal-35mm or --calibration says better"
        )


_Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
_Finite = Annotated[float, Field(allow_inf_nan=False)]


class CalibrationFile(BaseModel):
    """What a calibration file holds."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)

    format: Literal[1] = 1
    width: Annotated[int, Field(gt=0)]
    height: Annotated[int, Field(gt=0)]
    focal_px: list[_Positive] = Field(min_length=2, max_length=2)
    centre_px: list[_Finite] = Field(min_length=2, max_length=2)
    distortion: list[_Finite] = Field(min_length=5, max_length=5)
    focal_sd_px: _Positive
    """How far the focal length may be off, one standard deviation."""
    rms_px: _Positive
    """How far the board's corners lie from where this camera puts them."""
    views: Annotated[int, Field(gt=0)]

    def camera(self) -> Camera:
        """Return the camera."""
        (fx, fy), (cx, cy) = self.focal_px, self.centre_px
        return Camera(self.width, self.height, (fx, fy), (cx, cy), tuple(self.distortion))


def load_calibration(path: Path) -> Camera:
    """Return the camera of a calibration file.

    Raises:
        UsageError: if the file cannot be read or is no such file, naming what is wrong in it.

    """
    hint = "make one with: spoken-findings calibrate BOARD_RECORDING --out camera.json"
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        why = getattr(error, "strerror", None) or "it is no text file"
        raise UsageError(f"The calibration {path} cannot be read ({why}); {hint}") from error
    try:
        # Strict, but a whole number in the file is a number.
        return CalibrationFile.model_validate_json(text).camera()
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"]) or "the whole file"
        raise UsageError(
            f"{path} is no calibration: {where}: {first['msg'].lower()}; {hint}"
        ) from error
