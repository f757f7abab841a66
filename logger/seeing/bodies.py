"""Everyone who is in a recording, and which of them is the patient.

Frames spread over the recording are shown to the model turned by quarters, since a lying body may
point anywhere. What is seen of one still body agrees from frame to frame and from turn to turn;
what is seen of a moving clinician, or of a mixture of two bodies, does not. Among bodies that
keep as still as each other the patient is the one that lies stretched out; where that does not
settle it, nobody is chosen.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import cv2
import numpy as np

from logger.seeing.angles import line_angle_deg, skew_deg
from logger.seeing.patient import TRUNK, FindsPeople, Trunk, quarter_view
from logger.seeing.pose import Joint, Person

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

Region = tuple[float, float, float, float]
"""x, y of the upper left corner, width and height, in pixels of the picture as shown."""

_SWAPPED: Final = [1, 0, 3, 2]
_LEGS: Final = (
    (Joint.LEFT_HIP, Joint.LEFT_KNEE, Joint.LEFT_ANKLE),
    (Joint.RIGHT_HIP, Joint.RIGHT_KNEE, Joint.RIGHT_ANKLE),
)
_LIMBS: Final = (
    (Joint.LEFT_SHOULDER, Joint.RIGHT_SHOULDER, 0.35),
    (Joint.LEFT_SHOULDER, Joint.LEFT_HIP, 0.35),
    (Joint.RIGHT_SHOULDER, Joint.RIGHT_HIP, 0.35),
    (Joint.LEFT_HIP, Joint.RIGHT_HIP, 0.35),
    (Joint.LEFT_SHOULDER, Joint.LEFT_ELBOW, 0.22),
    (Joint.RIGHT_SHOULDER, Joint.RIGHT_ELBOW, 0.22),
    (Joint.LEFT_ELBOW, Joint.LEFT_WRIST, 0.18),
    (Joint.RIGHT_ELBOW, Joint.RIGHT_WRIST, 0.18),
    (Joint.LEFT_HIP, Joint.LEFT_KNEE, 0.3),
    (Joint.RIGHT_HIP, Joint.RIGHT_KNEE, 0.3),
    (Joint.LEFT_KNEE, Joint.LEFT_ANKLE, 0.25),
    (Joint.RIGHT_KNEE, Joint.RIGHT_ANKLE, 0.25),
)
"""What of a body is painted out: two joints and the limb's width in trunk lengths."""
_HEAD_MARKS: Final = 11
_ALIKE: Final = 1.25
"""Trunks that differ by no more than this factor may be one body's, from two places."""


@dataclass(frozen=True, slots=True)
class ChoiceRules:
    """When sightings are of one body, and when a body is the patient."""

    within_trunks: float = 0.2
    """Sightings agree where their trunk corners are this near on average, in trunk lengths."""
    least_support: float = 0.15
    """The least share of the frames in which the patient must have been seen in one place."""
    least_looks: int = 3
    """In how many frames, where there are as many."""
    rival_share: float = 0.6
    """A body seen in this share of the best one's frames is as still as that one."""
    most_legs_deg: float = 35.0
    """The thighs of a body stretched out point along its trunk, within this."""
    most_skew_deg: float = 25.0
    least_knee: float = 0.5
    """The model's visibility from which a knee counts as seen."""
    widths: tuple[float, float] = (0.4, 1.1)
    """Shoulder width in trunk lengths of a body seen from the front or the back."""


@dataclass(frozen=True, slots=True)
class Body:
    """One still body."""

    person: Person
    """The median of what was seen of it, in pixels of the picture."""
    looks: frozenset[int]
    """The numbers of the frames in which it was seen."""
    support: float
    """Their share of the frames looked at."""
    sides_sure: bool
    """False where sightings disagree on which shoulder is the left one."""

    @property
    def trunk(self) -> Trunk:
        """Return its trunk."""
        return Trunk(self.person.points[list(TRUNK)], self.support, self.sides_sure)


@dataclass(frozen=True, slots=True)
class Choice:
    """Who the patient is."""

    patient: Body | None
    others: tuple[Body, ...] = ()
    """Bodies that keep still beside the patient."""
    warning: str = ""
    """What is uncertain about the choice or why there is none; a sentence, or empty."""


