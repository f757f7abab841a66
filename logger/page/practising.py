"""Practice without speech: a target, the arm against it, and a score sheet of attempts."""

from __future__ import annotations

from logger.core.events import Side
from logger.grammar.pack import Pack
from logger.page.looking import Sighting
from logger.page.seats import Plain


class Practising:
    """One student's attempts."""

    def __init__(self, pack: Pack) -> None:
        self._pack = pack

    def next(self, test: str, side: Side, now_s: float) -> Plain:
        raise NotImplementedError

    def seen(self, sighting: Sighting) -> list[Plain]:
        raise NotImplementedError
