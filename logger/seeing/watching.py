"""From the frames of a recording to the arm-to-trunk angle of both arms, with their quality.

Two passes over the frames: the first looks at a few of them for the patient, the second reads
both arms in every frame on cut-outs in which the patient stands upright. The trunk lies still and
is pinned from many sightings; only the elbows are read frame by frame.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final

import cv2
import numpy as np

from logger.core.events import SIDES, ArmAngle, Side, Watched
from logger.seeing.angles import skew_deg, squared_angle_deg
from logger.seeing.covering import CoverSettings, CoverWatch
from logger.seeing.patient import (
    TRUNK,
    FindsPeople,
    Framing,
    Trunk,
    View,
    choose_patient,
    sightings,
    view_of,
)
from logger.seeing.pose import Joint, Person

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from numpy.typing import NDArray

    Frames = Iterable[tuple[float, NDArray[np.uint8]]]

_ELBOW: Final[dict[Side, Joint]] = {"left": Joint.LEFT_ELBOW, "right": Joint.RIGHT_ELBOW}
_FEW: Final = 5
"""Sightings below which the trunk stays as it was found."""
_OUT: Final = "the patient is hidden or has moved"
_NOBODY: Final = "no patient lying still in view"
_SIDES_UNSURE: Final = "left and right cannot be told apart"
_OBLIQUE: Final = "the patient is seen from too far aside"
_COVERED: Final = "hands cover the arm"
_COVER_OPEN: Final = "it cannot be told whether hands cover the arm"
_DISAGREE: Final = "two readings disagree"
_LENGTH: Final = "the arm's length does not fit the body"
_EDGE: Final = "the arm leaves the picture"
_FAINT: Final = "the elbow is hidden"


@dataclass(frozen=True, slots=True)
class WatchSettings:
    """What the eye looks at and what it lets count."""

    rate_hz: float = 6.0
    """Frames looked at in a second; fewer where the recording has fewer."""
    looks: int = 24
    """Frames, spread over the recording, on which the patient is looked for."""
    least_trunk_px: float = 40.0
    """A trunk shorter than this is too small to read an arm from."""
    most_trunk_away: float = 0.12
    """How far a frame's trunk may lie from the pinned one, in trunk lengths."""
    most_skew_deg: float = 20.0
    most_disagreement_deg: float = 8.0
    least_elbow: float = 0.6
    """The model's own visibility of the elbow, 0 to 1."""
    arm_trunks: tuple[float, float] = (0.33, 0.75)
    """Lengths of the upper arm, shoulder to elbow, that fit a trunk of length 1."""
    still_levels: float = 10.0
    """A picture counts as unchanged while hardly a pixel of the small cut-out differs by more
    than this, of 255."""
    still_pixels: int = 3
    """How many pixels of the small cut-out (128 x 128) may differ all the same."""
    first: Framing = field(default_factory=Framing)
    second: Framing = field(default_factory=lambda: Framing(turn_deg=8.0, mirrored=True))
    cover: CoverSettings = field(default_factory=CoverSettings)


@dataclass(frozen=True, slots=True)
class _Reading:
    """One arm in one frame, before it is known which look of the shoulder is the bare one."""

    angle_deg: float | None = None
    disagreement_deg: float | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class _Moment:
    time_s: float
    readings: dict[Side, _Reading]
    kinds: dict[Side, int]


