"""What there is to show of a session at one moment."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from logger.core.events import ArmAngle, PositionCheck, SetupStatus, Side, Utterance
from logger.core.session import Bout, CautionAnswer, KeptRow
from logger.core.statements import SetupWindow

Phase = Literal["cautions", "testing", "paused", "ended"]
"""Cautions are to be answered, rows are made, listening is paused, the session is over."""

HeardKind = Literal[
    "logged", "completed", "check", "withdrawn", "side", "refused", "unplaced", "command"
]
"""What became of an utterance: a new row, more for the open one, a row that wants a check, a row
taken back, a side set, talk, kept beside the table with its reason, another command."""


@dataclass(frozen=True, slots=True)
class LastHeard:
    """What was heard last and what became of it."""

    text: str
    """Of talk too: to be shown for a moment and never kept."""
    kind: HeardKind
    reason: str = ""
    """Why it wants a check or found no place; plain words, empty where there is none."""
    row: int | None = None
    """The number of the row it went into."""
    at_s: float = 0.0
    """When it began."""


@dataclass(frozen=True, slots=True)
class Gauge:
    """The arm of the side in force, for eyes two metres away."""

    angle: ArmAngle | None = None
    """The last sample of that arm, seen or not; None before the first, or without a side."""
    angle_deg: float | None = None
    """In the plane of the window's test, as a setup is judged; None where it was not seen."""
    status: SetupStatus = SetupStatus.NOT_SEEN
    words: str = "not seen"
    """"52\u00b0, in range", or why there is no angle."""
    steady_s: float = 0.0
    """For how long the arm has been seen to hold still, up to now, at most 15; 0 while it moves."""


@dataclass(frozen=True, slots=True)
class State:
    """Everything that the page shows."""

    phase: Phase
    side: Side | None
    side_doubts: tuple[str, ...]
    """Why the side is doubtful; rows that take it over are then marked for a check."""
    test: str | None
    """The test named last; its window is the one on the gauge."""
    window: SetupWindow | None
    gauge: Gauge
    open_row: KeptRow | None
    """The row that attributes would go to; None where none is open."""
    rows: tuple[KeptRow, ...]
    last_heard: LastHeard | None
    bouts: tuple[Bout, ...]
    running_bout: Bout | None
    position_checks: tuple[PositionCheck, ...]
    unplaced: tuple[tuple[Utterance, str], ...]
    cautions: tuple[CautionAnswer, ...]
    warnings: tuple[str, ...] = ()
