"""Both arms of one patient whose trunk is pinned: from sightings of a picture to their angles.

A picture that does not change is shown to the model in ever more views, so that a held arm is
read from up to ten. What counts is what the views agree on.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import cv2
import numpy as np

from logger.core.events import SIDES, ArmAngle, SeenBody, Side
from logger.seeing.angles import squared_angle_deg
from logger.seeing.bodies import median_person, painted_out
from logger.seeing.patient import FindsPeople, Trunk, view_of
from logger.seeing.pose import Joint, Person
from logger.seeing.view import elevation_deg, outward_deg

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from logger.seeing.looks import Picture
    from logger.seeing.search import Found
    from logger.seeing.settings import WatchSettings

_ELBOW: Final[dict[Side, Joint]] = {"left": Joint.LEFT_ELBOW, "right": Joint.RIGHT_ELBOW}
_SCAPULAR_DEG: Final = 30.0
OUT: Final = "the patient is hidden or has moved"
COVERED: Final = "hands cover the arm"
COVER_OPEN: Final = "it cannot be told whether hands cover the arm"
DISAGREE: Final = "two readings disagree"
LENGTH: Final = "the arm's length does not fit the body"
EDGE: Final = "the arm leaves the picture"
FAINT: Final = "the elbow is hidden"
NO_PLACE: Final = "no arm could be seen so from here"
PLANE: Final = "from here the arm's plane makes too much of a difference"
_LEAST_PAIRS: Final = 3
"""From this many views on, mirrored pairs are compared rather than single views."""
_DRAWN: Final = 0.5
"""The visibility from which a joint is drawn."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One arm in one picture, before it is known which look of the shoulder is the bare one."""

    angle_deg: float | None = None
    seen_deg: float | None = None
    scapular_deg: float | None = None
    disagreement_deg: float | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Sighting:
    """The patient in one view of a picture."""

    view: int
    """The number of the view, from 0: views 0 and 1, 2 and 3 and so on are mirrored pairs."""
    person: Person


@dataclass(slots=True)
class Held:
    """The views of a picture that has not changed since the first of them."""

    small: NDArray[np.float64]
    shown: int = 0
    """To how many views the model was shown."""
    sightings: list[Sighting] = field(default_factory=list)
    strayed: bool = False
    """Whether a body like the patient's was seen, but elsewhere."""
    trunks: list[Person] = field(default_factory=list)
    """Whoever may be the patient, also where too far off for the arms to count."""
    swapped: int = 0
    """In how many views a body lay there with left and right the other way round."""

    @property
    def people(self) -> list[Person]:
        """The patient in each view in which they were found."""
        return [sighting.person for sighting in self.sightings]


