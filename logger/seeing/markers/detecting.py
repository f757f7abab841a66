"""Finds the markers in a picture and their corners to a small part of a pixel.

OpenCV finds and reads them; its corners come from the few pixels around each corner. Here the
whole known pattern is then laid onto the picture (enhanced correlation, Evangelidis and Psarakis
2008), which uses every edge inside the marker too.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.seeing.markers.strips import DICTIONARY, STRIPS, Vector, strip_of

_FIELDS: Final = 6
"""Fields along a side: four of code and the black border."""
_LEAST_FINE: Final = 3
_MOST_FINE: Final = 8
"""Pixels of the pattern that is laid on, a field."""
_RIM: Final = 0.7
"""White paper around the marker that is laid on too, in fields."""


Box = tuple[int, int, int, int]
"""Left, top, right, bottom in pixels; right and bottom are outside."""


@dataclass(frozen=True, slots=True)
class Markers:
    """What was found in one picture."""

    corners_px: dict[int, Vector] = field(default_factory=dict)
    """(4, 2) for each id: as printed, from the top left clockwise."""
    doubled: frozenset[int] = frozenset()
    """Ids found more than once, which are left out above."""
    unknown: frozenset[int] = frozenset()
    """Ids that are on none of the strips."""


@dataclass(frozen=True, slots=True)
class DetectSettings:
    """How markers are looked for."""

    least_side_px: float = 9.0
    """A marker with a shorter side on average is not read."""
    least_match: float = 0.75
    """Correlation of the marker's pattern with the picture below which it is left out."""
    most_shift: float = 0.5
    """How far laying the pattern on may move a corner, in fields."""
    rounds: int = 50
    small_picture_px: int = 960
    """Pictures no wider or higher than this are looked through at twice their size."""


