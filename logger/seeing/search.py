"""The first pass: finds the patient, pins the trunk and tells where the camera stands."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from logger.seeing.angles import skew_deg
from logger.seeing.bodies import (
    Body,
    Choice,
    bodies_of,
    choose,
    lies_stretched,
    median_person,
    painted_out,
    people_in,
)
from logger.seeing.looks import distinct, spread
from logger.seeing.patient import TRUNK, FindsPeople, Trunk, view_of
from logger.seeing.view import Camera, camera_of

if TYPE_CHECKING:
    from collections.abc import Generator, Sequence

    from numpy.typing import NDArray

    from logger.seeing.looks import Frames, Picture
    from logger.seeing.pose import Person
    from logger.seeing.settings import WatchSettings

_FEW_LOOKS: Final = 2
"""With no more distinct pictures than this, every one is shown in all four turns."""
_NEAR_TRUNKS: Final = 0.35
"""How far a first sighting of the patient's trunk may be off."""
_ALONE_TRUNKS: Final = 0.8
"""The same where everybody else has been painted out: the first sighting may be half a mixture."""

_FEW_SWAPPED: Final = 0.25
_FEWER_SWAPPED: Final = 0.125

NOBODY: Final = "no patient lying still in view"
SIDES_UNSURE: Final = "left and right cannot be told apart"
OBLIQUE: Final = "the patient is seen from too far aside"
UNCLEAR: Final = "the patient's trunk is not seen clearly"


@dataclass(frozen=True, slots=True)
class Found:
    """What the first pass found; all places in pixels of the recording's own pictures."""

    trunk: Trunk | None = None
    camera: Camera | None = None
    others: tuple[Person, ...] = ()
    """People who keep still beside the patient and are painted out before each reading."""
    reason: str = ""
    """Why no arm can be read; empty where it can."""
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Pin:
    """Many sightings of one body, taken together."""

    person: Person
    """Their median."""
    spread: float
    """How far sightings lie from the median trunk (median), in trunk lengths."""
    swapped: float
    """How many sightings have left and right the other way round, for each that has not."""
    painted: bool = False
    """Whether everybody else had been painted out."""

    @classmethod
    def of(cls, people: Sequence[Person], swapped: int, *, painted: bool = False) -> Pin:
        """Take sightings together, of which there must be one at least."""
        person = median_person(people)
        trunk = Trunk(person.points[list(TRUNK)], support=1.0)
        away = float(np.median([trunk.distance(other) for other in people]))
        return cls(person, away, swapped / len(people), painted)

    def sides_sure(self, told_apart: bool) -> bool:
        """Return whether left and right can be told apart.

        Upright, larger views count for more than those of the whole frame, whatever its turn:
        `told_apart` is what the latter say.
        """
        sure = told_apart or self.painted
        return self.swapped < (_FEW_SWAPPED if sure else _FEWER_SWAPPED)


