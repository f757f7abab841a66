"""The patient's trunk, and cut-outs of the frame in which it stands upright."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Protocol

import cv2
import numpy as np

from logger.seeing.pose import Joint, Person

if TYPE_CHECKING:
    from numpy.typing import NDArray

TRUNK: Final = (Joint.LEFT_SHOULDER, Joint.RIGHT_SHOULDER, Joint.LEFT_HIP, Joint.RIGHT_HIP)
_OTHER_SIDE: Final = (0, 4, 5, 6, 1, 2, 3, 8, 7, 10, 9) + tuple(
    itertools.chain.from_iterable((left + 1, left) for left in range(11, 33, 2))
)
"""For each landmark, the one on the body's other side: what a mirrored picture shows."""


class FindsPeople(Protocol):
    """What is asked of a pose model."""

    def people(self, rgb: NDArray[np.uint8]) -> list[Person]:
        """Return everyone found in an (h, w, 3) picture."""
        ...


@dataclass(frozen=True, slots=True)
class Trunk:
    """The patient's still trunk, in pixels of the frame."""

    points: NDArray[np.float64]
    """(4, 2) left shoulder, right shoulder, left hip, right hip (the patient's own sides)."""
    support: float
    """0 to 1: the share of the frames looked at in which this body was seen."""
    sides_sure: bool = True
    """False where sightings disagree on which shoulder is the left one."""

    @property
    def mid_shoulder(self) -> NDArray[np.float64]:
        """(2,) the middle of the shoulders."""
        middle: NDArray[np.float64] = self.points[:2].mean(axis=0)
        return middle

    @property
    def mid_hip(self) -> NDArray[np.float64]:
        """(2,) the middle of the hips."""
        middle: NDArray[np.float64] = self.points[2:].mean(axis=0)
        return middle

    @property
    def length_px(self) -> float:
        """The distance from the middle of the shoulders to that of the hips."""
        return math.dist(self.mid_shoulder, self.mid_hip)

    def distance(self, person: Person, *, swapped: bool = False) -> float:
        """Return the mean distance of a person's trunk from this one, in trunk lengths.

        With `swapped`, of the same trunk with left and right taken for each other.
        """
        points = person.points[list(TRUNK)]
        away = np.linalg.norm(
            points[[1, 0, 3, 2] if swapped else [0, 1, 2, 3]] - self.points, axis=1
        )
        return float(away.mean()) / self.length_px


@dataclass(frozen=True, slots=True)
class View:
    """A square cut-out of the frame, turned so that the patient stands upright in it."""

    matrix: NDArray[np.float64]
    """(2, 3) from frame pixels to the cut-out's pixels."""
    size_px: int
    mirrored: bool = False

    def cut(self, rgb: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """Return the (size, size, 3) cut-out of a frame."""
        size = (self.size_px, self.size_px)
        return cv2.warpAffine(rgb, self.matrix, size, flags=cv2.INTER_CUBIC).astype(np.uint8)

    def back(self, person: Person) -> Person:
        """Return a person found in the cut-out in frame pixels, with the true sides."""
        inverse = cv2.invertAffineTransform(self.matrix)
        points = person.points @ inverse[:, :2].T + inverse[:, 2]
        order = list(_OTHER_SIDE) if self.mirrored else slice(None)
        world = None
        if person.world is not None:
            scale = math.sqrt(abs(float(np.linalg.det(inverse[:, :2]))))
            turned = person.world[:, :2] @ inverse[:, :2].T / scale
            world = np.column_stack([turned, person.world[:, 2]])[order]
        return Person(points[order], person.visibility[order], world)


@dataclass(frozen=True, slots=True)
class Framing:
    """How a view is laid around the trunk."""

    side_trunks: float = 4.0
    """The cut-out's side in trunk lengths: room for an arm stretched out or overhead."""
    centre_trunks: float = 0.35
    """How far below the shoulders the cut-out's middle lies, in trunk lengths."""
    turn_deg: float = 0.0
    mirrored: bool = False
    size_px: int = 512


def view_of(trunk: Trunk, framing: Framing) -> View:
    """Return the view of a trunk in which it points straight down, before `turn_deg`."""
    axis = trunk.mid_hip - trunk.mid_shoulder
    centre = trunk.mid_shoulder + framing.centre_trunks * axis
    lean_deg = math.degrees(math.atan2(axis[0], axis[1]))
    scale = framing.size_px / (framing.side_trunks * trunk.length_px)
    middle = (float(centre[0]), float(centre[1]))
    turned = cv2.getRotationMatrix2D(middle, framing.turn_deg - lean_deg, scale)
    matrix: NDArray[np.float64] = np.array(turned, dtype=np.float64)
    matrix[:, 2] += framing.size_px / 2 - centre
    if framing.mirrored:
        matrix = np.diag([-1.0, 1.0]) @ matrix
        matrix[0, 2] += framing.size_px - 1
    return View(matrix, framing.size_px, framing.mirrored)


def quarter_view(shape: tuple[int, ...], quarters: int) -> View:
    """Return a view of the whole frame, turned by quarters, padded to a square."""
    height, width = shape[:2]
    size = max(height, width)
    turned = cv2.getRotationMatrix2D((width / 2, height / 2), 90.0 * quarters, 1.0)
    matrix = np.array(turned).astype(np.float64)
    matrix[:, 2] += np.array([size - width, size - height]) / 2
    return View(matrix, size)