class MarkerDetector:
    """Finds the markers of the strips."""

    def __init__(self, settings: DetectSettings | None = None) -> None:
        """Prepare the patterns."""
        self._settings = settings or DetectSettings()
        self._dictionary = cv2.aruco.getPredefinedDictionary(DICTIONARY)
        parameters = cv2.aruco.DetectorParameters()
        parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_CONTOUR
        parameters.minMarkerPerimeterRate = 0.01
        parameters.perspectiveRemovePixelPerCell = 8
        # One wrong field is put right, no more: a marker read wrongly is worse than none.
        parameters.errorCorrectionRate = 0.5
        self._finder = cv2.aruco.ArucoDetector(self._dictionary, parameters)
        self._patterns = {
            number: self._pattern(number) for strip in STRIPS.values() for number in strip.ids
        }

    def find(self, rgb: NDArray[np.uint8], within: Box | None = None) -> Markers:
        """Return the markers in an (h, w, 3) uint8 RGB picture, or in a part of it."""
        if within is None:
            within = (0, 0, rgb.shape[1], rgb.shape[0])
        left, top, right, bottom = within
        part = rgb[top:bottom, left:right]
        grey = np.asarray(cv2.cvtColor(part, cv2.COLOR_RGB2GRAY), dtype=np.uint8)
        quads = self._read(grey)
        ids = [number for number, _ in quads]
        doubled = {number for number in ids if ids.count(number) > 1}
        unknown = {number for number in ids if strip_of(number) is None}
        kept: dict[int, Vector] = {}
        for number, corners in quads:
            if number in doubled | unknown or _side_px(corners) < self._settings.least_side_px:
                continue
            laid = self._laid_on(grey, number, corners)
            if laid is not None:
                kept[number] = laid + (left, top)
        return Markers(kept, frozenset(doubled - unknown), frozenset(unknown))

    def _read(self, grey: NDArray[np.uint8]) -> list[tuple[int, Vector]]:
        """Return ids and rough corners."""
        zoom = 2 if max(grey.shape) <= self._settings.small_picture_px else 1
        if zoom > 1:
            grey = cv2.resize(grey, None, fx=zoom, fy=zoom, interpolation=cv2.INTER_CUBIC)  # type: ignore[assignment]
        found, numbers, _ = self._finder.detectMarkers(grey)
        ids = [] if numbers is None else np.ravel(numbers).tolist()
        quads = []
        for number, quad in zip(ids, found, strict=True):
            corners = (np.asarray(quad, dtype=np.float64).reshape(4, 2) + 0.5) / zoom - 0.5
            # Contours run along the middles of the outermost black pixels, not along their edge.
            quads.append((int(number), _grown(corners, 0.5 / zoom)))
        return quads

    def _pattern(self, number: int) -> NDArray[np.uint8]:
        """Return the marker with one white field around, one pixel a field."""
        bare: NDArray[np.uint8] = np.asarray(
            cv2.aruco.generateImageMarker(self._dictionary, number, _FIELDS), dtype=np.uint8
        )
        return np.pad(bare, 1, constant_values=255)

    def _laid_on(self, grey: NDArray[np.uint8], number: int, corners: Vector) -> Vector | None:
        """Return corners at which the pattern fits best; None where it does not fit."""
        field_px = _side_px(corners) / _FIELDS
        fine = int(np.clip(round(field_px), _LEAST_FINE, _MOST_FINE))
        low = np.floor(corners.min(axis=0) - field_px - 4).astype(int).clip(0)
        high = np.ceil(corners.max(axis=0) + field_px + 5).astype(int)
        part = grey[low[1] : high[1], low[0] : high[0]].astype(np.float32)
        # A large marker is brought down to the pattern's size: the fit looks only that far.
        small, shrink = _shrunk(part, min(1.0, _MOST_FINE / field_px))
        # About the picture's own blur, in pixels of the pattern.
        template = self._template(number, fine, 0.8 * fine / (field_px * shrink.mean()))
        rim = _rim_px(fine)
        ends = rim + fine * _FIELDS
        square = np.array([(rim, rim), (ends, rim), (ends, ends), (rim, ends)]) - 0.5
        start = cv2.getPerspectiveTransform(
            square.astype(np.float32),
            ((corners - low + 0.5) * shrink - 0.5).astype(np.float32),
        )
        warp = self._aligned(template, small, start.astype(np.float32))
        if warp is None:
            return None
        there = cv2.perspectiveTransform(square[None], warp)[0].astype(np.float64)
        moved: Vector = (there + 0.5) / shrink - 0.5 + low
        shift = np.linalg.norm(moved - corners, axis=1).max()
        return moved if shift <= max(1.0, self._settings.most_shift * field_px) else None

    def _aligned(
        self, template: NDArray[np.float32], part: NDArray[np.float32], start: Any
    ) -> NDArray[np.float32] | None:
        ends = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, self._settings.rounds, 1e-4)
        try:
            match, warp = cv2.findTransformECC(
                template, part, start, cv2.MOTION_HOMOGRAPHY, ends, np.array([]), 1
            )
        except cv2.error:
            return None  # The pattern does not settle on the picture.
        if not match >= self._settings.least_match:
            return None
        return np.asarray(warp, dtype=np.float32)

    def _template(self, number: int, fine: int, blur_px: float) -> NDArray[np.float32]:
        pattern = self._patterns[number].astype(np.float32)
        large = np.kron(pattern, np.ones((fine, fine), np.float32))
        edge = fine - _rim_px(fine)
        blurred = cv2.GaussianBlur(large, (0, 0), max(blur_px, 0.3))
        cut: NDArray[np.float32] = np.ascontiguousarray(blurred[edge:-edge, edge:-edge])
        return cut


def _shrunk(
    part: NDArray[np.float32], shrink: float
) -> tuple[NDArray[np.float32], NDArray[np.float64]]:
    """Return a smaller picture and how much smaller it is across and down."""
    height, width = part.shape
    if shrink == 1.0:
        return part, np.ones(2)
    size = max(round(width * shrink), 1), max(round(height * shrink), 1)
    small = cv2.resize(part, size, interpolation=cv2.INTER_AREA)
    return np.asarray(small, dtype=np.float32), np.array(size) / (width, height)


def _grown(corners: Vector, by_px: float) -> Vector:
    middle = corners.mean(axis=0)
    grown: Vector = middle + (corners - middle) * (1 + 2 * by_px / _side_px(corners))
    return grown


def _rim_px(fine: int) -> int:
    return round(_RIM * fine)


def _side_px(corners: Vector) -> float:
    sides = np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1)
    return float(sides.mean())
