"""From the frames of a recording to the arm-to-trunk angle of both arms, with their quality.

Two passes over the frames: the first looks at a few of them for the patient, the second reads
both arms in every frame on cut-outs in which the patient stands upright. The trunk lies still and
is pinned from many sightings; only the elbows are read frame by frame. A picture that does not
change is shown to the model in ever more views, so that a held arm is read from up to ten.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import cv2
import numpy as np

from logger.core.events import SIDES, ArmAngle, SeenBody, Side, Watched
from logger.seeing.angles import squared_angle_deg
from logger.seeing.bodies import median_person, painted_out
from logger.seeing.covering import CoverWatch
from logger.seeing.looks import paced
from logger.seeing.patient import FindsPeople, Trunk, View, view_of
from logger.seeing.pose import Joint, Person
from logger.seeing.search import Found, Search
from logger.seeing.settings import WatchSettings
from logger.seeing.view import elevation_deg, outward_deg

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from numpy.typing import NDArray

    from logger.seeing.looks import Frames, Picture

_ELBOW: Final[dict[Side, Joint]] = {"left": Joint.LEFT_ELBOW, "right": Joint.RIGHT_ELBOW}
_SCAPULAR_DEG: Final = 30.0
_OUT: Final = "the patient is hidden or has moved"
_COVERED: Final = "hands cover the arm"
_COVER_OPEN: Final = "it cannot be told whether hands cover the arm"
_DISAGREE: Final = "two readings disagree"
_LENGTH: Final = "the arm's length does not fit the body"
_EDGE: Final = "the arm leaves the picture"
_FAINT: Final = "the elbow is hidden"
_NO_PLACE: Final = "no arm could be seen so from here"
_PLANE: Final = "from here the arm's plane makes too much of a difference"
_MOVED_S: Final = 3.0
_PAIRED: Final = 6
"""From this many views on, mirrored pairs are compared rather than single views."""
_DRAWN: Final = 0.5
"""The visibility from which a joint is drawn."""


@dataclass(frozen=True, slots=True)
class _Reading:
    """One arm in one frame, before it is known which look of the shoulder is the bare one."""

    angle_deg: float | None = None
    seen_deg: float | None = None
    scapular_deg: float | None = None
    disagreement_deg: float | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class _Moment:
    time_s: float
    readings: dict[Side, _Reading]
    kinds: dict[Side, int]
    body: SeenBody | None
    strayed: bool
    """Whether a body like the patient's was seen, but elsewhere."""