def people_in(model: FindsPeople, rgb: NDArray[np.uint8], quarters: int) -> list[Person]:
    """Return everyone found in one frame turned by quarters, in pixels of the frame."""
    view = quarter_view(rgb.shape, quarters)
    return [view.back(person) for person in model.people(view.cut(rgb))]


def painted_out(rgb: NDArray[np.uint8], person: Person) -> NDArray[np.uint8]:
    """Return the picture with a body painted over in the colour of what lies around it."""
    points = np.clip(person.points, -4.0 * max(rgb.shape), 4.0 * max(rgb.shape))
    corners = points[list(TRUNK)]
    size = max(_length(corners), math.dist(corners[0], corners[1]))
    mask = np.zeros(rgb.shape[:2], dtype=np.uint8)
    cv2.fillConvexPoly(mask, corners[[0, 1, 3, 2]].round().astype(np.int32), 255)
    for first, second, width in _LIMBS:
        _line(mask, points[first], points[second], width * size)
    head = points[:_HEAD_MARKS].mean(axis=0)
    _line(mask, head, head, 0.6 * size)
    _line(mask, head, corners[:2].mean(axis=0), 0.25 * size)
    ring = (cv2.dilate(mask, np.ones((15, 15), np.uint8)) > 0) & (mask == 0)
    out = rgb.copy()
    if ring.any():
        out[mask > 0] = np.median(rgb[ring], axis=0)
    return out


def bodies_of(seen: Sequence[Sequence[Person]], rules: ChoiceRules) -> list[Body]:
    """Return the still bodies among the sightings, the best supported first.

    `seen` holds one list of people a frame. Sightings that belong to no still body are left out.
    """
    looks = np.array([i for i, found in enumerate(seen) for _ in found], dtype=np.intp)
    people = [person for found in seen for person in found]
    if not people:
        return []
    trunks = np.array([person.points[list(TRUNK)] for person in people])
    close = np.array([_near(trunks, trunk, rules.within_trunks) for trunk in trunks])
    free = np.ones(len(people), dtype=bool)
    least = min(rules.least_looks, len(seen))
    bodies: list[Body] = []
    while free.any():
        support = np.array([np.unique(looks[row & free]).size for row in close])
        best = int((support * free + (close & free).sum(axis=1) / (1.0 + len(people))).argmax())
        members = close[best] & free
        frames = frozenset(int(i) for i in looks[members])
        if len(frames) < max(least, rules.least_support * len(seen)) or not members.any():
            break
        points = np.median(trunks[members], axis=0)
        swapped = _near(trunks[:, _SWAPPED], points, rules.within_trunks) & free & ~members
        sure = bool(swapped.sum() * 4 < members.sum())
        person = _median([people[i] for i in np.flatnonzero(members)])
        bodies.append(Body(person, frames, len(frames) / len(seen), sure))
        # A mixture of this body with another one is seen in its place too: no body of its own.
        free &= ~(members | swapped | _over(trunks, points))
    return bodies


def lies_stretched(body: Body, rules: ChoiceRules) -> bool | None:
    """Return whether a body looks as one that lies on a table seen from above; None if unknown.

    It is seen from the front or the back, and both thighs point along its trunk. A clinician who
    bends over is seen from the side, with one knee behind the other. The knees may be out of the
    picture; then it is not known.
    """
    points, sight = body.person.points, body.person.visibility
    trunk = body.trunk
    axis = trunk.mid_hip - trunk.mid_shoulder
    shoulders = trunk.points[0] - trunk.points[1]
    skew = skew_deg(shoulders, axis)
    width = math.hypot(*shoulders) / max(trunk.length_px, 1.0)
    if skew is None or skew > rules.most_skew_deg:
        return False
    if not rules.widths[0] <= width <= rules.widths[1]:
        return False
    if all(sight[knee] < rules.least_knee for _, knee, _ in _LEGS):
        return None
    for hip, knee, _ in _LEGS:
        turned = line_angle_deg(points[knee] - points[hip], axis)
        if sight[knee] < rules.least_knee or turned is None or turned > rules.most_legs_deg:
            return False
    return True