class ArmReader:
    """Reads both arms of the patient who was found, picture by picture."""

    def __init__(self, settings: WatchSettings, model: FindsPeople, found: Found) -> None:
        """Read with `model`, which stays the caller's to close; `found` must hold a trunk."""
        if found.trunk is None:
            raise ValueError("no trunk was found: there is nothing to read an arm from")
        self._settings = settings
        self._model = model
        self._found = found
        self.trunk: Trunk = found.trunk
        self._views = [view_of(found.trunk, framing) for framing in settings.framings]

    @property
    def view_count(self) -> int:
        """In how many views a picture can be shown."""
        return len(self._views)

    def small(self, rgb: Picture) -> NDArray[np.float64]:
        """Return the (128, 128) grey picture by which it is told whether anything changed."""
        grey = cv2.cvtColor(self._views[0].cut(rgb), cv2.COLOR_RGB2GRAY)
        return cv2.resize(grey, (128, 128), interpolation=cv2.INTER_AREA).astype(np.float64)

    def changed(self, small: NDArray[np.float64], last: NDArray[np.float64]) -> bool:
        """Return whether two pictures, as of `small`, differ by more than noise."""
        pixels = (np.abs(small - last) > self._settings.still_levels).sum()
        return bool(pixels > self._settings.still_pixels)

    def show(self, rgb: Picture, held: Held, numbers: Iterable[int]) -> None:
        """Show the model some views of a picture."""
        for person in self._found.others:
            rgb = painted_out(rgb, person)
        for number in numbers:
            view = self._views[number]
            held.shown += 1
            people = [view.back(person) for person in self._model.people(view.cut(rgb))]
            self._note(people, held, number)

    def _note(self, people: Sequence[Person], held: Held, number: int) -> None:
        nearest = min(people, key=self.trunk.distance, default=None)
        if nearest is None:
            return
        most, away = self._settings.most_trunk_away, self.trunk.distance(nearest)
        if away <= most:
            held.sightings.append(Sighting(number, nearest))
        else:
            held.strayed = True
        if away <= 2 * most:
            held.trunks.append(nearest)
        held.swapped += any(self.trunk.distance(p, swapped=True) <= 2 * most for p in people)

    def readings(self, held: Held, shape: tuple[int, ...]) -> dict[Side, Reading]:
        """Return what the views say of both arms in a picture of `shape`."""
        return {side: self._reading(held, side, shape) for side in SIDES}

    def body(self, time_s: float, people: Sequence[Person]) -> SeenBody | None:
        """Return where the joints are; shoulders and hips as they are pinned."""
        if not people:
            return None
        person = median_person(people)
        points = {
            joint.name.lower(): (float(person.points[joint][0]), float(person.points[joint][1]))
            for joint in Joint
            if person.visibility[joint] >= _DRAWN
        }
        names = ("left_shoulder", "right_shoulder", "left_hip", "right_hip")
        for name, point in zip(names, self.trunk.points, strict=True):
            points[name] = (float(point[0]), float(point[1]))
        return SeenBody(time_s, points)

    def _reading(self, held: Held, side: Side, shape: tuple[int, ...]) -> Reading:
        if not held.sightings:
            return Reading(reason=OUT)
        shoulder = _shoulder(self.trunk, side)
        views = [(self._outward(side, s.person.joint(_ELBOW[side])), s) for s in held.sightings]
        known = [(angle, sighting) for angle, sighting in views if angle is not None]
        kept = self._without_stray(known)
        if len(kept) < max(2, 0.6 * held.shown) or len(known) < len(views):
            return Reading(reason=DISAGREE)
        values = [angle for angle, _ in kept]
        numbers = [sighting.view for _, sighting in kept]
        people = [sighting.person for _, sighting in kept]
        apart = disagreement_deg(values, numbers, self._settings.most_pair_deg)
        elbow = np.median([person.joint(_ELBOW[side]) for person in people], axis=0)
        reading = self._elevation(side, elbow, float(np.median(values)))
        length = float(np.linalg.norm(elbow - shoulder)) / self.trunk.length_px
        inside = bool((elbow >= 0).all() and elbow[0] < shape[1] and elbow[1] < shape[0])
        sure = float(np.quantile([person.visibility[_ELBOW[side]] for person in people], 0.25))
        reason = self._fault(reading, apart, (length, sure), inside=inside)
        return Reading(reading.angle_deg, reading.seen_deg, reading.scapular_deg, apart, reason)

    def _without_stray(
        self, views: Sequence[tuple[float, Sighting]]
    ) -> list[tuple[float, Sighting]]:
        """Leave out the few of many views that see the arm somewhere else altogether."""
        middle = float(np.median([angle for angle, _ in views])) if views else 0.0
        most = self._settings.most_pair_deg
        near = [(angle, sighting) for angle, sighting in views if abs(angle - middle) <= most]
        few = len(views) - len(near) <= self._settings.stray_share * len(views)
        return near if few else list(views)

    def _fault(
        self, reading: Reading, apart: float, elbow: tuple[float, float], *, inside: bool
    ) -> str:
        """Return why a reading must not count; `elbow` is the arm's length and the visibility."""
        settings = self._settings
        doubt = 0.0
        if reading.angle_deg is not None and reading.scapular_deg is not None:
            doubt = abs(reading.angle_deg - reading.scapular_deg)
        checks = (
            (apart <= settings.most_disagreement_deg, DISAGREE),
            (inside, EDGE),
            (settings.arm_trunks[0] <= elbow[0] <= settings.arm_trunks[1], LENGTH),
            (elbow[1] >= settings.least_elbow, FAINT),
            (reading.angle_deg is not None, NO_PLACE),
            (doubt <= settings.most_plane_doubt_deg, PLANE),
        )
        return next((reason for passed, reason in checks if not passed), "")

    def _elevation(self, side: Side, elbow: NDArray[np.float64], seen_deg: float) -> Reading:
        """Return the arm's angle, corrected for the view as far as the camera's place is known."""
        trunk, camera, model = self.trunk, self._found.camera, self._settings.view
        if camera is None:
            axis, outward = trunk.mid_hip - trunk.mid_shoulder, _across(trunk, side)
            angle = squared_angle_deg(elbow - _shoulder(trunk, side), axis, outward)
            return Reading(angle, abs(seen_deg))
        frontal = elevation_deg(seen_deg, side, camera, 0.0, model)
        scapular = elevation_deg(seen_deg, side, camera, _SCAPULAR_DEG, model)
        return Reading(frontal, abs(seen_deg), scapular)

    def _outward(self, side: Side, elbow: NDArray[np.float64]) -> float | None:
        """Return the angle of an arm from the trunk in the picture, away from it positive."""
        trunk = self.trunk
        axis = trunk.mid_hip - trunk.mid_shoulder
        return outward_deg(elbow - _shoulder(trunk, side), axis, _across(trunk, side))