@dataclass(slots=True)
class _Held:
    """The views of a picture that has not changed since the first of them."""

    small: NDArray[np.float64]
    shown: int = 0
    people: list[Person] = field(default_factory=list)
    strayed: bool = False
    readings: dict[Side, _Reading] = field(default_factory=dict)


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
        found = Search(self._settings, self._model).find(frames())
        taken = paced(frames(), self._settings.rate_hz)
        if found.trunk is None or found.reason:
            angles = tuple(
                ArmAngle(time_s, side, None, visible=False, reason=found.reason)
                for time_s, _ in taken
                for side in SIDES
            )
            return Watched(angles, (), (*found.warnings, *_slow(angles, self._settings)))
        covers = {side: CoverWatch(found.trunk, side, self._settings.cover) for side in SIDES}
        moments = list(self._moments(taken, found, found.trunk, covers))
        bare = {side: covers[side].bare() for side in SIDES}
        angles = tuple(_sample(moment, side, bare[side]) for moment in moments for side in SIDES)
        warnings = (*found.warnings, *_strayed(moments), *_slow(angles, self._settings))
        bodies = tuple(moment.body for moment in moments if moment.body is not None)
        return Watched(angles, bodies, warnings)

    def _moments(
        self, frames: Frames, found: Found, trunk: Trunk, covers: dict[Side, CoverWatch]
    ) -> Iterator[_Moment]:
        views = [view_of(trunk, framing) for framing in self._settings.framings]
        held: _Held | None = None
        for time_s, rgb in frames:
            small = _small(views[0].cut(rgb))
            if held is None or self._changed(small, held.small):
                held = _Held(small)
            if held.shown < len(views):
                self._show(rgb, found, trunk, views, held)
                held.readings = {s: self._reading(held, found, s, rgb.shape) for s in SIDES}
            kinds = {side: covers[side].kind(rgb) for side in SIDES}
            for side in SIDES:
                covers[side].note(kinds[side], held.readings[side].disagreement_deg)
            body = _drawn(time_s, held.people, trunk) if held.people else None
            yield _Moment(time_s, held.readings, kinds, body, held.strayed and not held.people)

    def _changed(self, small: NDArray[np.float64], last: NDArray[np.float64]) -> bool:
        pixels = (np.abs(small - last) > self._settings.still_levels).sum()
        return bool(pixels > self._settings.still_pixels)

    def _show(
        self, rgb: Picture, found: Found, trunk: Trunk, views: Sequence[View], held: _Held
    ) -> None:
        """Show the model the next views of a picture."""
        for person in found.others:
            rgb = painted_out(rgb, person)
        for view in views[held.shown : held.shown + self._settings.views_a_frame]:
            held.shown += 1
            people = [view.back(person) for person in self._model.people(view.cut(rgb))]
            nearest = min(people, key=trunk.distance, default=None)
            if nearest is None:
                continue
            away = trunk.distance(nearest)
            if away <= self._settings.most_trunk_away:
                held.people.append(nearest)
            else:
                held.strayed = True

    def _reading(self, held: _Held, found: Found, side: Side, shape: tuple[int, ...]) -> _Reading:
        trunk = found.trunk
        if trunk is None or not held.people:
            return _Reading(reason=_OUT)
        shoulder = _shoulder(trunk, side)
        elbows = [person.joint(_ELBOW[side]) for person in held.people]
        seen = [_outward(trunk, side, elbow) for elbow in elbows]
        values = [angle for angle in seen if angle is not None]
        if len(held.people) < max(2, 0.6 * held.shown) or len(values) < len(seen):
            return _Reading(reason=_DISAGREE)
        apart = _disagreement_deg(values, self._settings.most_pair_deg)
        elbow = np.median(elbows, axis=0)
        reading = self._elevation(found, side, elbow, float(np.median(values)))
        length = float(np.linalg.norm(elbow - shoulder)) / trunk.length_px
        inside = bool((elbow >= 0).all() and elbow[0] < shape[1] and elbow[1] < shape[0])
        sure = float(np.quantile([p.visibility[_ELBOW[side]] for p in held.people], 0.25))
        reason = self._fault(reading, apart, (length, sure), inside=inside)
        return _Reading(reading.angle_deg, reading.seen_deg, reading.scapular_deg, apart, reason)

    def _fault(
        self, reading: _Reading, apart: float, elbow: tuple[float, float], *, inside: bool
    ) -> str:
        """Return why a reading must not count; `elbow` is the arm's length and the visibility."""
        settings = self._settings
        doubt = 0.0
        if reading.angle_deg is not None and reading.scapular_deg is not None:
            doubt = abs(reading.angle_deg - reading.scapular_deg)
        checks = (
            (apart <= settings.most_disagreement_deg, _DISAGREE),
            (inside, _EDGE),
            (settings.arm_trunks[0] <= elbow[0] <= settings.arm_trunks[1], _LENGTH),
            (elbow[1] >= settings.least_elbow, _FAINT),
            (reading.angle_deg is not None, _NO_PLACE),
            (doubt <= settings.most_plane_doubt_deg, _PLANE),
        )
        return next((reason for passed, reason in checks if not passed), "")

    def _elevation(
        self, found: Found, side: Side, elbow: NDArray[np.float64], seen_deg: float
    ) -> _Reading:
        """Return the arm's angle, corrected for the view as far as the camera's place is known."""
        trunk, camera, model = found.trunk, found.camera, self._settings.view
        if trunk is None:
            return _Reading()
        if camera is None:
            axis, outward = trunk.mid_hip - trunk.mid_shoulder, _across(trunk, side)
            angle = squared_angle_deg(elbow - _shoulder(trunk, side), axis, outward)
            return _Reading(angle, abs(seen_deg))
        frontal = elevation_deg(seen_deg, side, camera, 0.0, model)
        scapular = elevation_deg(seen_deg, side, camera, _SCAPULAR_DEG, model)
        return _Reading(frontal, abs(seen_deg), scapular)


