"""What happens in a session, as the journal keeps it: typed, each kind with its version."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Final

from pydantic import TypeAdapter, ValidationError

from logger.core.errors import JournalError
from logger.core.events import ArmAngle, Utterance, Verdict
from logger.core.session import Edit, SessionFacts
from logger.grammar.interpreting import bearing
from logger.grammar.parsing import Parser
from logger.keeping.journal import Event
from logger.live import actions


@dataclass(frozen=True, slots=True)
class Begun:
    """The session began."""

    facts: SessionFacts


@dataclass(frozen=True, slots=True)
class Said:
    """An utterance was recognised."""

    utterance: Utterance


@dataclass(frozen=True, slots=True)
class Seen:
    """Both arms' angles over a short while."""

    angles: tuple[ArmAngle, ...]


@dataclass(frozen=True, slots=True)
class Edited:
    """A person changed rows, or settled a check."""

    edits: tuple[Edit, ...]


Happening = (
    Begun
    | Said
    | Seen
    | Edited
    | actions.CheckPosition
    | actions.Withdraw
    | actions.Pause
    | actions.Resume
    | actions.BeginBout
    | actions.EndBout
    | actions.End
    | actions.SetSide
    | actions.AnswerCautions
    | actions.PlayedBack
    | actions.SoundMissing
)

_VERSION: Final = 1
_KINDS: Final[dict[str, type[Any]]] = {
    "begun": Begun,
    "said": Said,
    "seen": Seen,
    "edited": Edited,
    "check_position": actions.CheckPosition,
    "withdraw": actions.Withdraw,
    "pause": actions.Pause,
    "resume": actions.Resume,
    "begin_bout": actions.BeginBout,
    "end_bout": actions.EndBout,
    "end": actions.End,
    "set_side": actions.SetSide,
    "answer_cautions": actions.AnswerCautions,
    "played_back": actions.PlayedBack,
    "sound_missing": actions.SoundMissing,
}
_ADAPTERS: Final = {kind: TypeAdapter[Any](cls) for kind, cls in _KINDS.items()}
_NAMES: Final = {cls: kind for kind, cls in _KINDS.items()}


def without_words(talk: Utterance) -> Utterance:
    """Return talk with its times alone. What was said is shown for a moment only."""
    return replace(talk, text="", alternatives=())


def to_event(happening: Happening, parser: Parser) -> Event:
    """Return what the journal keeps; of talk the times, and of its words what bears on the table.

    That is a side said alone or perhaps said: without them the same rows would come back unasked.
    """
    if isinstance(happening, Said) and happening.utterance.verdict is Verdict.TALK:
        happening = Said(bearing(happening.utterance, parser))
    kind = _NAMES[type(happening)]
    data = _ADAPTERS[kind].dump_json(happening, exclude_defaults=True)
    return Event(kind, _VERSION, data.decode())


def from_event(event: Event) -> Happening:
    """Return what happened.

    Raises:
        JournalError: if this version does not know such an event.

    """
    adapter = _ADAPTERS.get(event.kind)
    if adapter is None or event.version > _VERSION:
        raise JournalError(
            f"The session was kept by a newer version of this program (event {event.kind}); "
            "update it."
        )
    try:
        happening: Happening = adapter.validate_json(event.data)
    except ValidationError as error:
        raise JournalError(
            f"An event of the session ({event.kind}) cannot be read; put a copy of the journal "
            "in its place."
        ) from error
    return happening
