"""When a recording was started, as the file itself tells it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Final

_KEYS: Final = ("com.apple.quicktime.creationdate", "creation_time")
"""The first has the place's own offset from UTC; containers give the second in UTC."""
_NO_CLOCK_BEFORE: Final = datetime(2000, 1, 1, tzinfo=UTC)
"""A camera whose clock was never set counts from 1904, 1970 or 1980."""


def started_at(metadata: Mapping[str, str]) -> str | None:
    """Return the start in RFC 3339, None where the file tells none with its offset from UTC.

    A time without an offset, or from a clock that was never set, is none: it would be a guess.
    """
    for key in _KEYS:
        try:
            moment = datetime.fromisoformat(metadata.get(key, "").strip())
        except ValueError:
            continue
        if moment.tzinfo is not None and moment >= _NO_CLOCK_BEFORE:
            return moment.isoformat(timespec="seconds")
    return None