def _outward(trunk: Trunk, side: Side, elbow: NDArray[np.float64]) -> float | None:
    """Return the angle of an arm from the trunk in the picture, away from the body positive."""
    axis = trunk.mid_hip - trunk.mid_shoulder
    return outward_deg(elbow - _shoulder(trunk, side), axis, _across(trunk, side))


def _across(trunk: Trunk, side: Side) -> NDArray[np.float64]:
    return _shoulder(trunk, side) - _shoulder(trunk, "right" if side == "left" else "left")


def _shoulder(trunk: Trunk, side: Side) -> NDArray[np.float64]:
    point: NDArray[np.float64] = trunk.points[0 if side == "left" else 1]
    return point


def _disagreement_deg(values: Sequence[float], most_pair_deg: float) -> float:
    """Return by how much readings of one arm differ, in degrees; views come in mirrored pairs."""
    single = 2.0 * float(np.std(values))
    if len(values) < _PAIRED or len(values) % 2 or single > most_pair_deg:
        return single
    return 2.0 * float(np.std(np.reshape(values, (-1, 2)).mean(axis=1)))


def _small(cut: Picture) -> NDArray[np.float64]:
    grey = cv2.cvtColor(cut, cv2.COLOR_RGB2GRAY)
    return cv2.resize(grey, (128, 128), interpolation=cv2.INTER_AREA).astype(np.float64)


def _drawn(time_s: float, people: Sequence[Person], trunk: Trunk) -> SeenBody:
    """Return where the joints are; shoulders and hips as they are pinned."""
    person = median_person(people)
    points = {
        joint.name.lower(): (float(person.points[joint][0]), float(person.points[joint][1]))
        for joint in Joint
        if person.visibility[joint] >= _DRAWN
    }
    for name, point in zip(
        ("left_shoulder", "right_shoulder", "left_hip", "right_hip"), trunk.points, strict=True
    ):
        points[name] = (float(point[0]), float(point[1]))
    return SeenBody(time_s, points)


def _sample(moment: _Moment, side: Side, bare: int | None) -> ArmAngle:
    reading = moment.readings[side]
    reason = reading.reason
    if not reason and moment.kinds[side] != bare:
        reason = _COVERED if bare is not None else _COVER_OPEN
    visible = not reason and reading.angle_deg is not None
    return ArmAngle(
        moment.time_s,
        side,
        reading.angle_deg,
        visible=visible,
        reason=reason,
        seen_deg=reading.seen_deg,
        scapular_deg=reading.scapular_deg,
    )


def _strayed(moments: Sequence[_Moment]) -> tuple[str, ...]:
    """Warn where the recording ends with the patient somewhere else than pinned."""
    since_s: float | None = None
    for moment in moments:
        if moment.body is not None:
            since_s = None
        elif moment.strayed and since_s is None:
            since_s = moment.time_s
    if since_s is None or moments[-1].time_s - since_s < _MOVED_S:
        return ()
    return (
        f"The camera or the patient moved at {since_s:.0f} s: there are no angles from then on.",
    )


def _slow(angles: Sequence[ArmAngle], settings: WatchSettings) -> tuple[str, ...]:
    """Warn where pictures are too far apart for an arm to be seen holding still."""
    times = sorted({sample.time_s for sample in angles})
    if len(times) < 2:  # noqa: PLR2004 - one picture has no rate
        return ()
    rate_hz = (len(times) - 1) / (times[-1] - times[0])
    if rate_hz >= settings.slowest_hz:
        return ()
    warning = (
        f"The recording has {rate_hz:.1f} pictures a second: at least {settings.slowest_hz:.0f} "
        "are needed to see an arm hold still."
    )
    return (warning,)
