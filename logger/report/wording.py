"""Values in a reader's words, the same in the report, on paper and in the terminal."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from typing import Final

from logger.core.clocks import moment_of
from logger.core.events import RowStatus, SetupReading, SetupStatus
from logger.core.statements import SetupWindow
from logger.core.words import window_text
from logger.report.tested import OneTest, Said, What

MINUS: Final = "\N{MINUS SIGN}"
_SETUP: Final[Mapping[SetupStatus, str]] = {
    SetupStatus.IN_RANGE: "setup confirmed, {}",
    SetupStatus.BORDERLINE: "setup borderline, {}",
    SetupStatus.OUT_OF_RANGE: "setup not confirmed, {}",
    SetupStatus.NOT_SEEN: "setup not seen",
    SetupStatus.NOT_REQUIRED: "no setup asked, {}",
}
_OF_DIRECTION: Final = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
_BROKEN: Final = "\N{REPLACEMENT CHARACTER}"


def clean(text: str) -> str:
    """Return text that can be written anywhere and reads as it was written.

    Control characters, lone surrogates and marks that turn the direction of writing round are
    shown as broken; line breaks become spaces.
    """
    whole = text.encode("utf-8", "replace").decode("utf-8")
    return "".join(
        _BROKEN
        if unicodedata.category(letter) == "Cc"
        or letter in _OF_DIRECTION
        or letter in "\ufffe\uffff"
        else letter
        for letter in " ".join(re.split(r"\r\n|[\r\n\t\u2028\u2029]", whole))
    )


def isolated(text: str) -> str:
    """Return cleaned text that keeps its direction of writing to itself."""
    return f"\N{FIRST STRONG ISOLATE}{clean(text)}\N{POP DIRECTIONAL ISOLATE}"


def plain(name: str) -> str:
    """Return a name of a pack as it is said."""
    return name.replace("_", " ")


def what_text(what: What) -> str:
    """Return "right inferior glide", "left flexion, passive"."""
    mode = f", {what.mode}" if what.mode else ""
    return f"{what.side} {plain(what.name)}{mode}"


def said_text(said: Said, form: str = "{}") -> str:
    """Return the value in a form such as "pain {}", "" for none; contradictions, as such."""
    if not said.values:
        return ""
    values = " / ".join(plain(str(value)) for value in said.values)
    return f"{form.format(values)}{' (contradictory)' if len(said.values) > 1 else ''}"


def compared_text(said: Said) -> str:
    """Return what a mobility was compared with, in words; "" for nothing."""
    told = said_text(said)
    for start, words in (("same as", "said to be the same as"), ("against", "judged against")):
        if told.startswith(start):
            return f"{words} the {told.removeprefix(start).strip()}"
    return told


def rows_text(one: OneTest) -> str:
    """Return the rows' numbers as in the picture, "[4, 9?]": "?" is to be checked."""
    marks = (f"{row.number}{'?' * (row.finding.status is RowStatus.CHECK)}" for row in one.rows)
    return f"[{', '.join(marks)}]"


def setup_text(setup: SetupReading, window: SetupWindow | None) -> str:
    """Return whether the setup was confirmed, and at what angle."""
    angle = "" if setup.angle_deg is None else f"{setup.angle_deg:.0f}°"
    if setup.status is SetupStatus.NOT_REQUIRED and not angle:
        return ""
    text = _SETUP[setup.status].format(angle)
    if setup.status in (SetupStatus.OUT_OF_RANGE, SetupStatus.BORDERLINE) and window:
        text += f" (window {window_text(window.low_deg, window.high_deg)})"
    return text


def signed(value: float, unit: str = "") -> str:
    """Return a change with its sign; an ordinary minus sign for those below 0."""
    if not value:
        return f"0{unit}"
    return f"{'+' if value > 0 else MINUS}{abs(value):g}{unit}"


def date_text(started_at: str | None) -> str:
    """Return "2026-03-02, 10:15 (UTC+01:00)"; what cannot be read, as it stands."""
    at = moment_of(started_at)
    if at is None:
        return f"{isolated(started_at)} (no time with its offset)" if started_at else "not said"
    return f"{at:%Y-%m-%d, %H:%M} ({at.tzname()})"
