"""The things that pass between the layers, all frozen.

Every time is in seconds from the recording's start; every angle is in degrees. One clock and
one origin serve speech and picture alike.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal

Side = Literal["left", "right"]
Source = Literal["pose", "markers"]
"""What an angle was measured by: the pose model in the picture's plane, or printed markers in
space."""
SIDES: tuple[Side, Side] = ("left", "right")


class Verdict(StrEnum):
    """What the ear made of one stretch of speech."""

    HEARD = "heard"
    """The pack's grammar explains the whole stretch about as well as free speech does."""
    UNSURE = "unsure"
    """Likely in the grammar, but not by enough: its row is marked for a check."""
    TALK = "talk"
    """Something else was said. It must leave no trace in the table."""


@dataclass(frozen=True, slots=True)
class Alternative:
    """Another reading of the same stretch of speech."""

    text: str
    """Plain lower-case words of the pack, as in `Utterance.text`."""
    margin: float
    """How far this reading is behind the chosen one, in nats; 0 or more, small is close."""


@dataclass(frozen=True, slots=True)
class Utterance:
    """One stretch of speech and what was heard in it."""

    text: str
    """The words in the pack's spoken forms, lower case and without punctuation; for talk, the
    free transcript or empty. After "note" the words are free."""
    start_s: float
    end_s: float
    confidence: float
    """0 to 1. How well the grammar explains the speech; an ordering, not a probability."""
    verdict: Verdict
    alternatives: tuple[Alternative, ...] = ()
    """Close competitors, nearest first; empty where the engine offers none."""
    drowned: bool = False
    """Whether others talked nearly as loudly: whatever was heard is then no more than unsure."""


@dataclass(frozen=True, slots=True)
class ArmAngle:
    """The arm-to-trunk angle of one arm in one frame of the recording."""

    time_s: float
    side: Side
    angle_deg: float | None
    """0 (arm along the trunk) to 180. By pose: corrected for the view where the camera's place is
    known, as for an arm in the frontal plane, else as seen in the picture. By markers: in space.
    None where it was not measured."""
    visible: bool
    """True only where the arm was really seen: an angle that may count for a setup."""
    reason: str = ""
    """Why it is not visible, in plain words; empty where it is."""
    source: Source = "pose"
    error_deg: float | None = None
    """How near to the truth about 19 of 20 such angles are; None where that is not known of this
    one."""
    plane_deg: float | None = None
    """The plane of elevation: 0 straight out to the side, 90 straight forward; None where it was
    not measured."""
    seen_deg: float | None = None
    """The angle as it is in the picture, before any correction; None where none was made."""
    scapular_deg: float | None = None
    """What `angle_deg` would be if the arm lay in the scapular plane, 30 degrees forward of the
    frontal one; None where the camera's place is not known."""


@dataclass(frozen=True, slots=True)
class SeenBody:
    """Where the patient's joints are in one frame, for drawing."""

    time_s: float
    points: Mapping[str, tuple[float, float]]
    """x and y in pixels of the frame as it is shown, by joint: "left_shoulder", "right_elbow",
    "left_wrist", "right_hip" and so on (the patient's own sides); a joint not seen is absent."""


@dataclass(frozen=True, slots=True)
class Watched:
    """Everything the eye made of one recording."""

    angles: tuple[ArmAngle, ...] = ()
    """Both arms, in the order of time."""
    bodies: tuple[SeenBody, ...] = ()
    """One for each frame looked at in which the patient was found, in the order of time."""
    warnings: tuple[str, ...] = ()
    """What the user must know, such as an uncertain choice of the patient; a sentence each."""


class SetupStatus(StrEnum):
    """How the arm's angle before a test compares with the test's window."""

    IN_RANGE = "in_range"
    BORDERLINE = "borderline"
    OUT_OF_RANGE = "out_of_range"
    NOT_SEEN = "not_seen"
    NOT_REQUIRED = "not_required"


class RowStatus(StrEnum):
    """Whether a row stands, wants a human's check, or was taken back."""

    LOGGED = "logged"
    CHECK = "check"
    WITHDRAWN = "withdrawn"


@dataclass(frozen=True, slots=True)
class SetupReading:
    """The arm's angle over one steady window."""

    status: SetupStatus
    angle_deg: float | None = None
    """Median over the window."""
    spread_deg: float | None = None
    """Largest minus smallest angle in the window, after single-frame outliers are set aside."""
    at_s: float | None = None
    """The time at the window's end."""
    source: Source | None = None
    """What the angle was measured by; None without an angle."""
    error_deg: float | None = None
    """The measurement's own error, which decides what is borderline; None without an angle."""
    corrected_by_deg: float | None = None
    """How much of `angle_deg` is correction: the angle minus the one in the picture."""
    correction: str = ""
    """What was corrected for, in plain words; empty where nothing was."""


@dataclass(frozen=True, slots=True)
class PositionCheck:
    """One "check position": the arm's angle at that moment."""

    at_s: float
    side: str
    reading: SetupReading


@dataclass(frozen=True, slots=True)
class Finding:
    """One row of the findings table; None or an empty string means "not said"."""

    start_s: float
    end_s: float
    side: str | None = None
    test: str | None = None
    motion: str | None = None
    mode: str | None = None
    range_deg: int | None = None
    grade: str | None = None
    mobility: str | None = None
    mobility_score: int | None = None
    pain: int | None = None
    end_feel: str | None = None
    symptoms: str | None = None
    comparison: str | None = None
    """What the mobility was compared with: a key of `statements.SAME_AS` or `AGAINST`."""
    note: str | None = None
    setup: SetupReading = field(default_factory=lambda: SetupReading(SetupStatus.NOT_SEEN))
    said: str = ""
    """Every utterance that made this row, in order, joined by " | "."""
    confidence: float = 1.0
    """The least sure of the utterances that made this row."""
    status: RowStatus = RowStatus.LOGGED
    reasons: tuple[str, ...] = ()
    """Why the row wants a check; plain words, empty where it wants none."""
    cautions: tuple[str, ...] = ()
    """What the row warns of; a caution alone is no reason for a check."""
