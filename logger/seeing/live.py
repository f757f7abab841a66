"""The eye on a live camera: one pass, a picture at a time, never knowing what comes.

The same search, reader and judgement of hands as for a recording. The search is spread over
the looks, so that none takes long. The trunk is pinned from the first seconds and ever again from
what was seen of it since. Which look of a shoulder is the bare one is judged by what was seen so
far; where that is not sure, the arm has no angle that counts.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final

import cv2
import numpy as np

from logger.core.events import SIDES, ArmAngle, SeenBody, Side
from logger.seeing.arms import (
    EDGE,
    FAINT,
    LENGTH,
    NO_PLACE,
    OUT,
    PLANE,
    ArmReader,
    Reading,
    blank,
    sample_of,
)
from logger.seeing.covering import CoverWatch
from logger.seeing.following import Following
from logger.seeing.looks import reduced
from logger.seeing.patient import TRUNK, FindsPeople, Trunk, view_of
from logger.seeing.search import NOBODY, OBLIQUE, SIDES_UNSURE, UNCLEAR, Found, Pin, Search

if TYPE_CHECKING:
    from collections.abc import Generator, Sequence

    from logger.seeing.looks import Picture
    from logger.seeing.pose import Person
    from logger.seeing.settings import LiveSettings, WatchSettings

LOOKING: Final = "looking for the patient"
_ADVICE: Final = {
    LOOKING: "Looking for the patient: keep the table in view.",
    NOBODY: "Nobody lying still is in view.",
    OBLIQUE: "Too oblique: let the camera face the patient's trunk more squarely.",
    UNCLEAR: "The patient's trunk is not seen clearly: uncover it or move the camera.",
    SIDES_UNSURE: "Left and right cannot be told apart from here: move the camera.",
    OUT: "The patient is hidden or has moved.",
}
_HIDDEN: Final = (EDGE, FAINT, LENGTH, NO_PLACE, PLANE)
"""Reasons that last until the camera or the patient is moved; hands come and go."""
_ALIKE: Final = 1.25
"""A patient found again has a trunk as long as before, within this factor."""


@dataclass(frozen=True, slots=True)
class Look:
    """What one picture tells."""

    angles: tuple[ArmAngle, ArmAngle]
    """Left and right; `visible` only where the angle may count."""
    body: SeenBody | None
    """The joints in pixels, for drawing; None where the patient is not seen."""
    found: bool
    """Whether the patient was found, so that arms can be read."""
    advice: str
    """What to do so that the arms are seen, a sentence; empty where all is well."""
    azimuth_deg: float | None
    """The camera's place towards the patient's left, 0 square on; None where not known."""


class LiveEye:
    """Reads both arms of the patient before a live camera."""

    def __init__(self, settings: WatchSettings, model: FindsPeople) -> None:
        """Watch with `model`, which stays the caller's to close."""
        self._settings = settings
        self._model = model
        self._hunt: _Hunt | None = None
        self._tracked: _Tracked | None = None
        self._shape: tuple[int, ...] = ()

    def forget(self) -> None:
        """Look for the patient anew, as after the camera or the patient was moved."""
        self._hunt = None
        self._tracked = None

    def look(self, time_s: float, rgb: Picture) -> Look:
        """Return what an (h, w, 3) uint8 RGB picture tells; times must rise.

        At most three runs of the model, one where nobody is looked for. Other pictures than
        before, in size, are taken for another camera.
        """
        if rgb.shape != self._shape:
            self.forget()
            self._shape = rgb.shape
        found = self._hunted(time_s, rgb)
        if found is not None:
            before = self._hunt.pictures(rgb.shape) if self._hunt else []
            self._hunt = None
            self._tracked = _Tracked(self._settings, self._model, found, time_s)
            self._tracked.looked_before(before)
        if self._tracked is not None:
            return self._tracked.look(time_s, rgb)
        reason, advice = (self._hunt or _Hunt(self._settings, self._model)).told
        return Look(blank(time_s, reason), None, False, advice, None)

    def _hunted(self, time_s: float, rgb: Picture) -> Found | None:
        """Search on where nobody is tracked; return the patient once they are found."""
        tracked = self._tracked
        if tracked is not None and not tracked.lost(time_s):
            self._hunt = None
            return None
        hunt = self._hunt = self._hunt or _Hunt(self._settings, self._model)
        found = hunt.step(time_s, rgb, self._settings.live.search_runs)
        again = tracked is None or (found is not None and _alike(found, tracked.found))
        return found if again else None


