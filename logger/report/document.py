"""What a report holds, in words and in order: the page and the paper are both made of this."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal


@dataclass(frozen=True, slots=True)
class Fact:
    """One line of what is known of a session."""

    name: str
    value: str


@dataclass(frozen=True, slots=True)
class Text:
    """A paragraph."""

    words: str
    small: bool = False
    kind: Literal["text"] = "text"


@dataclass(frozen=True, slots=True)
class Item:
    """One point of a list."""

    words: str
    free: str = ""
    """What a person said or wrote freely, set apart: any script, any direction of writing."""
    label: str = ""
    """Stands out before the words."""


@dataclass(frozen=True, slots=True)
class Items:
    """A list of points."""

    items: tuple[Item, ...]
    columns: int = 1
    kind: Literal["items"] = "items"


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell of a table: its first line, and a second in smaller letters."""

    first: str = ""
    second: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """A table; the first cell of a line names it."""

    name: str
    """What the table is, for those who hear it."""
    head: tuple[str, ...]
    lines: tuple[tuple[Cell, ...], ...]
    widths: tuple[int, ...]
    """The columns' widths, as shares of their sum."""
    kind: Literal["table"] = "table"


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing with its key."""

    svg: str
    desc: str
    """What it shows, in words."""
    key: str = ""
    kind: Literal["picture"] = "picture"


Block = Text | Items | Table | Picture


@dataclass(frozen=True, slots=True)
class Section:
    """A part with a heading."""

    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class Document:
    """A report."""

    title: str
    subtitle: str
    is_not: str
    """What it is not; stands at the top."""
    facts: tuple[Fact, ...]
    sections: tuple[Section, ...]
    beside: Picture | None = None
    """Stands beside the facts."""
    notices: tuple[str, ...] = ()
    """What the reader must know before anything else."""
    sign: tuple[str, ...] = field(default=())
    """Lines to fill in by hand."""
