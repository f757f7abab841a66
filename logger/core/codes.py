"""Whether a code for a person looks like something that leads to them by itself."""

from __future__ import annotations

import calendar
import itertools
import re
from datetime import date
from enum import StrEnum
from typing import Final

_PARTS: Final = re.compile(r"\d+|[^\W\d_]+")
_THREE_NUMBERS: Final = re.compile(r"(?<!\d)\d{1,4}[./ -]\d{1,2}[./ -]\d{1,4}(?!\d)")
_CODE_WORDS: Final = frozenset(
    {"patient", "pat", "case", "code", "subject", "student", "examiner", "rater", "test", "demo"}
    | {"session", "class", "group", "pilot", "left", "right", "none"}
)
_NAME_LETTERS: Final = 3
_LONG_NUMBER: Final = 9
_RUNS: Final = {8: ((4, 2, 2), (2, 2, 4)), 6: ((2, 2, 2),)}
"""How a date may be written without anything between its parts."""
_MONTHS: Final = {name.lower(): str(i) for i, name in enumerate(calendar.month_abbr) if name}
_OLDEST: Final = 1900
_NEWEST: Final = 2099


class Telling(StrEnum):
    """What a code looks like that could lead to a person."""

    NAME = "a name"
    DATE = "a date, perhaps of birth"
    NUMBER = "a record or insurance number"


def telling(code: str) -> Telling | None:
    """Return what `code` looks like that could lead to a person; None where it is a plain label.

    A word of three letters or more may be a name, unless it is one that codes are made with. It
    is for warnings: what a label means is known only to whoever gave it.
    """
    parts = _PARTS.findall(code)
    numbers = [part for part in parts if part.isdigit()]
    words = [part for part in parts if not part.isdigit()]
    whole = (number for number in numbers if len(number) == max(_RUNS))
    dated = _is_date(numbers, words) or any(_is_date([number], []) for number in whole)
    if dated or _THREE_NUMBERS.search(code):
        return Telling.DATE
    if sum(map(len, numbers)) >= _LONG_NUMBER:
        return Telling.NUMBER
    long = (word for word in words if len(word) >= _NAME_LETTERS)
    return Telling.NAME if any(word.casefold() not in _CODE_WORDS for word in long) else None


def _is_date(numbers: list[str], words: list[str]) -> bool:
    """Whether the parts hold a day, a month and a year, in whatever order."""
    months = [_MONTHS[word[:3].lower()] for word in words if word[:3].lower() in _MONTHS]
    parts = [*numbers, *months[:1]]
    if len(parts) == 1:
        run = parts[0]
        return any(_is_day(_cut(run, sizes)) for sizes in _RUNS.get(len(run), ()))
    return len(parts) == 3 and _is_day(parts)  # noqa: PLR2004 - day, month and year


def _cut(run: str, sizes: tuple[int, ...]) -> list[str]:
    ends = list(itertools.accumulate(sizes))
    return [run[end - size : end] for end, size in zip(ends, sizes, strict=True)]


def _is_day(parts: list[str]) -> bool:
    return any(_exists(*order) for order in itertools.permutations(parts))


def _exists(year: str, month: str, day: str) -> bool:
    years = [int(year)] if len(year) > 2 else [_OLDEST + int(year), 2000 + int(year)]  # noqa: PLR2004 - "64"
    for number in years:
        try:
            date(number, int(month), int(day))
        except (ValueError, OverflowError):
            continue
        if _OLDEST <= number <= _NEWEST:
            return True
    return False