class Search:
    """Looks for the patient on frames spread over the recording."""

    def __init__(self, settings: WatchSettings, model: FindsPeople) -> None:
        """Look with `model`, which stays the caller's to close."""
        self._settings = settings
        self._model = model

    def find(self, frames: Frames) -> Found:
        """Return the patient's trunk and the camera's place, or why there is none."""
        frames = iter(frames)
        first = next(frames, None)
        if first is None:
            return Found(reason=NOBODY)
        settings = self._settings
        scale = min(settings.look_px / max(first[1].shape[:2]), 1.0)
        rest = spread(_joined(first, frames), settings.looks, settings.look_px)
        steps = self.steps([rgb for _, rgb in rest], scale)
        while True:
            try:
                next(steps)
            except StopIteration as end:
                found: Found = end.value
                return found

    def steps(self, pictures: Sequence[Picture], scale: float) -> Generator[None, None, Found]:
        """Look for the patient, pausing after each run of the model; return who was found.

        `pictures` are reduced by `scale` (1 or less): what is found is in pixels of the original.
        """
        looks, places = distinct(pictures)
        warnings = self._dark(looks)
        choice = yield from self._choice(looks, places, scale)
        if choice.warning:
            warnings = (*warnings, choice.warning)
        if choice.patient is None:
            return Found(reason=NOBODY, warnings=warnings)
        pinned = yield from self._pinned(choice.patient, choice.others, looks)
        if pinned is None:
            return Found(reason=UNCLEAR, warnings=warnings)
        person = replace(pinned.person, points=pinned.person.points / scale)
        others = tuple(
            replace(body.person, points=body.person.points / scale)
            for body in choice.others
            if pinned.painted
        )
        trunk = Trunk(
            person.points[list(TRUNK)],
            choice.patient.support,
            pinned.sides_sure(choice.patient.sides_sure),
        )
        found = self.judged(replace(pinned, person=person), trunk)
        if found.reason:
            warnings = (*warnings, f"No arm could be read: {found.reason}.")
        return replace(found, others=others, warnings=warnings)

    def judged(self, pin: Pin, trunk: Trunk) -> Found:
        """Return the pinned patient, with the reason why no arm can be read if there is one."""
        settings = self._settings
        camera = camera_of(pin.person, settings.view)
        reason = ""
        if trunk.length_px < settings.least_trunk_px:
            reason = NOBODY
        elif not trunk.sides_sure:
            reason = SIDES_UNSURE
        elif pin.spread > settings.most_trunk_spread:
            reason = UNCLEAR
        elif self._oblique(trunk, camera):
            reason = OBLIQUE
        return Found(trunk, camera, reason=reason)

    def _dark(self, looks: Sequence[Picture]) -> tuple[str, ...]:
        level = float(np.mean([rgb.mean() for rgb in looks]))
        if level >= self._settings.dark_level:
            return ()
        return ("The picture is very dark: angles may be missing; light the table.",)

    def _choice(
        self, looks: Sequence[Picture], places: Sequence[int], scale: float
    ) -> Generator[None, None, Choice]:
        settings, rules = self._settings, self._settings.choice
        region = settings.region
        if region is not None:
            region = (region[0] * scale, region[1] * scale, region[2] * scale, region[3] * scale)
        few = len(looks) <= _FEW_LOOKS
        turns = [(0, 1, 2, 3) if few else ((0, 1) if i % 2 else (2, 3)) for i in range(len(looks))]
        seen: list[list[Person]] = [[] for _ in looks]
        for i, rgb in enumerate(looks):
            yield from self._look(rgb, turns[i], seen[i])
        choice = choose(bodies_of([seen[i] for i in places], rules), rules, region)
        if choice.patient is not None or not any(seen):
            return choice
        # The detector finds one person in a heap of two: paint out whoever does not lie, and look
        # for one who does.
        for i, rgb in enumerate(looks):
            hidden = rgb
            for body in bodies_of([seen[i]], rules):
                if not lies_stretched(body, rules):
                    hidden = painted_out(hidden, body.person)
            yield from self._look(hidden, turns[i], seen[i])
        return choose(bodies_of([seen[i] for i in places], rules), rules, region)

    def _look(
        self, rgb: Picture, turns: Sequence[int], seen: list[Person]
    ) -> Generator[None, None, None]:
        """Add everyone who is seen in a picture turned by quarters."""
        for quarters in turns:
            seen += people_in(self._model, rgb, quarters)
            yield

    def _pinned(
        self, patient: Body, others: Sequence[Body], looks: Sequence[Picture]
    ) -> Generator[None, None, Pin | None]:
        """Pin the trunk afresh from upright, larger views of the same frames.

        Where somebody else keeps still in the picture, also with that one painted out: what
        agrees better with itself counts.
        """
        tries = [(yield from self._tried(patient, looks, painted=False))]
        if others and len(looks) <= _FEW_LOOKS:
            # Only in a held picture: painted over moving ones, it would hide the patient's arm.
            hidden = [_without(rgb, [body.person for body in others]) for rgb in looks]
            tries.append((yield from self._tried(patient, hidden, painted=True)))
        return min((t for t in tries if t is not None), key=lambda t: t.spread, default=None)

    def _tried(
        self, patient: Body, looks: Sequence[Picture], *, painted: bool
    ) -> Generator[None, None, Pin | None]:
        settings = self._settings
        few = len(looks) <= _FEW_LOOKS
        count = len(settings.framings) if few else settings.views_a_frame
        trunk = patient.trunk
        people: list[Person] = []
        swapped = 0
        first = _ALONE_TRUNKS if painted else _NEAR_TRUNKS
        for within in (first, 2 * settings.most_trunk_away):
            people, swapped = [], 0
            for framing in settings.framings[:count]:
                view = view_of(trunk, framing)
                for rgb in looks:
                    found = [view.back(person) for person in self._model.people(view.cut(rgb))]
                    nearest = min(found, key=trunk.distance, default=None)
                    if nearest is not None and trunk.distance(nearest) <= within:
                        people.append(nearest)
                    swapped += any(trunk.distance(p, swapped=True) <= within for p in found)
                    yield
            if 3 * len(people) < count * len(looks):
                return None
            points = median_person(people).points[list(TRUNK)]
            trunk = replace(trunk, points=points)
        return Pin.of(people, swapped, painted=painted)

    def _oblique(self, trunk: Trunk, camera: Camera | None) -> bool:
        settings = self._settings
        skew = skew_deg(trunk.points[0] - trunk.points[1], trunk.mid_hip - trunk.mid_shoulder)
        if skew is None or skew > settings.most_skew_deg:
            return True
        return camera is not None and (
            abs(camera.azimuth_deg) > settings.most_azimuth_deg
            or abs(camera.elevation_deg) > settings.most_elevation_deg
        )


def _joined(first: tuple[float, Picture], rest: Frames) -> Frames:
    yield first
    yield from rest


def _without(rgb: NDArray[np.uint8], people: Sequence[Person]) -> NDArray[np.uint8]:
    for person in people:
        rgb = painted_out(rgb, person)
    return rgb
