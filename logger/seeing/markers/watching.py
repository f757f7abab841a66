"""From the frames of a recording to the arm-to-trunk angle of both arms by their markers."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from logger.core.errors import UsageError
from logger.core.events import SIDES, ArmAngle, Side, Watched
from logger.seeing.looks import paced
from logger.seeing.markers.camera import Camera, CameraChoice
from logger.seeing.markers.detecting import Box, DetectSettings, MarkerDetector, Markers
from logger.seeing.markers.elevation import Elevation, along_trunk, elevation, misplaced
from logger.seeing.markers.fitting import Fit, FitSettings, Folds, fit_strip
from logger.seeing.markers.strips import (
    ARM_STRIPS,
    STRIPS,
    TRUNK_STRIPS,
    UP,
    Strip,
    StripName,
    Vector,
)

Frames = Iterable[tuple[float, NDArray[np.uint8]]]

_NO_TRUNK: Final = "no strip of markers is seen on the trunk"
_NO_ARM: Final = "no strip of markers is seen on the arm"
_TWICE: Final = "two strips with the same markers are in view"
_FEW: Final = "too little of the strip on the {part} is seen"
_MISFIT: Final = "the markers on the {part} do not fit a strip as printed"
_TWO_WAYS: Final = "the markers on the {part} can be read in two ways"
_FLAT: Final = "the arm's strip is flat: it lies somewhere and is not worn"
_SMALL: Final = "the markers are too small or too blurred in the picture"


@dataclass(frozen=True, slots=True)
class MarkerSettings:
    """What counts as a measurement by markers."""

    rate_hz: float = 6.0
    """Frames looked at in a second; fewer where the recording has fewer."""
    most_sd_deg: float = 1.0
    """An angle whose error to be expected from the corners is larger does not count."""
    least_facets: int = 2
    """Of one facet alone the tilt is doubtful, and nothing tells a misread marker."""
    least_fold_deg: float = 12.0
    """An arm's strip folded less than this is not worn but lies or hangs somewhere."""
    error_deg: float = 2.5
    """19 of 20 angles are nearer to the truth, with strips folded carelessly; see `bench`."""
    neutral_s: float = 0.5
    """How long before and after the time at which the arm lay along the trunk it is looked at."""
    most_neutral_deg: float = 3.0
    """How far the arm may move meanwhile."""
    whole_look_s: float = 1.0
    """How often the whole picture is searched; in between only around the strips."""
    detect: DetectSettings = field(default_factory=DetectSettings)
    fit: FitSettings = field(default_factory=FitSettings)


class _Strips(NamedTuple):
    """The strips in one picture: each has a pose or a reason why not."""

    time_s: float
    fits: dict[StripName, Fit]
    reasons: dict[StripName, str]
    corners: Mapping[int, Vector]


