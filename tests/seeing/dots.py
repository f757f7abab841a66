"""A stand-in for patient and pose model: a body of coloured dots, and a finder of the dots."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import cv2
import numpy as np

from logger.seeing.pose import Joint, Person

if TYPE_CHECKING:
    from numpy.typing import NDArray

_COLOURS: Final[dict[Joint, tuple[int, int, int]]] = {
    Joint.LEFT_SHOULDER: (255, 0, 0),
    Joint.RIGHT_SHOULDER: (0, 255, 0),
    Joint.LEFT_HIP: (0, 0, 255),
    Joint.RIGHT_HIP: (255, 255, 0),
    Joint.LEFT_ELBOW: (255, 0, 255),
    Joint.RIGHT_ELBOW: (0, 255, 255),
}
_PAIRS: Final = (
    (Joint.LEFT_SHOULDER, Joint.RIGHT_SHOULDER),
    (Joint.LEFT_ELBOW, Joint.RIGHT_ELBOW),
    (Joint.LEFT_HIP, Joint.RIGHT_HIP),
)


@dataclass(frozen=True)
class DotBody:
    """A body seen from the front, feet in the direction `heading_deg` clockwise from down."""

    left_deg: float = 20.0
    right_deg: float = 50.0
    heading_deg: float = 0.0
    centre: tuple[float, float] = (320.0, 240.0)

    def points(self) -> dict[Joint, NDArray[np.float64]]:
        """Return each dot's (2,) place in pixels; the patient's right is on the picture's left."""
        left, right = math.radians(self.left_deg), math.radians(self.right_deg)
        upright = {
            Joint.LEFT_SHOULDER: (36.0, -50.0),
            Joint.RIGHT_SHOULDER: (-36.0, -50.0),
            Joint.LEFT_HIP: (22.0, 60.0),
            Joint.RIGHT_HIP: (-22.0, 60.0),
            Joint.LEFT_ELBOW: (36 + 55 * math.sin(left), -50 + 55 * math.cos(left)),
            Joint.RIGHT_ELBOW: (-36 - 55 * math.sin(right), -50 + 55 * math.cos(right)),
        }
        turn = math.radians(self.heading_deg)
        matrix = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
        return {joint: matrix @ place + self.centre for joint, place in upright.items()}

    def frame(self, level: int = 90) -> NDArray[np.uint8]:
        """Return a (480, 640, 3) picture of the body on a grey ground."""
        rgb = np.full((480, 640, 3), level, dtype=np.uint8)
        for joint, place in self.points().items():
            cv2.circle(rgb, (round(place[0]), round(place[1])), 4, _COLOURS[joint], -1)
        return rgb


class DotFinder:
    """Finds the dots; takes a mirrored body for one seen from the front, as a pose model does."""

    def __init__(self) -> None:
        """Start the count of pictures looked at."""
        self.looked_at = 0

    def people(self, rgb: NDArray[np.uint8]) -> list[Person]:
        """Return the body of dots, if the whole trunk is there."""
        self.looked_at += 1
        points = np.full((33, 2), -1e4)
        for joint, colour in _COLOURS.items():
            low, high = np.clip(np.add(colour, [[-89] * 3, [89] * 3]), 0, 255)
            near = cv2.inRange(rgb, low, high)
            if np.count_nonzero(near) >= 3:
                ys, xs = np.nonzero(near)
                points[joint] = xs.mean(), ys.mean()
        if (points[[*_PAIRS[0], *_PAIRS[2]]] < 0).any():
            return []
        across = points[Joint.LEFT_SHOULDER] - points[Joint.RIGHT_SHOULDER]
        down = points[Joint.LEFT_HIP] - points[Joint.LEFT_SHOULDER]
        if across[0] * down[1] - across[1] * down[0] < 0:
            for left, right in _PAIRS:
                points[[left, right]] = points[[right, left]]
        visibility = np.where(points[:, 0] > -1e3, 0.95, 0.0)
        return [Person(points, visibility)]
