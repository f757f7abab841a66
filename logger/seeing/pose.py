"""The pose model. The only module that imports mediapipe's Tasks API.

mediapipe, TFLite and absl write their notices straight to file descriptor 2, past Python's
`sys.stderr`. Descriptor 2 is therefore pointed at the null device while the model is made, during
its first picture and while it closes; whatever other threads write there meanwhile is lost.
"""

from __future__ import annotations

import os
import sys
from contextlib import contextmanager
from dataclasses import dataclass
from enum import IntEnum
from typing import TYPE_CHECKING, Any, Self

import numpy as np

from logger.core.errors import ModelError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path
    from types import TracebackType

    from numpy.typing import NDArray

_STDERR_FD = 2


class Joint(IntEnum):
    """The landmarks used here, by their place among the model's 33."""

    NOSE = 0
    LEFT_SHOULDER = 11
    RIGHT_SHOULDER = 12
    LEFT_ELBOW = 13
    RIGHT_ELBOW = 14
    LEFT_WRIST = 15
    RIGHT_WRIST = 16
    LEFT_HIP = 23
    RIGHT_HIP = 24
    LEFT_KNEE = 25
    RIGHT_KNEE = 26
    LEFT_ANKLE = 27
    RIGHT_ANKLE = 28


@dataclass(frozen=True, slots=True)
class Person:
    """One person as the model sees them in one picture."""

    points: NDArray[np.float64]
    """(33, 2) x and y in pixels of the picture given; may lie outside it."""
    visibility: NDArray[np.float64]
    """(33,) 0 to 1: how likely each point is in the picture and not covered."""
    world: NDArray[np.float64] | None = None
    """(33, 3) the model's guess of the body in space, in metres from the middle of the hips: x and
    y along the picture's, z away from the camera. None where a finder does not give it. Too rough
    for an arm's angle (6 to 10 degrees off on stills with known angles), good for the camera's."""

    def joint(self, joint: Joint) -> NDArray[np.float64]:
        """Return the (2,) pixel position of one joint."""
        point: NDArray[np.float64] = self.points[joint]
        return point


class PoseModel:
    """A loaded pose bundle. Use as a context manager; not to be shared between threads."""

    def __init__(self, bundle: Path, max_people: int = 1, confidence: float = 0.3) -> None:
        """Load `bundle`. Raises `ModelError` naming it where it cannot be loaded.

        `confidence` (0 to 1) is the least with which a person counts as detected.
        """
        self._first = True
        try:
            with quiet_stderr():
                self._mp, self._landmarker = _load(bundle, max_people, confidence)
        except (RuntimeError, ValueError, OSError) as error:
            raise ModelError(
                f"{bundle} cannot be loaded as a pose model; give another with --pose-model."
            ) from error

    def people(self, rgb: NDArray[np.uint8]) -> list[Person]:
        """Return everyone found in an (h, w, 3) picture, the surest first."""
        image = self._mp.Image(
            image_format=self._mp.ImageFormat.SRGB, data=np.ascontiguousarray(rgb)
        )
        if self._first:
            self._first = False
            with quiet_stderr():
                result = self._landmarker.detect(image)
        else:
            result = self._landmarker.detect(image)
        size = np.array([rgb.shape[1], rgb.shape[0]], dtype=np.float64)
        found = zip(result.pose_landmarks, result.pose_world_landmarks, strict=True)
        return [_person(landmarks, world, size) for landmarks, world in found]

    def close(self) -> None:
        """Free the model; a second call does nothing."""
        if self._landmarker is not None:
            with quiet_stderr():
                self._landmarker.close()
            self._landmarker = None

    def __enter__(self) -> Self:
        """Return the model itself."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close the model."""
        self.close()


@contextmanager
def quiet_stderr() -> Iterator[None]:
    """Send descriptor 2 to the null device for a while; a no-op where there is none."""
    try:
        sys.stderr.flush()
        kept = os.dup(_STDERR_FD)
    except (OSError, ValueError, AttributeError):
        yield
        return
    try:
        null = os.open(os.devnull, os.O_WRONLY)
        os.dup2(null, _STDERR_FD)
        os.close(null)
        yield
    finally:
        os.dup2(kept, _STDERR_FD)
        os.close(kept)


def _load(bundle: Path, max_people: int, confidence: float) -> tuple[Any, Any]:
    # Imported here because the import itself takes seconds and writes notices.
    import mediapipe as mp  # noqa: PLC0415
    from mediapipe.tasks.python import BaseOptions, vision  # noqa: PLC0415

    options = vision.PoseLandmarkerOptions(
        base_options=BaseOptions(model_asset_path=str(bundle)),
        running_mode=vision.RunningMode.IMAGE,
        num_poses=max_people,
        min_pose_detection_confidence=confidence,
        min_pose_presence_confidence=confidence,
    )
    return mp, vision.PoseLandmarker.create_from_options(options)


def _person(landmarks: Any, world: Any, size: NDArray[np.float64]) -> Person:
    points = np.array([(mark.x, mark.y) for mark in landmarks], dtype=np.float64) * size
    visibility = np.array([mark.visibility for mark in landmarks], dtype=np.float64)
    space = np.array([(mark.x, mark.y, mark.z) for mark in world], dtype=np.float64)
    return Person(points, visibility, space)