def disagreement_deg(values: Sequence[float], views: Sequence[int], most_pair_deg: float) -> float:
    """Return by how much readings of one arm differ, in degrees.

    The model errs to one side, in a mirrored view to the other: of enough views mirrored pairs
    are compared, unless single ones differ by more than `most_pair_deg`. `views` holds the number
    of each reading's view.
    """
    single = 2.0 * float(np.std(values))
    pairs: dict[int, list[float]] = {}
    for value, view in zip(values, views, strict=True):
        pairs.setdefault(view // 2, []).append(value)
    whole = [pair for pair in pairs.values() if len(pair) == 2]  # noqa: PLR2004 - a pair
    if len(whole) < _LEAST_PAIRS or single > most_pair_deg:
        return single
    return 2.0 * float(np.std(np.mean(whole, axis=1)))


def sample_of(time_s: float, side: Side, reading: Reading, kind: int, bare: int | None) -> ArmAngle:
    """Return a reading as it is given out, once it is known which look of the shoulder is bare."""
    reason = reading.reason
    if not reason and kind != bare:
        reason = COVERED if bare is not None else COVER_OPEN
    return ArmAngle(
        time_s,
        side,
        reading.angle_deg,
        visible=not reason and reading.angle_deg is not None,
        reason=reason,
        seen_deg=reading.seen_deg,
        scapular_deg=reading.scapular_deg,
    )


def blank(time_s: float, reason: str) -> tuple[ArmAngle, ArmAngle]:
    """Return both arms without an angle, left first."""
    left, right = SIDES
    return (
        ArmAngle(time_s, left, None, visible=False, reason=reason),
        ArmAngle(time_s, right, None, visible=False, reason=reason),
    )


def _across(trunk: Trunk, side: Side) -> NDArray[np.float64]:
    return _shoulder(trunk, side) - _shoulder(trunk, "right" if side == "left" else "left")


def _shoulder(trunk: Trunk, side: Side) -> NDArray[np.float64]:
    point: NDArray[np.float64] = trunk.points[0 if side == "left" else 1]
    return point
