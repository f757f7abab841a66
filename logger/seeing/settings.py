"""What the eye looks at, and what it lets count."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from logger.seeing.bodies import ChoiceRules, Region
from logger.seeing.covering import CoverSettings
from logger.seeing.patient import Framing
from logger.seeing.view import ViewModel

MOST_PEOPLE: Final = 2
"""How many people the model is asked for in one picture; each costs a run of the landmark model.
Whoever is hidden behind two is found once those have been painted out."""


def _framings() -> tuple[Framing, ...]:
    turns = ((0, 0), (8, 1), (-8, 0), (0, 1), (16, 0), (-16, 1), (8, 0), (-8, 1), (-16, 0), (16, 1))
    return tuple(Framing(turn_deg=float(turn), mirrored=bool(flip)) for turn, flip in turns)


@dataclass(frozen=True, slots=True)
class LiveSettings:
    """What differs where the pictures come from a camera, one pass only."""

    look_step_s: float = 0.4
    """How far apart the pictures are on which the patient is looked for."""
    first_looks: int = 6
    """From how many of them the patient is looked for; more where that settles nothing."""
    search_runs: int = 2
    """Runs of the model that a look may spend on the search."""
    settle_s: float = 2.0
    """How long a shoulder is watched before a look of it is taken for the bare one."""
    bare_step_s: float = 1.0
    """How often that is decided afresh."""
    least_before: int = 3
    """From so many of the pictures on which the patient was looked for, a look of a shoulder that
    they show is taken for one that it had then."""
    trusted_s: float = 60.0
    """Until so long after the patient was found no look is taken for the bare one while an earlier
    one was not read: the hands may have come on while the patient was looked for."""
    lost_s: float = 3.0
    """The patient is looked for anew after not being seen in place for so long."""
    most_pins: int = 64
    """From how many sightings the trunk is pinned, spread over the time since it was found."""
    advice_s: float = 2.0
    """How long an arm must be hidden before it is worth a word."""
    doubt_s: float = 15.0
    """How long after the patient was found it is said that the choice was uncertain."""


@dataclass(frozen=True, slots=True)
class WatchSettings:
    """What the eye looks at and what it lets count."""

    rate_hz: float = 5.0
    """Frames looked at in a second; fewer where the recording has fewer."""
    region: Region | None = None
    """Where the patient is, if the user says so."""
    looks: int = 24
    """Frames, spread over the recording, on which the patient is looked for."""
    look_px: int = 1280
    """The longer side to which those frames are reduced: they are all held in memory."""
    framings: tuple[Framing, ...] = field(default_factory=_framings)
    """How the patient is shown to the model: two views of a picture that has changed, two more
    with each frame in which it has not, until all have been seen."""
    views_a_frame: int = 2
    pair_s: float = 0.35
    """A view of the picture before still counts for a changed one, if it is no older."""
    least_trunk_px: float = 40.0
    """A trunk shorter than this is too small to read an arm from."""
    most_trunk_spread: float = 0.045
    """How far the sightings of the trunk may lie apart (median), in trunk lengths."""
    most_trunk_away: float = 0.12
    """How far a frame's trunk may lie from the pinned one, in trunk lengths."""
    most_azimuth_deg: float = 40.0
    most_elevation_deg: float = 55.0
    """A camera further from square than this sees too little of an arm's angle."""
    most_plane_doubt_deg: float = 16.0
    """The elevation of an arm in the frontal plane may differ by this from that of one in the
    scapular plane that looks the same; where it differs more, the angle is blank."""
    most_skew_deg: float = 25.0
    most_disagreement_deg: float = 8.0
    """Between two readings of an arm; of more, twice the standard deviation between pairs of a
    plain and a mirrored view (the model errs to one side, mirrored to the other)."""
    most_pair_deg: float = 20.0
    """Twice the standard deviation of all single views."""
    stray_share: float = 0.2
    """Of so many views of a picture or fewer, those further than `most_pair_deg` from the middle
    are left out; of more, they count against the reading."""
    least_elbow: float = 0.6
    """The model's own visibility of the elbow, 0 to 1."""
    arm_trunks: tuple[float, float] = (0.33, 0.75)
    """Lengths of the upper arm, shoulder to elbow, that fit a trunk of length 1."""
    still_levels: float = 10.0
    """A picture counts as unchanged while hardly a pixel of the small cut-out differs by more
    than this, of 255."""
    still_pixels: int = 3
    """How many pixels of the small cut-out (128 x 128) may differ all the same."""
    dark_level: float = 30.0
    """A recording whose pictures are darker than this on average (of 255) gets a warning."""
    slowest_hz: float = 3.0
    """Frames a second below which no arm can be seen to hold still."""
    cover: CoverSettings = field(default_factory=CoverSettings)
    choice: ChoiceRules = field(default_factory=ChoiceRules)
    view: ViewModel = field(default_factory=ViewModel)
    live: LiveSettings = field(default_factory=LiveSettings)
