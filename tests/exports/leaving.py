"""Sessions that leave the tool, of every shape that a review can give them."""

from __future__ import annotations

import typing
from dataclasses import fields, is_dataclass, replace
from enum import Enum
from typing import Any

from hypothesis import strategies as st

from logger.core.editing import EDITABLE
from logger.core.events import Finding, RowStatus, SetupReading
from logger.core.session import Edit, Judgement, SessionFacts
from logger.exports.sessions import ExportedSession, exported
from logger.files.session_json import PackFacts, RecordingFacts, SessionRecord, Talk

TRICKY = (
    "=1+1", "@x", "'quoted'", '"', "<b>bold</b>", "&lt;", "a | b", "note: c", "1. left side",
    "\u05e9\u05dc\u05d5\u05dd", "\u202egnal",
    "line\nbreak", "tab\t", "NA", "nan", "not said", "Start: x",
    "WITHDRAWN", "two  spaces", "mobility 2 of 6",
)  # fmt: skip
TEXT = st.sampled_from(TRICKY) | st.text(
    st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"]), min_size=1, max_size=8
)
WHOLE = st.integers(-(2**31), 2**31 - 1)
MOMENTS = st.sampled_from(
    ["2026-11-25T10:00:00+01:00", "2026-11-25T09:00:00Z", "2024-02-29T23:59:59-05:00", "yesterday"]
)


def of_type(kind: Any) -> st.SearchStrategy[Any]:
    """Return values as they may stand in a session that is exported; no text is empty."""
    if isinstance(kind, type) and is_dataclass(kind):
        hints = typing.get_type_hints(kind)
        return st.builds(kind, **{f.name: of_type(hints[f.name]) for f in fields(kind)})
    if isinstance(kind, type) and issubclass(kind, Enum):
        return st.sampled_from(list(kind))
    if typing.get_origin(kind) is tuple:
        return st.lists(of_type(typing.get_args(kind)[0]), max_size=2).map(tuple)
    if typing.get_origin(kind) is typing.Literal:
        return st.sampled_from(typing.get_args(kind))
    options: tuple[Any, ...] = typing.get_args(kind)
    if options:
        return st.one_of([of_type(option) for option in options])
    plain = {str: TEXT, int: WHOLE, float: st.floats(-1e5, 1e5), bool: st.booleans()}
    return plain.get(kind, st.none())


def _edit(slot: str) -> st.SearchStrategy[Edit]:
    whole = st.none() | st.integers(0, 180)
    by_slot = {
        "status": st.sampled_from([status.value for status in RowStatus]),
        **dict.fromkeys(("range_deg", "mobility_score", "pain"), whole),
    }
    values = by_slot.get(slot, st.none() | TEXT)
    return st.builds(Edit, st.integers(1, 99), st.just(slot), values, values, TEXT, MOMENTS)


FINDINGS = st.builds(replace, of_type(Finding), setup=of_type(SetupReading))
EDITS = st.sampled_from(EDITABLE).flatmap(_edit)


@st.composite
def leaving(draw: st.DrawFn, name: str = "monday") -> ExportedSession:
    """Return a session with edits and judgements of rows that are there."""
    rows = tuple(draw(st.lists(FINDINGS, max_size=3)))
    edits: list[Edit] = draw(st.lists(EDITS, max_size=3))
    judgements: list[Judgement] = draw(st.lists(of_type(Judgement), max_size=2))
    record = SessionRecord(
        tool_version="0.1.0",
        recording=replace(draw(of_type(RecordingFacts)), duration_s=90.0),
        pack=PackFacts(draw(st.sampled_from(["glenohumeral", "hip"])), "1"),
        engine="moonshine",
        models=(),
        options={},
        findings=rows,
        position_checks=(),
        unplaced=(),
        heard=(),
        talk=Talk(0, ()),
        warnings=(),
        facts=replace(draw(of_type(SessionFacts)), started_at=draw(st.none() | MOMENTS)),
        edits=tuple(replace(e, row=1 + e.row % len(rows)) for e in edits if rows),
        judgements=tuple(replace(j, row=1 + j.row % len(rows)) for j in judgements if rows),
    )
    return exported(name, record)
