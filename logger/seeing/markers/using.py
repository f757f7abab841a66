"""When markers are used: told by the user, or noticed in the frames that are looked at anyway."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final, Literal, get_args

import numpy as np
from numpy.typing import NDArray

from logger.core.errors import UsageError
from logger.core.events import SIDES, Side, Watched
from logger.seeing.markers.camera import CameraChoice, load_calibration
from logger.seeing.markers.detecting import MarkerDetector
from logger.seeing.markers.strips import ARM_STRIPS, STRIPS, TRUNK_STRIPS, StripName
from logger.seeing.markers.watching import MarkerWatcher

MarkerUse = Literal["auto", "only", "off"]
MARKER_USES: Final[tuple[MarkerUse, ...]] = get_args(MarkerUse)
_LEAST_LOOKS: Final = 2
_LEAST_MARKERS: Final = 2
"""A single marker may be a misread pattern in the room."""


@dataclass(frozen=True, slots=True)
class MarkerOptions:
    """What the user said of markers."""

    use: MarkerUse = "auto"
    """auto: an arm that wears a strip is read by it, the other by pose; only: no pose model."""
    camera: CameraChoice = field(default_factory=CameraChoice)
    neutral_s: float | None = None

    def watcher(self) -> MarkerWatcher:
        """Return a watcher for one recording."""
        return MarkerWatcher(self.camera, self.neutral_s)

    def unused(self, watched: Watched) -> Watched:
        """Return what was watched without markers, with a word where the user expected some."""
        if self.camera == CameraChoice() and self.neutral_s is None:
            return watched
        warning = (
            "No strips of markers were found on trunk and arm: the angles are by pose, and what "
            "was said of the camera or the neutral position had no effect."
        )
        return replace(watched, warnings=(*watched.warnings, warning))

    def in_session(self) -> dict[str, str | bool]:
        """Return what differs from the default, for session.json."""
        said: dict[str, str | bool] = {}
        if self.use != "auto":
            said["markers"] = self.use
        if self.camera != CameraChoice():
            said["marker_camera"] = self.camera.in_words
        if self.neutral_s is not None:
            said["neutral_s"] = f"{self.neutral_s:g}"
        return said


def camera_choice(calibration: Path | None, focal_35mm: float | None) -> CameraChoice:
    """Return the camera as the user gave it.

    Raises:
        UsageError: if both are given, or the calibration cannot be used.

    """
    if calibration is not None and focal_35mm is not None:
        raise UsageError(
            "--calibration and --focal-35mm both say what the camera is: give one of them."
        )
    calibrated = None if calibration is None else load_calibration(calibration)
    return CameraChoice(calibrated, focal_35mm)


class MarkerScout:
    """Peeks at the frames that go by for strips of markers."""

    def __init__(self, *, active: bool = True, every_s: float = 1.0) -> None:
        """Look once in `every_s`, on the first pass through the frames; not at all if inactive."""
        self._active = active
        self._every_s = every_s
        self._detector = MarkerDetector()
        self._looks: Counter[StripName] = Counter()

    def through(
        self, frames: Iterable[tuple[float, NDArray[np.uint8]]]
    ) -> Iterator[tuple[float, NDArray[np.uint8]]]:
        """Yield the frames as they are."""
        due_s = -np.inf
        for time_s, rgb in frames:
            if self._active and time_s >= due_s:
                due_s = time_s + self._every_s
                self._look(rgb)
            yield time_s, rgb
        self._active = False

    @property
    def sides(self) -> tuple[Side, ...]:
        """The arms that can be read by markers: both their strip and a trunk's were seen."""
        seen = {name for name, looks in self._looks.items() if looks >= _LEAST_LOOKS}
        if seen.isdisjoint(TRUNK_STRIPS):
            return ()
        return tuple(side for side in SIDES if ARM_STRIPS[side] in seen)

    def _look(self, rgb: NDArray[np.uint8]) -> None:
        found = self._detector.find(rgb)
        for name, strip in STRIPS.items():
            count = sum(number in strip.ids for number in found.corners_px)
            if count >= _LEAST_MARKERS:
                self._looks[name] += 1


def with_markers(pose: Watched, markers: Watched, sides: Sequence[Side]) -> Watched:
    """Return the pose's samples with those of `sides` replaced by the markers', throughout.

    Nothing is mixed within one arm: where the markers are covered the arm has no angle, so that a
    steady window never rests on two rulers.
    """
    kept = [sample for sample in pose.angles if sample.side not in sides]
    taken = [sample for sample in markers.angles if sample.side in sides]
    angles = sorted((*kept, *taken), key=lambda sample: (sample.time_s, sample.side))
    return replace(pose, angles=tuple(angles), warnings=(*pose.warnings, *markers.warnings))
