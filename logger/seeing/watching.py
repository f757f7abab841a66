"""From the frames of a recording to the arm-to-trunk angle of both arms, with their quality.

Two passes over the frames: the first looks at a few of them for the patient, the second reads
both arms in every frame on cut-outs in which the patient stands upright. The trunk lies still and
is pinned from many sightings; only the elbows are read frame by frame.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from logger.core.events import SIDES, ArmAngle, SeenBody, Side, Watched
from logger.seeing.arms import ArmReader, Reading, blank, sample_of
from logger.seeing.covering import CoverWatch
from logger.seeing.following import Following
from logger.seeing.looks import paced
from logger.seeing.search import Search

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from logger.seeing.looks import Frames
    from logger.seeing.patient import FindsPeople
    from logger.seeing.settings import WatchSettings

_MOVED_S: Final = 3.0


@dataclass(frozen=True, slots=True)
class _Moment:
    time_s: float
    readings: dict[Side, Reading]
    kinds: dict[Side, int]
    body: SeenBody | None
    strayed: bool
    """Whether a body like the patient's was seen, but elsewhere."""


class Watcher:
    """Reads both arms of the patient over a recording."""

    def __init__(self, settings: WatchSettings, model: FindsPeople) -> None:
        """Watch with `model`, which stays the caller's to close."""
        self._settings = settings
        self._model = model

    def watch(
        self, frames: Callable[[], Frames], looks: Callable[[], Frames] | None = None
    ) -> Watched:
        """Return the samples of both arms in the order of time.

        `frames` must each time give the recording afresh from its start, as (time_s, (h, w, 3)
        uint8 RGB). It is called twice, or once where `looks` gives some of the same pictures,
        spread over the recording, to look for the patient in. Without a patient every sample has
        no angle and a reason.
        """
        found = Search(self._settings, self._model).find((looks or frames)())
        taken = paced(frames(), self._settings.rate_hz)
        if found.trunk is None or found.reason:
            angles = tuple(sample for time_s, _ in taken for sample in blank(time_s, found.reason))
            return Watched(angles, (), (*found.warnings, *_slow(angles, self._settings)))
        reader = ArmReader(self._settings, self._model, found)
        covers = {side: CoverWatch(found.trunk, side, self._settings.cover) for side in SIDES}
        moments = list(self._moments(taken, reader, covers))
        bare = {side: covers[side].bare() for side in SIDES}
        angles = tuple(
            sample_of(moment.time_s, side, moment.readings[side], moment.kinds[side], bare[side])
            for moment in moments
            for side in SIDES
        )
        warnings = (*found.warnings, *_strayed(moments), *_slow(angles, self._settings))
        bodies = tuple(moment.body for moment in moments if moment.body is not None)
        return Watched(angles, bodies, warnings)

    def _moments(
        self, frames: Frames, reader: ArmReader, covers: dict[Side, CoverWatch]
    ) -> Iterator[_Moment]:
        following = Following(self._settings, reader, self._settings.views_a_frame)
        for time_s, rgb in frames:
            held = following.look(time_s, rgb)
            readings = following.readings
            kinds = {side: covers[side].kind(rgb) for side in SIDES}
            for side in SIDES:
                covers[side].note(kinds[side], readings[side].disagreement_deg)
            body = reader.body(time_s, held.people)
            yield _Moment(time_s, readings, kinds, body, held.strayed and body is None)


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
