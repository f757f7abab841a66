"""The tables of a pack file as they are written, each checked by itself."""

from __future__ import annotations

import re
from typing import Annotated, Final, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

from logger.grammar.numbers import HIGHEST
from logger.grammar.pack import BLANK, LimitKind

_WORDS: Final = re.compile(r"[a-z]+(?:'[a-z]+)*(?: [a-z]+(?:'[a-z]+)*)*")
_NAME: Final = re.compile(r"[a-z][a-z0-9_]*")


def _words(text: str) -> str:
    if not text.strip():
        raise ValueError("a spoken form is empty; write its words or remove it")
    if not _WORDS.fullmatch(text):
        raise ValueError(
            f"{text!r} is not written as spoken; use lower-case words parted by single spaces, "
            "without digits or signs"
        )
    return text


def _template(text: str) -> str:
    if text.count(BLANK) != 1:
        raise ValueError(f'{text!r} needs "{BLANK}" once, where the value is said')
    _words(text.replace(BLANK, "value"))
    return text


def _name(text: str) -> str:
    if not _NAME.fullmatch(text):
        raise ValueError(f"{text!r} is no name; use lower-case letters, digits and _")
    return text


def _number(key: str) -> int:
    if not key.isascii() or not key.isdigit():
        raise ValueError(f"{key!r} is no whole number; write one such as 3")
    return int(key)


def _mark(key: str) -> str:
    if key not in ("+", "-"):
        raise ValueError(f'{key!r} is no mark; use "+" or "-"')
    return key


def _filled(text: str) -> str:
    if not text.strip():
        raise ValueError("is empty; write it out")
    return text


Spoken = Annotated[str, AfterValidator(_words)]
Forms = Annotated[tuple[Spoken, ...], Field(min_length=1, strict=False)]
Templates = Annotated[
    tuple[Annotated[str, AfterValidator(_template)], ...], Field(min_length=1, strict=False)
]
OptionalForms = Annotated[tuple[Spoken, ...], Field(strict=False)]
OptionalTemplates = Annotated[
    tuple[Annotated[str, AfterValidator(_template)], ...], Field(strict=False)
]
Names = Annotated[tuple[str, ...], Field(strict=False)]
ValueName = Annotated[str, AfterValidator(_name)]
Mark = Annotated[str, AfterValidator(_mark)]
Number = Annotated[int, BeforeValidator(_number)]
Filled = Annotated[str, AfterValidator(_filled)]
Degrees = Annotated[float, Field(ge=0, le=HIGHEST)]
Count = Annotated[int, Field(ge=0, le=HIGHEST)]


class Table(BaseModel):
    """A table of the file: no key may be unknown and no type is bent to fit."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True, allow_inf_nan=False)


class WordTable(Table):
    """A slot whose values are words."""

    values: Annotated[dict[ValueName, Forms], Field(min_length=1)]
    phrases: Templates = (BLANK,)
    phrases_beside_row: OptionalTemplates = ()
    ordered: bool = False
    bare: dict[ValueName, Forms] = {}
    beside_row: dict[ValueName, Forms] = {}


class SpanTable(Table):
    """Two numbers said for one."""

    words: Forms
    steps: Annotated[tuple[Annotated[int, Field(ge=1)], ...], Field(min_length=1, strict=False)]


class NumberTable(Table):
    """A slot whose values are numbers."""

    low: Count
    high: Count
    phrases: Templates
    phrases_beside_row: OptionalTemplates = ()
    measured: bool = False
    also: dict[Number, Forms] = {}
    marks: dict[Mark, Forms] = {}
    spans: SpanTable | None = None


class UtteranceTable(Table):
    """What may stand in an utterance."""

    opens_row: Annotated[tuple[str, ...], Field(min_length=1, strict=False)]
    completes_row: Names
    bare_side_with: Names
    beside_row_only: Names = ()
    sentence_completes: Names = ()
    opening_word: OptionalForms = ()
    turn_round: OptionalForms = ()
    bout_takes: Names = ()
    no_note: OptionalForms = ()
    needs: dict[str, Names] = {}


class LinkingTable(Table):
    """Words that mean nothing."""

    first: OptionalForms = ()
    between: OptionalForms = ()
    last: OptionalForms = ()


class CommandsTable(Table):
    """The spoken forms of the commands."""

    correction: Forms
    withdraw: Forms
    other_side: Forms
    check_position: Forms
    note: Forms
    pause_listening: OptionalForms = ()
    resume_listening: OptionalForms = ()
    begin_bout: OptionalForms = ()
    end_bout: OptionalForms = ()
    end_session: OptionalForms = ()


class SetupTable(Table):
    """The arm's angles for one test."""

    low_deg: Degrees
    high_deg: Degrees
    source: Filled
    plane_deg: Annotated[float, Field(ge=0, le=60)] = 0.0


class ScoreTable(Table):
    """What a mobility score means."""

    source: Filled
    values: dict[Number, str]


class CautionTable(Table):
    """A reason not to test."""

    text: Filled
    urgency: Literal["do not test", "take care"]
    source: Filled


class DoubtTable(Table):
    """What speaks against a rule."""

    text: Filled
    source: Filled


class TaughtWithTable(Table):
    """The motions of one direction."""

    motions: Names
    source: Filled


class TaughtTable(Table):
    """The directions and what speaks against the rule."""

    tests: Annotated[dict[str, TaughtWithTable], Field(min_length=1)]
    doubts: Annotated[tuple[DoubtTable, ...], Field(min_length=1, strict=False)]


class CapsularTable(Table):
    """The order of loss."""

    order: Annotated[tuple[str, ...], Field(min_length=2, strict=False)]
    source: Filled
    doubts: Annotated[tuple[DoubtTable, ...], Field(min_length=1, strict=False)]


class ReportTable(Table):
    """How the report reads the rows."""

    limited: Filled
    modes: Annotated[tuple[str, ...], Field(min_length=1, strict=False)]
    joint: Literal["", "shoulder", "elbow", "wrist", "hip"] = ""


class LimitTable(Table):
    """How large a difference of one slot must be."""

    kind: LimitKind
    source: Filled
    value: Annotated[float, Field(gt=0, le=HIGHEST)] | None = None
    value_two_examiners: Annotated[float, Field(gt=0, le=HIGHEST)] | None = None
    source_two_examiners: str = ""


SLOT_TABLES: Final[dict[str, type[WordTable | NumberTable]]] = {
    "side": WordTable,
    "test": WordTable,
    "motion": WordTable,
    "mode": WordTable,
    "range_deg": NumberTable,
    "grade": NumberTable,
    "mobility": WordTable,
    "mobility_score": NumberTable,
    "pain": NumberTable,
    "end_feel": WordTable,
    "symptoms": WordTable,
    "comparison": WordTable,
}
"""How each slot's table is written."""
