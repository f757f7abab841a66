"""The journal: every session's events in one SQLite file."""

from __future__ import annotations

from pathlib import Path


class Journal:
    """Opens or makes the journal at `path`."""

    def __init__(self, path: Path) -> None:
        """Open it."""
        self.path = path
