"""What is said on a track and what the table must then hold."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from logger.core.statements import SlotValue

FloatArray = NDArray[np.float32]

Kind = Literal[
    "finding",
    "attributes",
    "correction",
    "withdraw",
    "side",
    "other_side",
    "note",
    "check_position",
    "talk",
    "noise",
]
"""What a line is; "noise" is a sound that nobody says, such as a door."""


@dataclass(frozen=True, slots=True)
class Line:
    """One thing said, or one noise made, between two longer silences."""

    pieces: tuple[str, ...]
    """What a voice reads, with a short pause after each piece but the last."""
    kind: Kind
    by_patient: bool = False
    """Said by another voice than the clinician's."""

    @property
    def text(self) -> str:
        """The whole line as written."""
        return " ".join(self.pieces)


@dataclass(frozen=True, slots=True)
class ScriptRow:
    """One row that the table must hold."""

    line: int
    """The line that opens it, by position in the script."""
    slots: Mapping[str, SlotValue]
    """By column name; a column that is absent must be empty."""
    withdrawn: bool = False
    noted: bool = False
    """Whether a note belongs to it; its words are free and are not compared."""


@dataclass(frozen=True, slots=True)
class Script:
    """Everything that is said on a track, in order."""

    lines: tuple[Line, ...]
    rows: tuple[ScriptRow, ...] = ()


@dataclass(frozen=True, slots=True)
class TimedLine:
    """A line with its place on the track."""

    text: str
    kind: Kind
    start_s: float
    """Where its first sound begins, not the silence before it."""
    end_s: float
    voice: str = ""


@dataclass(frozen=True, slots=True)
class TruthRow:
    """One row that the table must hold, with the time of the line that opens it."""

    start_s: float
    end_s: float
    slots: Mapping[str, SlotValue]
    withdrawn: bool = False
    noted: bool = False


@dataclass(frozen=True, slots=True)
class Truth:
    """What was said on a track and when."""

    duration_s: float
    lines: tuple[TimedLine, ...] = ()
    rows: tuple[TruthRow, ...] = field(default_factory=tuple)

    @property
    def talk(self) -> tuple[TimedLine, ...]:
        """The lines that must leave no trace in the table."""
        return tuple(line for line in self.lines if line.kind in ("talk", "noise"))


@dataclass(frozen=True, slots=True)
class Track:
    """A sound and what is said in it."""

    samples: FloatArray
    """Shape (n,), 16 kHz mono in [-1, 1]."""
    truth: Truth
