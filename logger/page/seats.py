"""The pages that are open: one leads, the others watch, and all are told the same."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from logger.page.timing import PageClock

Plain = dict[str, Any]


@dataclass(eq=False, slots=True)
class Seat:
    """One page that is open."""

    send: Callable[[Plain], None]
    """Takes a message for the page; never waits."""
    clock: PageClock

    def refuse(self, why: str) -> None:
        """Tell this page alone why something is not done."""
        self.send({"kind": "refused", "text": why})


@dataclass(slots=True)
class Seats:
    """All open pages and what troubles them; for the loop's thread alone."""

    taken: list[Seat] = field(default_factory=list)
    lead: Seat | None = None
    troubles: dict[str, str] = field(default_factory=dict)
    """By name; each is shown until it is told with an empty text."""

    def enter(self, seat: Seat) -> None:
        """Let a page in; it leads where no other does."""
        self.taken.append(seat)
        if self.lead is None:
            self.lead = seat

    def leave(self, seat: Seat) -> bool:
        """Let a page go; return whether it led. Those that watch may lead then, if they ask to."""
        self.taken.remove(seat)
        if self.lead is not seat:
            return False
        self.lead = None
        self.all({"kind": "role", "role": "watch", "free": True})
        return True

    def take_over(self, seat: Seat) -> bool:
        """Let a page lead and the one before watch; return whether that changes anything."""
        if self.lead is seat:
            return False
        if self.lead is not None:
            self.lead.send({"kind": "role", "role": "watch", "free": False})
        self.lead = seat
        seat.send({"kind": "role", "role": "lead", "free": False})
        return True

    def role(self, seat: Seat) -> str:
        """Return "lead" or "watch"."""
        return "lead" if self.lead is seat else "watch"

    def all(self, message: Plain) -> None:
        """Tell every page."""
        for seat in self.taken:
            seat.send(message)

    def trouble(self, name: str, text: str) -> None:
        """Show a trouble on every page, or take it away where `text` is empty."""
        if self.troubles.get(name, "") == text:
            return
        if text:
            self.troubles[name] = text
        else:
            del self.troubles[name]
        self.all({"kind": "trouble", "id": name, "text": text})

    def no_troubles(self) -> None:
        """Take all of them away."""
        for name in tuple(self.troubles):
            self.trouble(name, "")
