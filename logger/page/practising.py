"""Practice without speech: a target, the arm against it, and a score sheet of attempts."""

from __future__ import annotations

from dataclasses import dataclass, field

from logger.core.events import Side
from logger.grammar.pack import Pack
from logger.live.practice import Attempt, PracticeView, SetupPractice
from logger.page.looking import Sighting
from logger.page.seats import Plain
from logger.page.showing import gauge_facts, spaced


@dataclass(slots=True)
class Practising:
    """One student's attempts, over all the targets that were practised."""

    pack: Pack
    _practice: SetupPractice | None = None
    _before: list[Attempt] = field(default_factory=list)
    """The attempts at targets that were practised before this one."""
    _view: PracticeView | None = None
    _sent: Plain = field(default_factory=dict)

    def next(self, test: str, side: Side, now_s: float) -> Plain:
        """Begin with a target; return what there is to show.

        Raises:
            UsageError: if the pack has no window for the test.

        """
        practice = SetupPractice.of_test(self.pack, test, side, now_s)
        if self._practice:
            self._before += self._practice.finish()
        self._practice, self._view = practice, None
        return self._sheet()

    def seen(self, sighting: Sighting) -> list[Plain]:
        """Take what was seen in a picture; return what there is to tell the page."""
        if self._practice is None:
            return []
        view = self._view = self._practice.see(sighting.look.angles)
        told = [gauge_facts(view.gauge, view.window, self._practice.side, sighting)]
        sheet = self._sheet()
        if sheet != self._sent:
            self._sent = sheet
            told.append(sheet)
        return told

    def _sheet(self) -> Plain:
        practice, view = self._practice, self._view
        attempts = [*self._before, *(view.attempts if view else ())]
        return {
            "kind": "practice",
            "target": f"{practice.side} {spaced(practice.test)}" if practice else "",
            "words": view.words if view else "looking for the arm",
            "in_place": view.in_place if view else False,
            "got_there_s": _tenths(view.got_there_s) if view else None,
            "attempts": [_attempt(number, one) for number, one in enumerate(attempts, start=1)],
        }


def _attempt(number: int, attempt: Attempt) -> Plain:
    return {
        "number": number,
        "target": f"{attempt.side} {spaced(attempt.test)}",
        "angle_deg": round(attempt.angle_deg),
        "fit": attempt.fit.value,
        "off_deg": round(attempt.off_deg),
        "got_there_s": _tenths(attempt.got_there_s),
        "held_s": _tenths(attempt.held_s),
        "spread_deg": _tenths(attempt.spread_deg),
        "steady": attempt.steady,
    }


def _tenths(value: float | None) -> float | None:
    return None if value is None else round(value, 1)
