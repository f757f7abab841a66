"""The printed strips: which marker sits where, and the shape a strip takes once it is folded.

A strip is a row of stiff facets with straight folds between them, all folds along the strip's
arrow. Worn, it stands off the body like part of a prism. That relief is what makes it precise: a
flat marker seen nearly square looks the same tipped towards the camera as away from it, facets
that face different ways do not. How far each fold is bent need not be known, it is measured.

Axes of a strip: x to the right as one reads the print, y along the arrow, z out of the paper, all
from the centre of the middle facet. Lengths are in millimetres.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal, NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.core.events import Side

Vector = NDArray[np.float64]
StripName = Literal["chest", "back", "right_arm", "left_arm"]

DICTIONARY: Final = cv2.aruco.DICT_4X4_50
"""16 bits: the fewest, and so the largest, fields for a marker of a given size."""
UP: Final[Vector] = np.array([0.0, 1.0, 0.0])


class Place(NamedTuple):
    """Where a marker sits on its strip."""

    facet: int
    """From 0 at the left."""
    row: int
    """From 0 at the arrow's end."""


@dataclass(frozen=True, slots=True)
class Strip:
    """One printed strip."""

    name: StripName
    first_id: int
    facets: int
    """Odd, so that there is a middle one."""
    fold_deg: float
    """How far a fold is bent, on average over those who wear it."""
    fold_sd_deg: float
    """How much that differs between wearers."""
    folds_alike_deg: float = 6.0
    """How much the folds of one strip differ from each other."""
    rows: int = 2
    pitch_mm: float = 52.0
    """Width of a facet, and height of a row."""
    marker_mm: float = 42.0

    @property
    def middle(self) -> int:
        """The number of the middle facet."""
        return self.facets // 2

    @property
    def ids(self) -> range:
        """The ids of its markers, row by row from the arrow's end, left to right."""
        return range(self.first_id, self.first_id + self.facets * self.rows)

    def place(self, marker_id: int) -> Place:
        """Return where one of `ids` sits."""
        row, facet = divmod(marker_id - self.first_id, self.facets)
        return Place(facet, row)

    def corners_mm(self, marker_id: int) -> Vector:
        """Return (4, 2) corners from the centre of the marker's facet, as ArUco orders them."""
        half = self.marker_mm / 2
        middle = ((self.rows - 1) / 2 - self.place(marker_id).row) * self.pitch_mm
        square = np.array([(-half, half), (half, half), (half, -half), (-half, -half)])
        return square + (0.0, middle)


# From 18 on: 17 is a single white spot on black, which rooms are full of.
STRIPS: Final[dict[StripName, Strip]] = {
    "chest": Strip("chest", 18, facets=3, fold_deg=35.0, fold_sd_deg=13.0),
    "back": Strip("back", 24, facets=3, fold_deg=35.0, fold_sd_deg=13.0),
    # An upper arm is 240 to 420 mm round (from memory): 78 to 45 degrees from facet to facet.
    "right_arm": Strip("right_arm", 30, facets=5, fold_deg=57.0, fold_sd_deg=13.0),
    "left_arm": Strip("left_arm", 40, facets=5, fold_deg=57.0, fold_sd_deg=13.0),
}
TRUNK_STRIPS: Final[tuple[StripName, StripName]] = ("chest", "back")
ARM_STRIPS: Final[dict[Side, StripName]] = {"right": "right_arm", "left": "left_arm"}


def strip_of(marker_id: int) -> Strip | None:
    """Return the strip that carries a marker, None for a marker of none of them."""
    return next((strip for strip in STRIPS.values() if marker_id in strip.ids), None)


@dataclass(frozen=True, slots=True)
class Shape:
    """A folded strip, in its own axes."""

    centres_mm: Vector
    """(facets, 3)."""
    rightward: Vector
    """(facets, 3): each facet's own x axis, of length 1."""
    hinges_mm: Vector
    """(facets - 1, 3): a point on each fold."""

    @property
    def normals(self) -> Vector:
        """(facets, 3): out of the paper, of length 1."""
        return across_up(self.rightward)


def across_up(vectors: Vector) -> Vector:
    """Return v x UP of (..., 3) vectors; for a direction in the paper, out of the paper."""
    crossed: Vector = vectors[..., [2, 1, 0]] * (-1.0, 0.0, 1.0)
    return crossed


def folded(strip: Strip, folds_rad: Vector) -> Shape:
    """Return the shape of a strip bent by `folds_rad`, (facets - 1,), away from the reader."""
    middle, half = strip.middle, strip.pitch_mm / 2
    # The direction of each facet in the plane across the arrow, counted from the middle one.
    turns = np.zeros(strip.facets)
    turns[middle + 1 :] = np.cumsum(folds_rad[middle:])
    turns[:middle] = -np.cumsum(folds_rad[:middle][::-1])[::-1]
    right = np.stack([np.cos(turns), np.zeros_like(turns), -np.sin(turns)], axis=1)
    steps = half * (right[:-1] + right[1:])
    places = np.concatenate([np.zeros((1, 3)), np.cumsum(steps, axis=0)])
    centres = places - places[middle]
    return Shape(centres, right, centres[:-1] + half * right[:-1])


@dataclass(frozen=True, slots=True)
class Printed:
    """Some markers of a strip, as they are printed."""

    facets: NDArray[np.intp]
    """(markers,): the facet of each."""
    flat_mm: Vector
    """(markers, 4, 2): its corners from the middle of its facet."""

    @classmethod
    def of(cls, strip: Strip, marker_ids: Sequence[int]) -> Printed:
        """Return these markers of a strip."""
        facets = np.array([strip.place(number).facet for number in marker_ids])
        return cls(facets, np.stack([strip.corners_mm(number) for number in marker_ids]))

    def corners_mm(self, shape: Shape) -> Vector:
        """Return (markers, 4, 3) corners once the strip is folded, in its axes."""
        corners = self.flat_mm[..., :1] * shape.rightward[self.facets][:, None, :]
        corners += shape.centres_mm[self.facets][:, None, :]
        corners[..., 1] += self.flat_mm[..., 1]
        return corners
