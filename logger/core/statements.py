"""What an utterance means: the slots it fills and what it asks for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from logger.core.events import Side, Utterance

SlotValue = str | int
"""An integer for range_deg (degrees), mobility_score (0 to 6) and pain (0 to 10), else text."""

SAME_AS: Mapping[str, Side | None] = {
    "same_as_other_side": None,
    "same_as_left": "left",
    "same_as_right": "right",
}
"""Comparisons that take the mobility over from the side named, or from the other one."""

AGAINST: Mapping[str, Side | None] = {
    "against_other_side": None,
    "against_left": "left",
    "against_right": "right",
}
"""Comparisons that only say what the judgement was made against."""

SLOTS: tuple[str, ...] = (
    "side",
    "test",
    "motion",
    "mode",
    "range_deg",
    "grade",
    "mobility",
    "mobility_score",
    "pain",
    "end_feel",
    "symptoms",
    "comparison",
)


class Act(StrEnum):
    """What an utterance does to the table."""

    FINDING = "finding"
    """Names a test or a motion: opens a row."""
    ATTRIBUTES = "attributes"
    """Only attributes: completes the open row."""
    SIDE = "side"
    """"right shoulder", "left side" alone: sets the side for what follows."""
    CORRECTION = "correction"
    """Replaces the named slots in the open row."""
    WITHDRAW = "withdraw"
    """"scratch that": takes the last row back."""
    OTHER_SIDE = "other_side"
    CHECK_POSITION = "check_position"
    NOTE = "note"
    PAUSE_LISTENING = "pause_listening"
    """What is said from then on makes no row."""
    RESUME_LISTENING = "resume_listening"
    BEGIN_BOUT = "begin_bout"
    """A bout of treatment begins; what is treated and its grade may follow."""
    END_BOUT = "end_bout"
    END_SESSION = "end_session"


STOPS: frozenset[Act] = frozenset({Act.PAUSE_LISTENING, Act.END_SESSION})
"""What stops the record: heard with any doubt, it must not."""
SESSION_ACTS: frozenset[Act] = frozenset(
    {Act.PAUSE_LISTENING, Act.RESUME_LISTENING, Act.BEGIN_BOUT, Act.END_BOUT, Act.END_SESSION}
)
"""What is about the session and not about a row."""


@dataclass(frozen=True, slots=True)
class Statement:
    """The meaning of one utterance."""

    act: Act
    slots: Mapping[str, tuple[SlotValue, ...]] = field(default_factory=dict)
    """Every value said for each slot, in order; more than one different value is a conflict."""
    note: str = ""
    """The free words after "note"."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """Two or more values that a slot could have, because they sound alike in this utterance."""

    slot: str
    values: tuple[SlotValue | None, ...]
    """The value taken first, then its rivals; None stands for "not said"."""
    margin: float
    """How far the nearest rival reading is behind, in nats."""


@dataclass(frozen=True, slots=True)
class Heard:
    """An utterance with its meaning and what is doubtful in it."""

    utterance: Utterance
    statement: Statement | None
    """None for talk and for words that make no statement, such as a bare "right"."""
    doubts: tuple[Doubt, ...] = ()
    question: str = ""
    """Set where the closest rival is another act altogether ("correction" or not, withdrawn or
    not): what it might have been, in plain words."""
    of_row_before: bool = False
    """Whether what it might have been would have gone to the row before: a correction of it, or
    more said to it."""
    lone_side: str = ""
    """A bare side said by itself. It states nothing, unless it began the finding right after it."""


@dataclass(frozen=True, slots=True)
class SetupWindow:
    """The arm-to-trunk angles at which a test is set up, in degrees, ends included."""

    low_deg: float
    high_deg: float
    source: str
    plane_deg: float = 0.0
    """The plane of elevation in which the arm is held: 0 frontal, 30 scapular."""