class _Hunt:
    """The search for the patient, spread over the looks."""

    def __init__(self, settings: WatchSettings, model: FindsPeople) -> None:
        self._settings = settings
        self._search = Search(settings, model)
        self._pictures: deque[Picture] = deque(maxlen=settings.looks)
        self._at_s: float | None = None
        self._wanted = settings.live.first_looks
        self._steps: Generator[None, None, Found] | None = None
        self.told = LOOKING, _ADVICE[LOOKING]
        """Why there is no angle yet, and what to do about it."""

    def step(self, time_s: float, rgb: Picture, runs: int) -> Found | None:
        """Take the picture in and search on for `runs` runs of the model.

        Return the patient once they are found well enough to read an arm.
        """
        live, most_px = self._settings.live, self._settings.look_px
        if self._at_s is None or time_s - self._at_s >= live.look_step_s - 1e-3:
            self._pictures.append(reduced(rgb, most_px))
            self._at_s = time_s
            self._wanted -= 1
        if self._steps is None:
            if self._wanted > 0:
                return None
            scale = min(most_px / max(rgb.shape[:2]), 1.0)
            self._steps = self._search.steps(list(self._pictures), scale)
        try:
            for _ in range(runs):
                next(self._steps)
        except StopIteration as end:
            return self._ended(end.value)
        return None

    def pictures(self, shape: tuple[int, ...]) -> list[Picture]:
        """Return the last pictures looked at, in order, as large as the camera's."""
        size = (shape[1], shape[0])
        return [np.asarray(cv2.resize(rgb, size), np.uint8) for rgb in self._pictures]

    def _ended(self, found: Found) -> Found | None:
        self._steps = None
        self._wanted = self._settings.live.first_looks
        whole = len(self._pictures) == self._pictures.maxlen
        if not found.reason and (whole or not found.warnings):
            return found
        reason = found.reason or LOOKING
        # Warnings say why nobody was chosen, if that is the reason.
        warnings = found.warnings if reason in {LOOKING, NOBODY} else ()
        self.told = reason, next(iter(warnings), _ADVICE[reason])
        return None


@dataclass(slots=True)
class _Pins:
    """Sightings of the trunk, spread over the time since the patient was found."""

    most: int
    people: list[Person] = field(default_factory=list)
    seen: int = 0
    swapped: int = 0
    step: int = 1
    due: int = 16

    def note(self, people: list[Person], swapped: int) -> bool:
        """Take sightings in; return whether there are enough new ones to pin the trunk afresh."""
        self.swapped += swapped
        for person in people:
            if self.seen % self.step == 0:
                self.people.append(person)
            self.seen += 1
            if len(self.people) >= 2 * self.most:
                self.people = self.people[::2]
                self.step *= 2
        if self.seen < self.due:
            return False
        self.due *= 2
        return True

    def pin(self) -> Pin:
        """Take the sightings together."""
        pin = Pin.of(self.people, 0)
        return replace(pin, swapped=self.swapped / self.seen)


class _Tracked:
    """The patient who was found."""

    def __init__(
        self, settings: WatchSettings, model: FindsPeople, found: Found, time_s: float
    ) -> None:
        self._settings = settings
        self._model = model
        self._following = Following(settings, ArmReader(settings, model, found), 1)
        self._covers = _Covers(settings, model, self._following.reader.trunk, time_s)
        self._pins = _Pins(settings.live.most_pins)
        self._since_s = self._seen_s = time_s
        self._hidden = {side: _Hidden() for side in SIDES}
        self.found = found

    def looked_before(self, pictures: Sequence[Picture]) -> None:
        """Take in how the shoulders looked while the patient was looked for."""
        self._covers.looked_before(pictures)

    def lost(self, time_s: float) -> bool:
        """Return whether the patient was not seen in place for long."""
        return time_s - self._seen_s > self._settings.live.lost_s

    def look(self, time_s: float, rgb: Picture) -> Look:
        """Return what a picture tells of the patient who was found."""
        following = self._following
        held = following.look(time_s, rgb)
        if self._pins.note(following.fresh, following.fresh_swapped):
            self._pin()
        if held.sightings:
            self._seen_s = time_s
        body = following.reader.body(time_s, held.people)
        angles = self._angles(time_s, rgb)
        found = not self.lost(time_s) and not self.found.reason
        camera = self.found.camera
        azimuth_deg = None if camera is None else camera.azimuth_deg
        return Look(angles, body, found, self._advice(time_s, angles), azimuth_deg)

    def _angles(self, time_s: float, rgb: Picture) -> tuple[ArmAngle, ArmAngle]:
        readings = self._following.readings
        looks = self._covers.look(time_s, rgb, readings)
        if self.found.reason:
            return blank(time_s, self.found.reason)
        left, right = (sample_of(time_s, side, readings[side], *looks[side]) for side in SIDES)
        return left, right

    def _pin(self) -> None:
        """Pin the trunk afresh from all that was seen of it."""
        if self.found.others:
            return
        pin = self._pins.pin()
        old = self._following.reader.trunk
        points = pin.person.points[list(TRUNK)]
        trunk = Trunk(points, old.support, pin.sides_sure(told_apart=True))
        judged = Search(self._settings, self._model).judged(pin, trunk)
        self.found = replace(judged, warnings=self.found.warnings)
        self._following.reader = ArmReader(self._settings, self._model, self.found)

    def _advice(self, time_s: float, angles: tuple[ArmAngle, ...]) -> str:
        told = [self._hidden[angle.side].advice(angle, self._settings.live) for angle in angles]
        if self.found.reason:
            return _ADVICE[self.found.reason]
        if self.lost(time_s):
            return _ADVICE[OUT]
        fresh = time_s - self._since_s <= self._settings.live.doubt_s
        doubts = self.found.warnings if fresh else ()
        return next((text for text in (*told, *doubts) if text), "")


