"""session.json: everything about a session that the table has no column for.

The types here are the format: `document` writes them field by field, and `session_schema` derives
the JSON schema from them, so that neither can drift from the other. There is no clock and no
random number in it: reading a recording again gives the same bytes.
"""

from __future__ import annotations

import types
import typing
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass
from enum import Enum
from math import isfinite
from typing import Any, Final, Literal

from logger.core.events import Finding, PositionCheck, Utterance, Verdict
from logger.core.session import Bout, Edit, Judgement, Reviewed, SessionFacts
from logger.core.statements import Heard

FORMAT: Final = 2
"""1 knew nothing of who was tested, by whom and when, nor of bouts, edits and judgements."""
_PLAIN: Final[Mapping[type, str]] = {str: "string", bool: "boolean", int: "integer"} | {
    float: "number",
    types.NoneType: "null",
}
_DIGITS_OF_ENDING: Final = {"_s": 2, "_deg": 1, "confidence": 3, "fps": 3}


@dataclass(frozen=True, slots=True)
class RecordingFacts:
    """What was read."""

    name: str
    """The file's name without its folder, which may name a person or a place."""
    duration_s: float
    has_audio: bool
    has_video: bool
    sample_rate_hz: int | None
    width: int | None
    height: int | None
    fps: float | None
    rotation_deg: int
    truncated_at_s: float | None
    sha256: str | None = None
    """Of the file's bytes, in hexadecimal; None where there is no file, as while recording."""


@dataclass(frozen=True, slots=True)
class PackFacts:
    """What could be said."""

    name: str
    version: str


@dataclass(frozen=True, slots=True)
class HeardWords:
    """An utterance that stated something."""

    start_s: float
    end_s: float
    text: str
    confidence: float
    unsure: bool


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of time."""

    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Talk:
    """Talk between the findings: how much and when, and none of its words."""

    count: int
    spans: tuple[Span, ...]


@dataclass(frozen=True, slots=True)
class UnplacedWords:
    """Words that belong to no row, and why."""

    words: HeardWords
    reason: str


@dataclass(frozen=True, slots=True)
class SessionRecord:
    """All of session.json."""

    tool_version: str
    recording: RecordingFacts
    pack: PackFacts
    engine: str
    models: tuple[str, ...]
    options: Mapping[str, str | int | float | bool | None]
    findings: tuple[Finding, ...]
    position_checks: tuple[PositionCheck, ...]
    unplaced: tuple[UnplacedWords, ...]
    heard: tuple[HeardWords, ...]
    talk: Talk
    warnings: tuple[str, ...]
    facts: SessionFacts = field(default_factory=SessionFacts)
    bouts: tuple[Bout, ...] = ()
    edits: tuple[Edit, ...] = ()
    """In the order in which they were made."""
    judgements: tuple[Judgement, ...] = ()
    """In the order in which they were made; a later one of the same rater replaces an earlier."""
    reviews: tuple[Reviewed, ...] = ()
    """In the order in which they were made; empty while nobody has looked through it."""
    format: Literal[2] = FORMAT


def heard_words(utterance: Utterance) -> HeardWords:
    """Return an utterance for the file.

    Raises:
        ValueError: if it is talk, whose words are nobody's business.

    """
    if utterance.verdict is Verdict.TALK:
        raise ValueError("Talk is kept only by its times.")
    unsure = utterance.verdict is Verdict.UNSURE
    return HeardWords(
        utterance.start_s, utterance.end_s, utterance.text, utterance.confidence, unsure
    )


def heard_and_talk(heard: Sequence[Heard]) -> tuple[tuple[HeardWords, ...], Talk]:
    """Return what stated something with its words, and the rest as times."""
    stated, spans = [], []
    for item in heard:
        utterance = item.utterance
        if item.statement is None or utterance.verdict is Verdict.TALK:
            spans.append(Span(utterance.start_s, utterance.end_s))
        else:
            stated.append(heard_words(utterance))
    return tuple(stated), Talk(len(spans), tuple(spans))


def document(record: SessionRecord) -> dict[str, object]:
    """Return plain values for json.dumps: times to 0.01 s, angles to 0.1 degrees."""
    made: dict[str, object] = plain(record)
    return made


def session_schema() -> dict[str, object]:
    """Return the JSON schema (draft 2020-12) of `document`."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "A session of spoken findings",
        **schema_of(SessionRecord),
    }


def plain(value: Any) -> Any:
    """Return a value of a type that this format knows as plain values for json.dumps."""
    return _plain("", value)


def _plain(name: str, value: Any) -> Any:
    if is_dataclass(value):
        return {f.name: _plain(f.name, getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): _plain(str(key), item) for key, item in value.items()}
    if isinstance(value, tuple):
        return [_plain(name, item) for item in value]
    return _plain_single(name, value)


def _plain_single(name: str, value: Any) -> Any:
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, float):
        return _rounded(name, value)
    if isinstance(value, str):
        # A file name may hold bytes that are no UTF-8.
        return value.encode("utf-8", "backslashreplace").decode("utf-8")
    return value


def _rounded(name: str, value: float) -> float | None:
    if not isfinite(value):
        return None
    for ending, digits in _DIGITS_OF_ENDING.items():
        if name.endswith(ending):
            return round(value, digits) + 0.0
    return value


def schema_of(kind: Any) -> dict[str, object]:
    """Return the JSON schema of what `plain` makes of a type."""
    if is_dataclass(kind):
        hints = typing.get_type_hints(kind)
        return {
            "type": "object",
            "properties": {f.name: schema_of(hints[f.name]) for f in fields(kind)},
            "required": [f.name for f in fields(kind)],
            "additionalProperties": False,
        }
    origin, inner = typing.get_origin(kind), typing.get_args(kind)
    if origin in (typing.Union, types.UnionType):
        return {"anyOf": [schema_of(option) for option in inner]}
    if origin is tuple:
        return {"type": "array", "items": schema_of(inner[0])}
    if origin is Mapping:
        return {"type": "object", "additionalProperties": schema_of(inner[1])}
    return {"enum": list(inner)} if origin is Literal else _single_schema(kind)


def _single_schema(kind: type) -> dict[str, object]:
    if issubclass(kind, Enum):
        return {"enum": [member.value for member in kind]}
    return {"type": _PLAIN[kind]}