class MarkerWatcher:
    """Reads both arms from strips of markers over a recording."""

    def __init__(
        self,
        camera: CameraChoice,
        neutral_s: float | None = None,
        settings: MarkerSettings | None = None,
    ) -> None:
        """Watch through `camera`; at `neutral_s` the arms lay along the trunk (None: not said)."""
        self._choice = camera
        self._neutral_s = neutral_s
        self._settings = settings or MarkerSettings()
        self._search = _Search(self._settings)

    def watch(self, frames: Frames) -> Watched:
        """Return the samples of both arms in the order of time, and what the user must know.

        `frames` gives (time_s, (h, w, 3) uint8 RGB) once through. The angle is the elevation in
        space; `visible` only where both strips were seen well enough.

        Raises:
            UsageError: if a calibration does not fit the pictures, or no arm's markers were seen
                around the time given as neutral.

        """
        camera: Camera | None = None
        seen: list[_Strips] = []
        for time_s, rgb in paced(frames, self._settings.rate_hz):
            if camera is None or (camera.height, camera.width) != rgb.shape[:2]:
                camera = self._choice.camera(rgb.shape[1], rgb.shape[0])
            seen.append(self._strips(time_s, self._search.find(time_s, rgb), camera))
        if camera is None:
            return Watched()
        trunk = max(TRUNK_STRIPS, key=lambda name: sum(name in moment.fits for moment in seen))
        heads = self._heads(seen, trunk)
        angles = {
            side: [self._sample(moment, trunk, side, heads.get(side, UP)) for moment in seen]
            for side in SIDES
        }
        worn = [side for side in SIDES if any(ARM_STRIPS[side] in m.fits for m in seen)]
        errors = {side: self._error_deg(seen, (trunk, side), camera) for side in worn}
        stated = tuple(
            _with_error(sample, errors.get(sample.side))
            for both in zip(*angles.values(), strict=True)
            for sample in both
        )
        return Watched(stated, warnings=tuple(self._warnings(angles, errors, heads)))

    def _strips(self, time_s: float, found: Markers, camera: Camera) -> _Strips:
        fits: dict[StripName, Fit] = {}
        reasons: dict[StripName, str] = {}
        for name, strip in STRIPS.items():
            corners = {n: c for n, c in found.corners_px.items() if n in strip.ids}
            if not found.doubled.isdisjoint(strip.ids):
                reasons[name] = _TWICE
            elif corners:
                fit = fit_strip(strip, corners, camera, Folds.usual(strip), self._settings.fit)
                reason = self._unfit(strip, fit)
                if fit is None or reason:
                    reasons[name] = reason
                else:
                    fits[name] = fit
        return _Strips(time_s, fits, reasons, found.corners_px)

    def _unfit(self, strip: Strip, fit: Fit | None) -> str:
        part = "trunk" if strip.name in TRUNK_STRIPS else "arm"
        if fit is None:
            return _MISFIT.format(part=part)
        if len(fit.facets) < self._settings.least_facets:
            return _FEW.format(part=part)
        if fit.two_readings:
            return _TWO_WAYS.format(part=part)
        between = fit.folds_rad[min(fit.facets) : max(fit.facets)]
        flat = np.degrees(between.mean()) < self._settings.least_fold_deg
        return _FLAT if flat and strip.name not in TRUNK_STRIPS else ""

    def _sample(self, moment: _Strips, trunk_name: StripName, side: Side, head: Vector) -> ArmAngle:
        arm_name = ARM_STRIPS[side]
        trunk, arm = moment.fits.get(trunk_name), moment.fits.get(arm_name)
        if trunk is None or arm is None:
            none = _NO_TRUNK if trunk is None else _NO_ARM
            # What is wrong with a strip in view says more than that another is not in view.
            names = (trunk_name,) if trunk is None else (arm_name,)
            reason = next((moment.reasons[n] for n in names if n in moment.reasons), none)
            return _blank(moment.time_s, side, reason)
        reason = misplaced(trunk, arm, side)
        if reason:
            return _blank(moment.time_s, side, reason)
        measured = elevation(trunk, arm, side, head)
        reason = _SMALL if measured.sd_deg > self._settings.most_sd_deg else ""
        return ArmAngle(
            moment.time_s,
            side,
            measured.angle_deg,
            visible=not reason,
            reason=reason,
            source="markers",
            plane_deg=measured.plane_deg,
        )

    def _heads(self, seen: Sequence[_Strips], trunk: StripName) -> dict[Side, Vector]:
        """Return for each arm the trunk's long axis, where the user said when the arm lay so."""
        if self._neutral_s is None:
            return {}
        near = [
            moment
            for moment in seen
            if abs(moment.time_s - self._neutral_s) <= self._settings.neutral_s
        ]
        heads: dict[Side, Vector] = {}
        for side in SIDES:
            pairs = [
                (moment.fits[trunk], moment.fits[ARM_STRIPS[side]])
                for moment in near
                if trunk in moment.fits and ARM_STRIPS[side] in moment.fits
            ]
            if not pairs:
                continue
            heads[side], moved_deg = along_trunk(pairs)
            if moved_deg > self._settings.most_neutral_deg:
                raise UsageError(
                    f"The {side} arm moves around {self._neutral_s:g} s: give with --neutral a "
                    "time at which it lies still along the trunk."
                )
        if not heads:
            raise UsageError(
                f"No strips of markers are seen around {self._neutral_s:g} s: give with --neutral "
                "a time at which an arm with markers lies along the trunk in plain view."
            )
        return heads

    def _error_deg(
        self, seen: Sequence[_Strips], names: tuple[StripName, Side], camera: Camera
    ) -> float:
        """Return the likely error of one arm's angles: the strips' own and the camera's."""
        return self._settings.error_deg + self._from_camera_deg(seen, names, camera)

    def _from_camera_deg(
        self, seen: Sequence[_Strips], names: tuple[StripName, Side], camera: Camera
    ) -> float:
        """Return by how much a focal length that is off changes the angles, at most."""
        if not camera.focal_doubt:
            return 0.0
        trunk, side = names
        both = [m for m in seen if trunk in m.fits and ARM_STRIPS[side] in m.fits]
        worst = 0.0
        for moment in both[:: max(1, len(both) // _TRIED)]:
            straight = _elevation_of(moment, trunk, side)
            for factor in (1 - camera.focal_doubt, 1 + camera.focal_doubt):
                other = self._strips(
                    moment.time_s, Markers(dict(moment.corners)), camera.zoomed(factor)
                )
                changed = _elevation_of(other, trunk, side)
                if straight is not None and changed is not None:
                    worst = max(worst, abs(changed.angle_deg - straight.angle_deg))
        return worst

    def _warnings(
        self,
        angles: Mapping[Side, Sequence[ArmAngle]],
        errors: Mapping[Side, float],
        heads: Mapping[Side, Vector],
    ) -> Iterator[str]:
        if not errors:
            yield "No strip of markers on an arm was found in the picture."
        for side, error_deg in errors.items():
            samples = angles[side]
            visible = sum(sample.visible for sample in samples)
            zero = (
                f"zero is where the arm lay at {self._neutral_s:g} s"
                if side in heads
                else "the angle is between the strips' arrows as they were put on"
            )
            yield (
                f"{side} arm by markers in {visible} of {len(samples)} pictures, to about "
                f"{error_deg:.1f} degrees; {zero}; the camera is {self._choice.in_words}."
            )
            reasons = Counter(sample.reason for sample in samples if sample.reason)
            if visible < len(samples) / 2 and reasons:
                yield f"{side} arm by markers, most often not read: {reasons.most_common(1)[0][0]}."


_TRIED: Final = 8
"""Pictures on which it is tried what another focal length would change."""


class _Search:
    """Looks through the whole picture now and then, and around the strips in between."""

    def __init__(self, settings: MarkerSettings) -> None:
        self._settings = settings
        self._detector = MarkerDetector(settings.detect)
        self._whole: Markers = Markers()
        self._whole_at_s = -np.inf
        self._box: Box | None = None

    def find(self, time_s: float, rgb: NDArray[np.uint8]) -> Markers:
        """Return the markers of one picture."""
        due = time_s - self._whole_at_s >= self._settings.whole_look_s
        if self._box is not None and not due:
            near = self._detector.find(rgb, self._box)
            if _strips_in(near) >= _strips_in(self._whole):
                self._box = _around(near, rgb.shape)
                # A copy elsewhere in the picture is still there.
                return Markers(near.corners_px, near.doubled | self._whole.doubled, near.unknown)
        self._whole, self._whole_at_s = self._detector.find(rgb), time_s
        self._box = _around(self._whole, rgb.shape)
        return self._whole


def _strips_in(found: Markers) -> set[StripName]:
    return {
        name
        for name, strip in STRIPS.items()
        if any(number in strip.ids for number in found.corners_px)
    }


def _around(found: Markers, shape: tuple[int, ...]) -> Box | None:
    """Return the part of the picture in which the strips will be a moment later."""
    if not found.corners_px:
        return None
    corners = np.concatenate(list(found.corners_px.values()))
    low, high = corners.min(axis=0), corners.max(axis=0)
    room = 0.25 * (high - low).max() + 24
    left, top = np.floor(low - room).astype(int).clip(0).tolist()
    right, bottom = np.ceil(high + room).astype(int).tolist()
    return left, top, min(right, shape[1]), min(bottom, shape[0])


def _elevation_of(moment: _Strips, trunk: StripName, side: Side) -> Elevation | None:
    fits = moment.fits
    if trunk not in fits or ARM_STRIPS[side] not in fits:
        return None
    return elevation(fits[trunk], fits[ARM_STRIPS[side]], side)


def _blank(time_s: float, side: Side, reason: str) -> ArmAngle:
    return ArmAngle(time_s, side, None, visible=False, reason=reason, source="markers")


def _with_error(sample: ArmAngle, error_deg: float | None) -> ArmAngle:
    return replace(sample, error_deg=error_deg) if sample.visible else sample
