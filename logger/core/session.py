"""What is known of a session besides its findings, and what people change in it afterwards.

What was heard is never written over: an edit stands beside the value it replaces, with who made it
and when.
"""

from __future__ import annotations

from dataclasses import dataclass

from logger.core.events import Finding, Side
from logger.core.statements import SlotValue


@dataclass(frozen=True, slots=True)
class CautionAnswer:
    """One caution of the pack, as it was answered before testing."""

    text: str
    """As it stands in the pack."""
    present: bool
    reason: str = ""
    """Why testing went on although it is present; empty where it is not."""


@dataclass(frozen=True, slots=True)
class SessionFacts:
    """Who, when and after which answers; None means that nobody said."""

    patient_code: str | None = None
    """A label that leads to a person only by a key kept elsewhere; never a name or a birth date."""
    examiner_code: str | None = None
    started_at: str | None = None
    """RFC 3339 with its offset from UTC; all other times count in seconds from this."""
    involved_side: Side | None = None
    cautions: tuple[CautionAnswer, ...] = ()
    """Empty where they were not asked, as for a recording."""


@dataclass(frozen=True, slots=True)
class Bout:
    """One bout of treatment, from "begin bout" to "end bout"."""

    start_s: float
    end_s: float | None
    """None where it was not ended."""
    side: Side | None = None
    test: str | None = None
    """The direction that was treated, a key of the pack; None where none was in force."""
    grade: str | None = None
    reasons: tuple[str, ...] = ()
    """Why it wants a check; plain words, empty where it wants none."""


@dataclass(frozen=True, slots=True)
class Edit:
    """One change that a person made to a row after it was heard."""

    row: int
    """From 1, in the order of start over all rows, withdrawn ones included."""
    slot: str
    """A name of `statements.SLOTS`, "note", or "status" to settle a check or withdraw a row."""
    before: SlotValue | None
    after: SlotValue | None
    by: str
    """A code, never a name."""
    at: str
    """RFC 3339 with its offset from UTC."""


@dataclass(frozen=True, slots=True)
class Judgement:
    """A second rater's own value for one slot of a row, beside the first rater's."""

    row: int
    """As in `Edit`."""
    slot: str
    value: SlotValue | None
    by: str
    at: str


@dataclass(frozen=True, slots=True)
class Reviewed:
    """Someone has looked through the whole session."""

    by: str
    """A code, never a name."""
    at: str
    """RFC 3339 with its offset from UTC."""


@dataclass(frozen=True, slots=True)
class KeptRow:
    """A row as it was heard, and as it stands after what people changed in it."""

    number: int
    """As in `Edit`."""
    heard: Finding
    finding: Finding
    """With the edits; the same as `heard` where there are none."""
    edits: tuple[Edit, ...] = ()
    """In the order in which they were made."""
    settled: bool = False
    """Whether a person has looked at it after the last reason for a check, and it stands."""
