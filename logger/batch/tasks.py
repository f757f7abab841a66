"""What is to be done with one recording of many, and what came of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Task:
    """One recording to read."""

    recording: Path
    folder: Path
    """Where its results go."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of one task."""

    task: Task
    sentence: str = ""
    """Why it failed; empty where it did not."""
    exit_code: int = 0
    findings: int = 0
    to_check: int = 0
    warnings: tuple[str, ...] = ()
    took_s: float = 0.0


Work = Callable[[Task], Outcome]
"""Must be picklable, return failures as outcomes and write its results whole or not at all."""
