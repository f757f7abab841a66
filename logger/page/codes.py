"""Whether a patient code looks like something that leads to a person by itself."""

from __future__ import annotations

import re
from datetime import date
from typing import Final

_PARTS: Final = re.compile(r"\d+|[^\W\d_]+")
_NAME_LETTERS: Final = 3
_LONG_NUMBER: Final = 9
_SHORT_DATE: Final = 6
_LONG_DATE: Final = 8
_CENTURIES: Final = (1900, 2000)
_MONTHS: Final = frozenset(
    ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
)

NAME: Final = "This looks like a name. Use a label such as P-017 instead."
BIRTH: Final = "This looks like a date, perhaps of birth. Use a label such as P-017 instead."
NUMBER: Final = "This looks like a record or insurance number. Use a label such as P-017 instead."


def code_advice(code: str) -> str:
    """Return a warning where `code` looks like a name, a date or a record number; else nothing.

    It warns and never refuses: what a label means is known only to whoever gave it.
    """
    parts = _PARTS.findall(code)
    numbers = [part for part in parts if part.isdigit()]
    words = [part for part in parts if not part.isdigit()]
    if _is_date(numbers, words):
        return BIRTH
    if sum(map(len, numbers)) >= _LONG_NUMBER:
        return NUMBER
    long = [word for word in words if len(word) >= _NAME_LETTERS]
    if long and (not numbers or len(long) > 1):
        return NAME
    return ""


def _is_date(numbers: list[str], words: list[str]) -> bool:
    if any(word[:3].lower() in _MONTHS for word in words) and len(numbers) in {1, 2}:
        return any(len(number) in {2, 4} for number in numbers)
    digits = numbers
    if len(numbers) == 1 and len(numbers[0]) in {_SHORT_DATE, _LONG_DATE}:
        return _run_is_date(numbers[0])
    return len(digits) == 3 and _any_order(digits)  # noqa: PLR2004 - day, month, year


def _run_is_date(run: str) -> bool:
    year = len(run) - 4
    orders = ((run[:year], run[year:-2], run[-2:]), (run[-year:], run[2:4], run[:2]))
    more = ((run[-year:], run[:2], run[2:4]),)
    return any(_valid(*parts) for parts in (*orders, *more))


def _any_order(parts: list[str]) -> bool:
    first, second, third = parts
    orders = ((first, second, third), (third, second, first), (third, first, second))
    return any(len(y) in {2, 4} and _valid(y, m, d) for y, m, d in orders)


def _valid(year: str, month: str, day: str) -> bool:
    """Whether the parts are a day on which somebody alive may have been born."""
    if len(month) > 2 or len(day) > 2:  # noqa: PLR2004 - digits of a month and a day
        return False
    years = [int(year)] if len(year) > 2 else [c + int(year) for c in _CENTURIES]  # noqa: PLR2004
    return any(_exists(y, int(month), int(day)) for y in years)


def _exists(year: int, month: int, day: int) -> bool:
    if not _CENTURIES[0] <= year < _CENTURIES[1] + 100:
        return False
    try:
        date(year, month, day)
    except ValueError:
        return False
    return True
