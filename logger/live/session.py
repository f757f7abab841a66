"""A session while it is going on."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Self

from logger.core.events import ArmAngle, Utterance
from logger.core.session import SessionFacts
from logger.grammar.pack import Pack
from logger.keeping.journal import Journal
from logger.live.actions import Action
from logger.live.state import State

Clock = Callable[[], datetime]
"""Returns the time now, with its offset from UTC."""


class LiveSession:
    """Takes what is heard, seen and pressed, keeps it, and says what there is to show."""

    session_id: str
    pack: Pack

    @classmethod
    def begin(cls, journal: Journal, facts: SessionFacts, pack: Pack, clock: Clock) -> Self:
        """Begin a session."""
        raise NotImplementedError

    @classmethod
    def resume(cls, journal: Journal, session_id: str, clock: Clock) -> Self:
        """Go on with a session that is in the journal, with the pack it was begun with."""
        raise NotImplementedError

    def now_s(self) -> float:
        """Return the seconds since the session began, to which all times count."""
        raise NotImplementedError

    def hear(self, utterance: Utterance) -> State:
        """Take an utterance, times as seconds since the session began."""
        raise NotImplementedError

    def see(self, angles: Sequence[ArmAngle]) -> State:
        """Take what the eye made of a frame."""
        raise NotImplementedError

    def act(self, action: Action) -> State:
        """Do what a person asked for with a key or on the page."""
        raise NotImplementedError

    def state(self) -> State:
        """Return what there is to show now."""
        raise NotImplementedError

    def close(self) -> None:
        """Let go of the session, so that another process may go on with it."""
        raise NotImplementedError