class Watcher:
    """Reads both arms of the patient over a recording."""

    def __init__(self, settings: WatchSettings, model: FindsPeople) -> None:
        """Watch with `model`, which stays the caller's to close."""
        self._settings = settings
        self._model = model

    def watch(self, frames: Callable[[], Frames]) -> Watched:
        """Return the samples of both arms in the order of time.

        `frames` is called twice and must each time give the recording afresh from its start, as
        (time_s, (h, w, 3) uint8 RGB). Without a patient every sample has no angle and a reason.
        """
        trunk = self.find_patient(frames())
        taken = paced(frames(), self._settings.rate_hz)
        reason = self._unfit(trunk)
        if trunk is None or reason:
            return Watched(
                tuple(
                    ArmAngle(time_s, side, None, visible=False, reason=reason)
                    for time_s, _ in taken
                    for side in SIDES
                )
            )
        covers = {side: CoverWatch(trunk, side, self._settings.cover) for side in SIDES}
        moments = list(self._moments(taken, trunk, covers))
        bare = {side: covers[side].bare() for side in SIDES}
        return Watched(
            tuple(_sample(moment, side, bare[side]) for moment in moments for side in SIDES)
        )

    def find_patient(self, frames: Frames) -> Trunk | None:
        """Return the trunk of the person who lies still through the frames, or None."""
        looks = spread(frames, self._settings.looks)
        seen = [
            sightings(self._model, rgb, (0, 1) if number % 2 else (2, 3))
            for number, rgb in enumerate(looks)
        ]
        trunk = choose_patient(seen)
        return None if trunk is None else self._refined(trunk, looks)

    def _refined(self, trunk: Trunk, looks: list[NDArray[np.uint8]]) -> Trunk:
        """Pin the trunk afresh from upright, larger views of the same frames."""
        views = view_of(trunk, self._settings.first), view_of(trunk, self._settings.second)
        people = [self._patient(view.cut(rgb), view, trunk) for rgb in looks for view in views]
        found = [person.points[list(TRUNK)] for person in people if person is not None]
        if len(found) < min(_FEW, len(looks)):
            return trunk
        return replace(trunk, points=np.median(found, axis=0))

    def _unfit(self, trunk: Trunk | None) -> str:
        if trunk is None or trunk.length_px < self._settings.least_trunk_px:
            return _NOBODY
        if not trunk.sides_sure:
            return _SIDES_UNSURE
        skew = skew_deg(trunk.points[0] - trunk.points[1], trunk.mid_hip - trunk.mid_shoulder)
        return _OBLIQUE if skew is None or skew > self._settings.most_skew_deg else ""

    def _moments(
        self, frames: Frames, trunk: Trunk, covers: dict[Side, CoverWatch]
    ) -> Iterator[_Moment]:
        views = view_of(trunk, self._settings.first), view_of(trunk, self._settings.second)
        last: NDArray[np.float64] | None = None
        readings: dict[Side, _Reading] = {}
        for time_s, rgb in frames:
            cut = views[0].cut(rgb)
            small = _small(cut)
            if last is None or self._changed(small, last):
                last = small
                readings = self._read(rgb, cut, trunk, views)
            kinds = {side: covers[side].kind(rgb) for side in SIDES}
            for side in SIDES:
                covers[side].note(kinds[side], readings[side].disagreement_deg)
            yield _Moment(time_s, readings, kinds)

    def _changed(self, small: NDArray[np.float64], last: NDArray[np.float64]) -> bool:
        pixels = (np.abs(small - last) > self._settings.still_levels).sum()
        return bool(pixels > self._settings.still_pixels)

    def _read(
        self,
        rgb: NDArray[np.uint8],
        cut: NDArray[np.uint8],
        trunk: Trunk,
        views: tuple[View, View],
    ) -> dict[Side, _Reading]:
        first = self._patient(cut, views[0], trunk)
        if first is None:
            return dict.fromkeys(SIDES, _Reading(reason=_OUT))
        second = self._patient(views[1].cut(rgb), views[1], trunk)
        return {side: self._reading(first, second, trunk, side, rgb.shape) for side in SIDES}

    def _patient(self, cut: NDArray[np.uint8], view: View, trunk: Trunk) -> Person | None:
        people = [view.back(person) for person in self._model.people(cut)]
        nearest = min(people, key=trunk.distance, default=None)
        if nearest is None or trunk.distance(nearest) > self._settings.most_trunk_away:
            return None
        return nearest

    def _reading(
        self,
        first: Person,
        second: Person | None,
        trunk: Trunk,
        side: Side,
        shape: tuple[int, ...],
    ) -> _Reading:
        settings = self._settings
        one = arm_angle_deg(trunk, first, side)
        two = None if second is None else arm_angle_deg(trunk, second, side)
        if one is None or two is None or second is None:
            return _Reading(one, None, _DISAGREE)
        apart = abs(one - two)
        elbow = (first.joint(_ELBOW[side]) + second.joint(_ELBOW[side])) / 2
        length = np.linalg.norm(elbow - _shoulder(trunk, side)) / trunk.length_px
        inside = (elbow >= 0).all() and elbow[0] < shape[1] and elbow[1] < shape[0]
        seen = min(first.visibility[_ELBOW[side]], second.visibility[_ELBOW[side]])
        checks = (
            (apart <= settings.most_disagreement_deg, _DISAGREE),
            (inside, _EDGE),
            (settings.arm_trunks[0] <= length <= settings.arm_trunks[1], _LENGTH),
            (seen >= settings.least_elbow, _FAINT),
        )
        reason = next((reason for passed, reason in checks if not passed), "")
        return _Reading((one + two) / 2, apart, reason)


def arm_angle_deg(trunk: Trunk, person: Person, side: Side) -> float | None:
    """Return the arm-to-trunk angle of one arm of a person whose trunk is pinned."""
    shoulder = _shoulder(trunk, side)
    other = trunk.points[1] if side == "left" else trunk.points[0]
    arm = person.joint(_ELBOW[side]) - shoulder
    return squared_angle_deg(arm, trunk.mid_hip - trunk.mid_shoulder, shoulder - other)


def paced(frames: Frames, rate_hz: float) -> Iterator[tuple[float, NDArray[np.uint8]]]:
    """Yield at most `rate_hz` frames a second; all of them where there are fewer."""
    step_s = 1.0 / rate_hz
    due_s: float | None = None
    for time_s, rgb in frames:
        # A tenth of a step of slack: times from a file are not exact.
        if due_s is not None and time_s < due_s - 0.1 * step_s:
            continue
        due_s = time_s + step_s if due_s is None else max(due_s, time_s - step_s / 2) + step_s
        yield time_s, rgb


def spread(frames: Frames, count: int) -> list[NDArray[np.uint8]]:
    """Return up to `count` frames spread evenly over a recording of unknown length."""
    kept: list[NDArray[np.uint8]] = []
    step = 1
    for number, (_, rgb) in enumerate(frames):
        if number % step:
            continue
        kept.append(rgb)
        if len(kept) >= 2 * count:
            kept = kept[::2]
            step *= 2
    chosen = np.unique(np.linspace(0, len(kept) - 1, min(count, len(kept))).round().astype(int))
    return [kept[index] for index in chosen]


def _shoulder(trunk: Trunk, side: Side) -> NDArray[np.float64]:
    point: NDArray[np.float64] = trunk.points[0 if side == "left" else 1]
    return point


def _small(cut: NDArray[np.uint8]) -> NDArray[np.float64]:
    grey = cv2.cvtColor(cut, cv2.COLOR_RGB2GRAY)
    return cv2.resize(grey, (128, 128), interpolation=cv2.INTER_AREA).astype(np.float64)


def _sample(moment: _Moment, side: Side, bare: int | None) -> ArmAngle:
    reading = moment.readings[side]
    reason = reading.reason
    if not reason and moment.kinds[side] != bare:
        reason = _COVERED if bare is not None else _COVER_OPEN
    visible = not reason and reading.angle_deg is not None
    return ArmAngle(moment.time_s, side, reading.angle_deg, visible=visible, reason=reason)
