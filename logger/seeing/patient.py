"""Who is the patient, and where: the person who lies still while everyone else comes and goes.

Looked for on frames spread over the whole recording, each shown to the model turned by quarters,
since a lying body may point anywhere. Sightings of one still body agree from frame to frame and
from turn to turn; those of a moving clinician, or of a mixture of two bodies, do not.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Protocol

import cv2
import numpy as np

from logger.seeing.pose import Joint, Person

if TYPE_CHECKING:
    from collections.abc import Sequence

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

    def distance(self, person: Person) -> float:
        """Return the mean distance of a person's trunk from this one, in trunk lengths."""
        away = np.linalg.norm(person.points[list(TRUNK)] - self.points, axis=1)
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
        if not self.mirrored:
            return Person(points, person.visibility)
        order = list(_OTHER_SIDE)
        return Person(points[order], person.visibility[order])


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


def sightings(
    model: FindsPeople, rgb: NDArray[np.uint8], quarters: Sequence[int]
) -> list[NDArray[np.float64]]:
    """Return the (4, 2) trunk of everyone found in one frame, over the turns asked for."""
    found: list[NDArray[np.float64]] = []
    for quarter in quarters:
        view = quarter_view(rgb.shape, quarter)
        people = [view.back(person) for person in model.people(view.cut(rgb))]
        found.extend(person.points[list(TRUNK)] for person in people)
    return found


def choose_patient(
    seen: Sequence[Sequence[NDArray[np.float64]]],
    within_trunks: float = 0.2,
    least_support: float = 0.3,
) -> Trunk | None:
    """Return the still body that most of the looked-at frames agree on, or None.

    `seen` holds one list of (4, 2) trunks a frame. Two sightings agree where their trunk corners
    are within `within_trunks` of a trunk length on average. None where no body reaches
    `least_support` of the frames, or where another one is as well supported.
    """
    frames = np.array([i for i, found in enumerate(seen) for _ in found], dtype=np.intp)
    if not frames.size:
        return None
    trunks = np.array([trunk for found in seen for trunk in found])
    close = _agreement(trunks, within_trunks)
    support = np.array([np.unique(frames[row]).size for row in close])
    best = int((support + close.sum(axis=1) / (1.0 + len(frames))).argmax())
    points: NDArray[np.float64] = np.median(trunks[close[best]], axis=0)
    share = support[best] / len(seen)
    if share < least_support or support[best] < min(2, len(seen)):
        return None
    swapped = _near(trunks[:, [1, 0, 3, 2]], points, within_trunks) & ~close[best]
    away = np.linalg.norm(trunks.mean(axis=1) - points.mean(axis=0), axis=1)
    rivals = support[away > _length(points)]
    if rivals.size and rivals.max() >= support[best]:
        return None
    return Trunk(points, float(share), bool(swapped.sum() * 4 < close[best].sum()))


def _length(points: NDArray[np.float64]) -> float:
    return max(math.dist(points[:2].mean(axis=0), points[2:].mean(axis=0)), 1.0)


def _near(
    trunks: NDArray[np.float64], points: NDArray[np.float64], within: float
) -> NDArray[np.bool_]:
    away = np.linalg.norm(trunks - points, axis=2).mean(axis=1)
    near: NDArray[np.bool_] = away < within * _length(points)
    return near


def _agreement(trunks: NDArray[np.float64], within: float) -> NDArray[np.bool_]:
    return np.array([_near(trunks, trunk, within) for trunk in trunks])
