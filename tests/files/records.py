"""Sessions of every shape that the types allow, for the tests."""

from __future__ import annotations

import types
import typing
from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from enum import Enum
from typing import Any, Literal

from hypothesis import strategies as st

from logger.core.editing import EDITABLE, NUMBERS
from logger.core.session import Edit, Judgement
from logger.files.session_json import SessionRecord

TEXT = st.text(st.characters(codec="utf-8"), max_size=8)
_PLAIN = {
    str: TEXT,
    bool: st.booleans(),
    int: st.integers(-(2**31), 2**31),
    float: st.floats(-1e6, 1e6),
    types.NoneType: st.none(),
}


def of_type(kind: Any) -> st.SearchStrategy[Any]:
    """Return values of a type that `session_json` can write."""
    if isinstance(kind, type) and is_dataclass(kind):
        hints = typing.get_type_hints(kind)
        return st.builds(kind, **{f.name: of_type(hints[f.name]) for f in fields(kind)})
    origin, inner = typing.get_origin(kind), typing.get_args(kind)
    if origin in (typing.Union, types.UnionType):
        return st.one_of([of_type(option) for option in inner])
    if origin is tuple:
        return st.lists(of_type(inner[0]), max_size=3).map(tuple)
    if origin is Mapping:
        return st.dictionaries(TEXT, of_type(inner[1]), max_size=3)
    if origin is Literal:
        return st.sampled_from(inner)
    return st.sampled_from(list(kind)) if issubclass(kind, Enum) else _PLAIN[kind]


def _possible(edit: Edit) -> Edit:
    """Let an edit be of a slot that there is, to what it can be."""
    slot = EDITABLE[len(edit.by) % len(EDITABLE)]
    if slot == "status":
        return replace(edit, slot=slot, after="logged")
    fits = edit.after is None or isinstance(edit.after, int) == (slot in NUMBERS)
    return replace(edit, slot=slot, after=edit.after if fits else None)


def _in_range(record: SessionRecord) -> SessionRecord:
    """Let every change be of a row that is there."""
    count = len(record.findings)

    def moved(change: Any) -> Any:
        return replace(change, row=1 + change.row % count)

    edits: tuple[Edit, ...] = tuple(_possible(moved(e)) for e in record.edits) if count else ()
    judgements: tuple[Judgement, ...] = tuple(map(moved, record.judgements)) if count else ()
    return replace(record, edits=edits, judgements=judgements)


def records() -> st.SearchStrategy[SessionRecord]:
    """Return sessions with anything in their fields."""
    return of_type(SessionRecord).map(_in_range)
