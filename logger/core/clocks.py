"""Moments of different clocks: when something was, and what cannot have been."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from logger.core.session import Edit, Judgement, SessionFacts


def moment_of(text: str | None) -> datetime | None:
    """Return an RFC 3339 time; None for none, and for one without its offset from UTC."""
    try:
        moment = datetime.fromisoformat(text or "")
    except ValueError:
        return None
    return None if moment.tzinfo is None else moment


def moment_in(facts: SessionFacts, time_s: float) -> datetime | None:
    """Return when a time of the session was, None where its start is not known."""
    start = moment_of(facts.started_at)
    return None if start is None else start + timedelta(seconds=time_s)


def clock_trouble(facts: SessionFacts, changes: Iterable[Edit | Judgement]) -> str:
    """Return that a change is dated before the session began; empty where none is."""
    start = moment_of(facts.started_at)
    early = {
        change.by
        for change in changes
        if start is not None and (moment := moment_of(change.at)) is not None and moment < start
    }
    if not early:
        return ""
    return (
        f"changes by {', '.join(sorted(early))} are dated before the session began: "
        "the clocks disagree"
    )
