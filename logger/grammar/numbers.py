"""Whole numbers from 0 to 180 in English words, and back."""

from __future__ import annotations

import re
from typing import Final

HIGHEST: Final = 180
"""The largest number a pack may ask for: a half turn, in degrees."""

_SMALL: Final = (
    *("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"),
    *("eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen"),
    *("eighteen", "nineteen"),
)
_TENS: Final = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")


def number_forms(number: int) -> tuple[str, ...]:
    """Return every spoken form of `number`, the usual one first.

    Words are lower case and parted by single spaces. Above 100 there are two forms, "one hundred
    and ten" and "one hundred ten".

    Raises:
        ValueError: if `number` is not from 0 to 180.

    """
    if not 0 <= number <= HIGHEST:
        raise ValueError(f"{number} is not from 0 to {HIGHEST}")
    hundreds, rest = divmod(number, 100)
    if not hundreds:
        return (_below_hundred(rest),)
    if not rest:
        return ("one hundred",)
    words = _below_hundred(rest)
    return (f"one hundred and {words}", f"one hundred {words}")


def number_words(number: int) -> str:
    """Return the usual spoken form of `number`, from 0 to 180."""
    return number_forms(number)[0]


def number_from_words(words: str) -> int | None:
    """Return the number from 0 to 180 that `words` say, or None if they say none."""
    return _BY_WORDS.get(words)


def _below_hundred(number: int) -> str:
    if number < len(_SMALL):
        return _SMALL[number]
    tens, ones = divmod(number, 10)
    return f"{_TENS[tens - 2]} {_SMALL[ones]}" if ones else _TENS[tens - 2]


_BY_WORDS: Final = {form: number for number in range(HIGHEST + 1) for form in number_forms(number)}

NUMBER: Final = re.compile(rf"\b({'|'.join(sorted(_BY_WORDS, key=lambda form: -len(form)))})\b")
"""A number in words within a text of small letters, as long as it can be."""