class _Covers:
    """Which looks of both shoulders are bare, by what was seen so far."""

    def __init__(
        self, settings: WatchSettings, model: FindsPeople, trunk: Trunk, time_s: float
    ) -> None:
        self._settings = settings
        self._model = model
        self._trunk = trunk
        self._covers = {side: CoverWatch(trunk, side, settings.cover) for side in SIDES}
        self._bare: dict[Side, int | None] = dict.fromkeys(SIDES)
        self._before: dict[Side, int] = {}
        self._unchecked: dict[Side, Picture] = {}
        self._due_s = time_s + settings.live.settle_s
        self._trusted_s = time_s + settings.live.trusted_s

    def looked_before(self, pictures: Sequence[Picture]) -> None:
        """Take in the looks of the time in which the patient was looked for.

        If hands came on in it, the bare look is among these and was never read.
        """
        for side, cover in self._covers.items():
            kinds = [cover.kind(rgb) for rgb in pictures]
            shown = {kind: kinds.count(kind) for kind in kinds if kind >= 0}
            often = [k for k, count in shown.items() if count >= self._settings.live.least_before]
            if often:
                self._before[side] = often[0]
                self._unchecked[side] = pictures[kinds.index(often[0])]

    def look(
        self, time_s: float, rgb: Picture, readings: dict[Side, Reading]
    ) -> dict[Side, tuple[int, int | None]]:
        """Return for each arm the kind of look and the kind that is bare, None where not sure."""
        self._check_one()
        kinds = {side: cover.kind(rgb) for side, cover in self._covers.items()}
        for side, cover in self._covers.items():
            cover.note(kinds[side], readings[side].disagreement_deg)
        if time_s >= self._due_s:
            self._due_s = time_s + self._settings.live.bare_step_s
            self._bare = {side: self._bare_of(side, time_s) for side in SIDES}
        return {side: (kinds[side], self._bare[side]) for side in SIDES}

    def _bare_of(self, side: Side, time_s: float) -> int | None:
        earlier = self._before.get(side)
        unread = earlier is not None and not self._covers[side].was_read(earlier)
        return None if unread and time_s < self._trusted_s else self._covers[side].bare()

    def _check_one(self) -> None:
        """Let go of an earlier look in which the patient was not yet in place."""
        if not self._unchecked:
            return
        side, rgb = self._unchecked.popitem()
        view = view_of(self._trunk, self._settings.framings[0])
        people = [view.back(person) for person in self._model.people(view.cut(rgb))]
        away = min((self._trunk.distance(person) for person in people), default=math.inf)
        if away > self._settings.most_trunk_away:
            del self._before[side]


@dataclass(slots=True)
class _Hidden:
    """Since when one arm is hidden for a reason that lasts."""

    reason: str = ""
    since_s: float = 0.0

    def advice(self, angle: ArmAngle, live: LiveSettings) -> str:
        """Return a sentence where the arm has been hidden for long enough to say so."""
        if angle.reason != self.reason:
            self.reason, self.since_s = angle.reason, angle.time_s
        if self.reason not in _HIDDEN or angle.time_s - self.since_s < live.advice_s:
            return ""
        return f"The {angle.side} arm cannot be measured: {self.reason}."


def _alike(found: Found, before: Found) -> bool:
    """Return whether somebody found later is as large as the patient before."""
    if found.trunk is None or before.trunk is None:
        return False
    lengths = found.trunk.length_px, before.trunk.length_px
    return max(lengths) <= _ALIKE * min(lengths)