def choose(bodies: Sequence[Body], rules: ChoiceRules, region: Region | None = None) -> Choice:
    """Return which of the still bodies is the patient."""
    if region is not None:
        inside = [body for body in bodies if _inside(body.trunk, region)]
        if not inside:
            return Choice(None, (), "Nobody who keeps still is inside --patient-region.")
        chosen = choose(inside, rules)
        others = tuple(body for body in bodies if body is not chosen.patient)
        return Choice(chosen.patient, others, chosen.warning)
    if not bodies:
        return Choice(None, (), "Nobody lying still was found in the picture.")
    best = max(bodies, key=lambda body: body.support)
    likely = [body for body in bodies if body.support >= rules.rival_share * best.support]
    moved = _moved([body for body in likely if lies_stretched(body, rules) is not False])
    if moved is not None:
        return Choice(
            moved, (), "The camera or the patient was moved: only the time before it counts."
        )
    return _lying(likely, bodies, rules)


def _lying(likely: Sequence[Body], bodies: Sequence[Body], rules: ChoiceRules) -> Choice:
    """Choose among bodies that keep equally still by how they lie."""
    lying = [body for body in likely if lies_stretched(body, rules)]
    unknown = [body for body in likely if lies_stretched(body, rules) is None]
    chosen = lying or unknown
    if len(chosen) > 1 or (lying and unknown):
        return Choice(
            None,
            tuple(bodies),
            f"{len(likely)} people keep still and any of them may be the patient: "
            "give the patient's place with --patient-region x,y,w,h.",
        )
    if not chosen:
        return Choice(
            None,
            tuple(bodies),
            "The person who keeps still does not look like one who lies on a table: give the "
            "patient's place with --patient-region x,y,w,h.",
        )
    others = tuple(_without(bodies, chosen[0]))
    unsure = len(likely) > 1
    return Choice(
        chosen[0],
        others,
        "More than one person keeps still: the one who lies stretched out was taken for the "
        "patient; check that, or give --patient-region x,y,w,h."
        if unsure
        else "",
    )


def _without(bodies: Sequence[Body], one: Body) -> list[Body]:
    return [body for body in bodies if body is not one]


def _moved(likely: Sequence[Body]) -> Body | None:
    """Return the first of two or more that are one body at different times, or None.

    They are never seen together, and are about as large: the camera was moved, or the patient.
    """
    if len(likely) < 2:  # noqa: PLR2004 - one body is in one place
        return None
    in_time = sorted(likely, key=lambda body: min(body.looks))
    apart = all(
        min(later.looks) > max(sooner.looks) for sooner, later in itertools.pairwise(in_time)
    )
    lengths = [body.trunk.length_px for body in likely]
    return in_time[0] if apart and max(lengths) <= _ALIKE * min(lengths) else None


def _inside(trunk: Trunk, region: Region) -> bool:
    x, y = trunk.points.mean(axis=0)
    return bool(region[0] <= x <= region[0] + region[2] and region[1] <= y <= region[1] + region[3])


def _median(people: Sequence[Person]) -> Person:
    points = np.median([person.points for person in people], axis=0)
    visibility = np.median([person.visibility for person in people], axis=0)
    worlds = [person.world for person in people if person.world is not None]
    return Person(points, visibility, np.median(worlds, axis=0) if worlds else None)


def median_person(people: Sequence[Person]) -> Person:
    """Return the median of several sightings of one body; at least one is needed."""
    return _median(people)


def _length(corners: NDArray[np.float64]) -> float:
    return max(math.dist(corners[:2].mean(axis=0), corners[2:].mean(axis=0)), 1.0)


def _near(
    trunks: NDArray[np.float64], points: NDArray[np.float64], within: float
) -> NDArray[np.bool_]:
    away = np.linalg.norm(trunks - points, axis=2).mean(axis=1)
    near: NDArray[np.bool_] = away < within * _length(points)
    return near


def _over(trunks: NDArray[np.float64], points: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether the middle of each trunk lies on the middle of this one."""
    away = np.linalg.norm(trunks.mean(axis=1) - points.mean(axis=0), axis=1)
    over: NDArray[np.bool_] = away < 0.35 * _length(points)
    return over


def _line(
    mask: NDArray[np.uint8], start: NDArray[np.float64], end: NDArray[np.float64], width: float
) -> None:
    ends = [(round(float(point[0])), round(float(point[1]))) for point in (start, end)]
    cv2.line(mask, ends[0], ends[1], 255, min(max(round(width), 1), 255))
