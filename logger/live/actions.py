"""What a person asks for with a key, a foot switch or the page; all times as in `core.events`."""

from __future__ import annotations

from dataclasses import dataclass

from logger.core.events import Side
from logger.core.session import CautionAnswer
from logger.core.statements import SlotValue


@dataclass(frozen=True, slots=True)
class CheckPosition:
    """Tell the arm's angle now."""

    at_s: float


@dataclass(frozen=True, slots=True)
class Withdraw:
    """Take back the last row, as "scratch that" does."""

    at_s: float


@dataclass(frozen=True, slots=True)
class Pause:
    """What is said from now on makes no row."""

    at_s: float


@dataclass(frozen=True, slots=True)
class Resume:
    """Listen again, after a pause or after the end."""

    at_s: float


@dataclass(frozen=True, slots=True)
class BeginBout:
    """A bout of treatment begins."""

    at_s: float
    grade: str | None = None
    """As the pack writes it: "3", "3+"."""


@dataclass(frozen=True, slots=True)
class EndBout:
    """The running bout ends."""

    at_s: float


@dataclass(frozen=True, slots=True)
class End:
    """The session ends; `Resume` opens it again."""

    at_s: float


@dataclass(frozen=True, slots=True)
class SetSide:
    """What follows is about this side."""

    at_s: float
    side: Side


@dataclass(frozen=True, slots=True)
class AnswerCautions:
    """Every caution of the pack is answered; testing may begin."""

    answers: tuple[CautionAnswer, ...]
    """One for each caution of the pack, with its text; one that is present needs a reason."""


@dataclass(frozen=True, slots=True)
class SettleCheck:
    """A person has looked at a row that wanted a check, and it stands."""

    row: int
    """From 1, as in `core.session.Edit`."""
    by: str
    """A code, never a name."""


@dataclass(frozen=True, slots=True)
class EditSlot:
    """A person puts another value into a row; what was heard is kept beside it."""

    row: int
    slot: str
    """A name of `statements.SLOTS`, "note", or "status"."""
    value: SlotValue | None
    """None empties the slot. For "status": "logged" or "withdrawn"."""
    by: str


@dataclass(frozen=True, slots=True)
class PlayedBack:
    """The page itself spoke in this time: what was heard then is no finding."""

    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class SoundMissing:
    """What was said in this time was not heard, or not all of it: it never arrived."""

    start_s: float
    end_s: float


Action = (
    CheckPosition
    | Withdraw
    | Pause
    | Resume
    | BeginBout
    | EndBout
    | End
    | SetSide
    | AnswerCautions
    | SettleCheck
    | EditSlot
    | PlayedBack
    | SoundMissing
)
