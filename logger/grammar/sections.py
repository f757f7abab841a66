"""A pack file taken apart into its tables, each read by itself so that all mistakes are found."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final, TypeVar

from pydantic import ValidationError

from logger.core.statements import SLOTS
from logger.grammar.schema import (
    SLOT_TABLES,
    CapsularTable,
    CautionTable,
    CommandsTable,
    LimitTable,
    LinkingTable,
    NumberTable,
    ReportTable,
    ScoreTable,
    SetupTable,
    Table,
    TaughtTable,
    UtteranceTable,
    WordTable,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pydantic_core import ErrorDetails

    from logger.grammar.lines import KeyPath

_T = TypeVar("_T", bound=Table)

_REQUIRED: Final = ("title", "utterance", "slots", "commands")
_OPTIONAL: Final = (
    "linking",
    "setup",
    "mobility_of_score",
    "cautions",
    "report",
    "taught_with",
    "capsular_pattern",
    "limits",
)
_PROBLEMS: Final[Mapping[str, str]] = {
    "missing": "this key is missing; add it",
    "string_type": "should be text in quotes",
    "int_type": "should be a whole number",
    "int_from_float": "should be a whole number",
    "float_type": "should be a number",
    "tuple_type": "should be a list in square brackets",
    "dict_type": "should be a table",
    "model_type": "should be a table",
    "too_short": "is empty; give at least one entry",
}


@dataclass(frozen=True, slots=True)
class Mistake:
    """Something wrong in a pack file."""

    path: KeyPath
    problem: str
    """What is wrong and what to do, without a full stop."""
    text: str = ""
    """The words at fault, to find their line in a long list."""


@dataclass(slots=True)
class Sections:
    """The tables that could be read; what could not is left out."""

    tables: frozenset[str] = frozenset()
    """Every key at the top of the file, those with mistakes too."""
    title: str = ""
    utterance: UtteranceTable | None = None
    commands: CommandsTable | None = None
    linking: LinkingTable | None = None
    words: dict[str, WordTable] = field(default_factory=dict)
    numbers: dict[str, NumberTable] = field(default_factory=dict)
    named_slots: frozenset[str] = frozenset()
    """Every known slot in the file, those with mistakes too."""
    setup: dict[str, SetupTable] = field(default_factory=dict)
    score: ScoreTable | None = None
    cautions: list[CautionTable] = field(default_factory=list)
    report: ReportTable | None = None
    taught_with: TaughtTable | None = None
    capsular_pattern: CapsularTable | None = None
    limits: dict[str, LimitTable] = field(default_factory=dict)

    def slot_names(self) -> tuple[str, ...]:
        """Return the slots that could be read, in the usual order."""
        return tuple(slot for slot in SLOTS if slot in self.words or slot in self.numbers)


def read_sections(data: Mapping[str, Any]) -> tuple[Sections, list[Mistake]]:
    """Read every table of a parsed file, and say what is wrong with those that cannot be."""
    mistakes = [
        Mistake((key,), "this key is missing; add it") for key in _REQUIRED if key not in data
    ]
    known = (*_REQUIRED, *_OPTIONAL)
    mistakes += [Mistake((key,), _unknown(known)) for key in data if key not in known]
    sections = Sections(
        tables=frozenset(data),
        utterance=read_table(UtteranceTable, data, ("utterance",), mistakes),
        commands=read_table(CommandsTable, data, ("commands",), mistakes),
        linking=read_table(LinkingTable, data, ("linking",), mistakes),
        score=read_table(ScoreTable, data, ("mobility_of_score",), mistakes),
        report=read_table(ReportTable, data, ("report",), mistakes),
        taught_with=read_table(TaughtTable, data, ("taught_with",), mistakes),
        capsular_pattern=read_table(CapsularTable, data, ("capsular_pattern",), mistakes),
    )
    _read_title(data, sections, mistakes)
    _read_slots(data, sections, mistakes)
    _read_each(SetupTable, data, ("setup", sections.setup), mistakes)
    _read_each(LimitTable, data, ("limits", sections.limits), mistakes)
    _read_cautions(data, sections, mistakes)
    return sections, mistakes


def _read_title(data: Mapping[str, Any], sections: Sections, mistakes: list[Mistake]) -> None:
    title = data.get("title", "missing")
    if isinstance(title, str) and title.strip():
        sections.title = title
    else:
        mistakes.append(Mistake(("title",), "should be text in quotes, not empty"))


def _read_slots(data: Mapping[str, Any], sections: Sections, mistakes: list[Mistake]) -> None:
    slots = _table(data, "slots", mistakes)
    mistakes += [Mistake(("slots", slot), _unknown(SLOTS)) for slot in slots if slot not in SLOTS]
    sections.named_slots = frozenset(slots) & frozenset(SLOTS)
    if "slots" in data and "side" not in slots:
        mistakes.append(Mistake(("slots", "side"), "this key is missing; add it"))
    for slot, model in SLOT_TABLES.items():
        table = read_table(model, slots, (slot,), mistakes, ("slots",))
        if isinstance(table, WordTable):
            sections.words[slot] = table
        elif isinstance(table, NumberTable):
            sections.numbers[slot] = table


def _read_each(
    model: type[_T],
    data: Mapping[str, Any],
    into: tuple[str, dict[str, _T]],
    mistakes: list[Mistake],
) -> None:
    """Read the tables that stand by name under one key into a dictionary."""
    key, found = into
    tables = _table(data, key, mistakes)
    for name in tables:
        table = read_table(model, tables, (name,), mistakes, (key,))
        if table is not None:
            found[name] = table


def _read_cautions(data: Mapping[str, Any], sections: Sections, mistakes: list[Mistake]) -> None:
    cautions = data.get("cautions", [])
    if not isinstance(cautions, list):
        mistakes.append(Mistake(("cautions",), "should be written as [[cautions]] tables"))
        return
    for index in range(len(cautions)):
        numbered = dict(enumerate(cautions))
        table = read_table(CautionTable, numbered, (index,), mistakes, ("cautions",))
        if table is not None:
            sections.cautions.append(table)


def _table(data: Mapping[str, Any], key: str, mistakes: list[Mistake]) -> Mapping[str, Any]:
    value = data.get(key, {})
    if isinstance(value, dict):
        return value
    mistakes.append(Mistake((key,), "should be a table"))
    return {}


def read_table(
    model: type[_T],
    data: Mapping[Any, Any],
    key: tuple[str] | tuple[int],
    mistakes: list[Mistake],
    parents: KeyPath = (),
) -> _T | None:
    """Read the table at `key`, or note its mistakes; None if it is missing or has any."""
    if key[0] not in data:
        return None
    try:
        return model.model_validate(data[key[0]])
    except ValidationError as error:
        path = (*parents, *key)
        known = tuple(model.model_fields)
        mistakes += [mistake(known, path, detail) for detail in error.errors()]
        return None


def mistake(known: tuple[str, ...], path: KeyPath, detail: ErrorDetails) -> Mistake:
    """Put what pydantic found wrong in the table at `path` into plain words.

    `known` are the keys that the table may have.
    """
    inner = tuple(part for part in detail["loc"] if part != "[key]")
    given = detail["input"]
    if detail["type"] == "extra_forbidden":
        problem = _unknown(known)
    elif detail["type"] == "value_error":
        problem = str(detail["ctx"]["error"])
    else:
        problem = _PROBLEMS.get(detail["type"]) or _plain(detail["msg"])
    text = given if isinstance(given, str) else ""
    return Mistake((*path, *inner), problem, text)


def _unknown(known: tuple[str, ...]) -> str:
    return f"unknown key; known here are {', '.join(known)}"


def _plain(message: str) -> str:
    """Turn "Input should be X" into "should be X"."""
    return message.removeprefix("Input ")
