"""Stills and sessions through the eye, as a recording goes through it."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import cv2
import numpy as np

from logger.core.errors import UsageError
from logger.findings.setup import SetupRules, read_setup
from logger.recording.media import open_recording
from logger.seeing.watching import Watcher

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from numpy.typing import NDArray

    from logger.bench.seeing.truth import KnownSession, Still
    from logger.core.events import ArmAngle, SetupReading, Side
    from logger.core.statements import SetupWindow
    from logger.seeing.patient import FindsPeople
    from logger.seeing.settings import WatchSettings

_HELD_FRAMES: Final = 8
_HELD_STEP_S: Final = 0.2


@dataclass(frozen=True, slots=True)
class ArmResult:
    """One arm that ought to have an angle."""

    what: str
    """The picture or the recording and test."""
    condition: str
    side: Side
    true_deg: float
    """The true elevation, in space."""
    given_deg: float | None
    seen_deg: float | None = None
    """The angle as it was in the picture."""
    reason: str = ""
    from_square_deg: float | None = None

    @property
    def error_deg(self) -> float | None:
        """Return given minus true; None where nothing was given."""
        return None if self.given_deg is None else self.given_deg - self.true_deg


@dataclass(frozen=True, slots=True)
class Cost:
    """What it took."""

    frames: int = 0
    wall_s: float = 0.0
    cpu_s: float = 0.0

    def plus(self, other: Cost) -> Cost:
        """Return the sum of both."""
        return Cost(
            self.frames + other.frames, self.wall_s + other.wall_s, self.cpu_s + other.cpu_s
        )


class Measured:
    """Runs the eye and keeps what came out."""

    def __init__(self, settings: WatchSettings, model: FindsPeople) -> None:
        """Watch with `model`, which stays the caller's to close."""
        self._watcher = Watcher(settings, model)
        self._settings = settings
        self.cost = Cost()

    def still(self, still: Still) -> list[ArmResult]:
        """Return the arms of one still, held for a second and a half."""
        rgb = _picture(still)
        frames = [(_HELD_STEP_S * i, rgb) for i in range(_HELD_FRAMES)]
        began = time.perf_counter(), time.process_time()
        watched = self._watcher.watch(lambda: frames)
        self._count(_HELD_FRAMES, began)
        results = []
        for side, true_deg in still.elevations_deg.items():
            end_s = frames[-1][0]
            reading = read_setup(watched.angles, side, end_s, None, SetupRules())
            result = _result(still.path.name, still.condition, side, true_deg, reading)
            reason = next((a.reason for a in reversed(watched.angles) if a.side == side), "")
            results.append(
                replace(
                    result,
                    reason="" if result.given_deg is not None else reason,
                    from_square_deg=still.from_square_deg,
                )
            )
        return results

    def session(self, session: KnownSession, windows: Mapping[str, SetupWindow]) -> list[ArmResult]:
        """Return the setup of every test of a session against the elevation when it is spoken."""
        recording = open_recording(session.video)

        def frames() -> Iterator[tuple[float, NDArray[np.uint8]]]:
            for frame in recording.frames(self._settings.rate_hz):
                yield frame.time_s, frame.rgb

        began = time.perf_counter(), time.process_time()
        angles = self._watcher.watch(frames).angles
        self._count(len(angles) // 2, began)
        return [
            _result(
                f"{session.video.parent.name} {test.start_s:.1f} s {test.test}",
                "session",
                test.side,
                session.elevation_deg(test.side, test.start_s),
                _setup(angles, test.side, test.start_s, windows.get(test.test)),
            )
            for test in session.tests
        ]

    def _count(self, frames: int, began: tuple[float, float]) -> None:
        taken = Cost(frames, time.perf_counter() - began[0], time.process_time() - began[1])
        self.cost = self.cost.plus(taken)


def _setup(
    angles: tuple[ArmAngle, ...], side: Side, at_s: float, window: SetupWindow | None
) -> SetupReading:
    return read_setup(angles, side, at_s, window, SetupRules())


def _result(
    what: str, condition: str, side: Side, true_deg: float, reading: SetupReading
) -> ArmResult:
    given, by = reading.angle_deg, reading.corrected_by_deg
    seen = None if given is None else given - (by or 0.0)
    return ArmResult(what, condition, side, true_deg, given, seen, reading.status.value)


def _picture(still: Still) -> NDArray[np.uint8]:
    bgr = cv2.imread(str(still.path))
    if bgr is None:
        raise UsageError(f"{still.path} is no picture that can be read.")
    return np.ascontiguousarray(bgr[:, :, ::-1]).astype(np.uint8)
