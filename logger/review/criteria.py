"""The session sheet as an educator writes it: what to look for in a practice session."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Annotated, Any, Final, Literal, get_args

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError
from pydantic_core import ErrorDetails

from logger.core.errors import PackError
from logger.grammar.pack import Pack, WordSlot
from logger.grammar.sections import Mistake, mistake
from logger.grammar.toml_text import parsed, report, text_of

SHIPPED: Final = "accessory-tests"

_Text = Annotated[str, Field(min_length=1)]
_Texts = Annotated[tuple[_Text, ...], Field(min_length=1, strict=False)]
_Share = Annotated[float, Field(gt=0, le=1, strict=False)]


class CriterionBase(BaseModel):
    """What every criterion has."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)

    text: _Text
    """What is looked for, as it stands on the sheet."""
    source: _Text


class ScreenedFirst(CriterionBase):
    """A motion was tested in each of the modes before the first accessory test."""

    kind: Literal["screened_first"]
    modes: _Texts


class EndFeelNoted(CriterionBase):
    """Of the motions tested in these modes, at least this share has an end feel."""

    kind: Literal["end_feel_noted"]
    modes: _Texts
    least_share: _Share


class EachDirection(CriterionBase):
    """Each of the tests was made, on whichever side."""

    kind: Literal["each_direction"]
    tests: _Texts


class BothSides(CriterionBase):
    """Each test that was made at all was made on both sides."""

    kind: Literal["both_sides"]


class SetupInWindow(CriterionBase):
    """Of the setups that were seen, at least this share lay in the window."""

    kind: Literal["setup_in_window"]
    least_share: _Share


class NotedBefore(CriterionBase):
    """Notes with all of the words were made before the first row of the test."""

    kind: Literal["noted_before"]
    test: _Text
    words: _Texts


class Judged(CriterionBase):
    """Each accessory test has a mobility, a score or a grade."""

    kind: Literal["judged"]


class TimeATest(CriterionBase):
    """The median time from one accessory test to the next is no longer than this."""

    kind: Literal["time_a_test"]
    most_s: Annotated[float, Field(gt=0, strict=False)]


Criterion = (
    ScreenedFirst
    | EndFeelNoted
    | EachDirection
    | BothSides
    | SetupInWindow
    | NotedBefore
    | Judged
    | TimeATest
)
_KINDS: Final[Mapping[str, type[CriterionBase]]] = {
    get_args(model.model_fields["kind"].annotation)[0]: model for model in get_args(Criterion)
}
_ONE: Final[TypeAdapter[Criterion]] = TypeAdapter(Annotated[Criterion, Field(discriminator="kind")])


@dataclass(frozen=True, slots=True)
class SheetPlan:
    """A session sheet before it is filled in."""

    title: str
    criteria: tuple[Criterion, ...]


def load_sheet(name_or_path: str, pack: Pack) -> SheetPlan:
    """Load a session sheet: the shipped one by `SHIPPED`, any other by the path of its file.

    Raises:
        PackError: if there is no such file, or it has mistakes; the message names all of them,
            one a line, each as "file:line: key: what is wrong and what to do".

    """
    text = text_of(_find(name_or_path), name_or_path)
    data = parsed(text, name_or_path)
    plan, mistakes = _read(data, pack)
    if mistakes:
        raise PackError(report(mistakes, text, name_or_path))
    return plan


def _find(name_or_path: str) -> Traversable:
    if name_or_path != SHIPPED:
        return Path(name_or_path)
    installed = resources.files("logger").joinpath("_grammars")
    # In a checkout the packs are beside the package instead of in it.
    packs = installed if installed.is_dir() else Path(__file__).resolve().parents[2] / "grammars"
    return packs.joinpath("sheets").joinpath(f"{SHIPPED}.toml")


def _read(data: Mapping[str, Any], pack: Pack) -> tuple[SheetPlan, list[Mistake]]:
    mistakes = [
        Mistake((key,), "unknown key; known here are title, criteria")
        for key in data
        if key not in ("title", "criteria")
    ]
    title = data.get("title")
    if not isinstance(title, str) or not title.strip():
        mistakes.append(Mistake(("title",), "should be text in quotes, not empty"))
        title = ""
    tables = data.get("criteria")
    if not isinstance(tables, list) or not tables:
        mistakes.append(Mistake(("criteria",), "should be written as [[criteria]] tables"))
        tables = []
    criteria = []
    for index, table in enumerate(tables):
        path = ("criteria", index)
        try:
            criterion = _ONE.validate_python(table)
        except ValidationError as error:
            mistakes += [_mistake(table, path, detail) for detail in error.errors()]
        else:
            criteria.append(criterion)
            mistakes += _unknown_to(pack, criterion, path)
    return SheetPlan(title, tuple(criteria)), mistakes


def _mistake(table: object, path: tuple[str, int], detail: ErrorDetails) -> Mistake:
    if detail["type"] in {"union_tag_invalid", "union_tag_not_found"}:
        return Mistake((*path, "kind"), f"should be one of {', '.join(_KINDS)}")
    kind = table.get("kind") if isinstance(table, dict) else None
    model = _KINDS.get(str(kind), CriterionBase)
    # The first part of the place is the kind, which no key of the file is.
    inner = {**detail, "loc": detail["loc"][1:]} if kind in _KINDS else detail
    return mistake(tuple(model.model_fields), path, inner)


def _unknown_to(pack: Pack, criterion: Criterion, path: tuple[str, int]) -> list[Mistake]:
    """Return the tests and modes that the pack does not have: they could never be met."""
    named: dict[str, tuple[str, tuple[str, ...]]] = {}
    if isinstance(criterion, (ScreenedFirst, EndFeelNoted)):
        named["modes"] = ("mode", criterion.modes)
    elif isinstance(criterion, EachDirection):
        named["tests"] = ("test", criterion.tests)
    elif isinstance(criterion, NotedBefore):
        named["test"] = ("test", (criterion.test,))
    return [
        Mistake((*path, key), f"{value!r} is no {slot} of the pack {pack.name}", value)
        for key, (slot, values) in named.items()
        for value in values
        if value not in _words(pack, slot)
    ]


def _words(pack: Pack, slot: str) -> Collection[str]:
    held = pack.slots.get(slot)
    return held.values if isinstance(held, WordSlot) else ()
