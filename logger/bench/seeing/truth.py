"""Folders of stills and sessions with known angles."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from logger.core.errors import UsageError
from logger.core.events import SIDES, Side

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

_ONE: Final = "one_truth.json"
_TWO: Final = "two_truth.json"
_PRONE: Final = "prone_truth.json"
_SHORT: Final[dict[str, Side]] = {"L": "left", "R": "right", "left": "left", "right": "right"}
_COLUMN: Final[dict[Side, str]] = {"left": "left_elevation_deg", "right": "right_elevation_deg"}


@dataclass(frozen=True, slots=True)
class Still:
    """One picture and the true elevations of the arms that count in it."""

    path: Path
    condition: str
    """front, oblique, prone or two."""
    elevations_deg: dict[Side, float]
    """Of both arms; where a clinician is about, of the arm under test only."""
    from_square_deg: float | None = None
    """How far the camera is from square on to the front or the back, if the truth tells."""


@dataclass(frozen=True, slots=True)
class SpokenTest:
    """One finding that names a test, as it should be written."""

    start_s: float
    side: Side
    test: str


@dataclass(frozen=True, slots=True)
class KnownSession:
    """A recording with the true elevations of both arms over time."""

    video: Path
    times_s: NDArray[np.float64]
    elevations_deg: dict[Side, NDArray[np.float64]]
    tests: tuple[SpokenTest, ...]

    def elevation_deg(self, side: Side, at_s: float) -> float:
        """Return the true elevation of an arm at the frame nearest to a time."""
        return float(self.elevations_deg[side][np.abs(self.times_s - at_s).argmin()])


def stills_in(folder: Path) -> list[Still]:
    """Return the stills of a folder by its truth files, any of which may be missing.

    Raises `UsageError` naming the file where there is none or one cannot be read.
    """
    if not folder.is_dir():
        raise UsageError(f"There is no folder {folder}; give one of stills with --stills.")
    stills: list[Still] = []
    for name in (_ONE, _TWO, _PRONE):
        if (folder / name).is_file():
            truth = _read(folder / name)
            stills += [_still(folder, name, picture, facts) for picture, facts in truth.items()]
    if not stills:
        raise UsageError(
            f"{folder} holds no truth: put {_ONE}, {_TWO} or {_PRONE} beside the pictures."
        )
    return stills


def session_in(folder: Path) -> KnownSession:
    """Return the session of a folder with `session.mp4` and `truth.json`.

    Raises `UsageError` naming what is missing.
    """
    video, path = folder / "session.mp4", folder / "truth.json"
    for needed in (video, path):
        if not needed.is_file():
            raise UsageError(f"There is no {needed}; a session is a session.mp4 and a truth.json.")
    truth = _read(path)
    try:
        rows = np.array(truth["frames"], dtype=np.float64)
        place = {name: i for i, name in enumerate(truth["columns"])}
        elevations = {side: rows[:, place[_COLUMN[side]]] for side in SIDES}
        spoken = [(e["start"], e.get("expect") or {}) for e in truth["events"]]
        tests = tuple(
            SpokenTest(float(start), _SHORT[said["side"]], said["test"])
            for start, said in spoken
            if "test" in said and "side" in said
        )
        return KnownSession(video, rows[:, place["time_s"]], elevations, tests)
    except (KeyError, IndexError, TypeError, ValueError) as error:
        raise UsageError(f"{path} is not laid out as a session's truth: {error!r}.") from error


def _still(folder: Path, name: str, picture: str, facts: dict[str, Any]) -> Still:
    try:
        condition = {_TWO: "two", _PRONE: "prone"}.get(name) or str(facts["group"])
        sides = (_SHORT[facts["side"]],) if name == _TWO else SIDES
        elevations = {side: float(facts[f"{side}_elevation"]) for side in sides}
    except (KeyError, TypeError, ValueError) as error:
        raise UsageError(f"{folder / name}, {picture}: {error!r} is missing or wrong.") from error
    if not (folder / picture).is_file():
        raise UsageError(f"{folder / name} names {picture}, which is not there.")
    return Still(folder / picture, condition, elevations, _from_square(facts))


def _from_square(facts: dict[str, Any]) -> float | None:
    if "azimuth" not in facts or "camera_elevation" not in facts:
        return None
    around = np.radians(float(facts["azimuth"]))
    up = np.radians(float(facts["camera_elevation"]))
    return float(np.degrees(np.arccos(np.clip(abs(np.cos(around)) * np.cos(up), -1.0, 1.0))))


def _read(path: Path) -> dict[str, Any]:
    try:
        truth = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise UsageError(f"{path} cannot be read as JSON: {error}.") from error
    if not isinstance(truth, dict):
        raise UsageError(f"{path} is no JSON object; lay it out as the README says.")
    return truth
