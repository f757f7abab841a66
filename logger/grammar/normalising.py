"""Bring a transcript's capitals, commas, hyphens and digits into plain spoken words."""

from __future__ import annotations

import re
from typing import Final

from logger.grammar.numbers import HIGHEST, number_words

_DEGREES: Final = re.compile(r"\s*[°º](?!\w)")
_OUT_OF: Final = re.compile(r"(?<![\w./-])(\d+)\s*/\s*(\d+)(?![\w/])")
_LETTERS: Final = re.compile(r"\b([a-z])\.(?=[a-z]\b)")
_PLUS: Final = re.compile(r"(?<=\w)\+(?![\w+])")
_MINUS: Final = re.compile(r"(?<=\w)-(?=[\s,.;:!]|$)")
_HYPHEN: Final = re.compile(r"(?<=[a-z])-(?=\w)|(?<!\S)-(?=\s)")
_PAUSE: Final = re.compile(r"[,.;:!]+(?=\s|$)|(?<=\w)[,;:!](?=[a-z])")
_DASHES: Final = str.maketrans(
    {"\u2013": "-", "\u2212": "-", "\u2014": " ", "\u2019": "'", "\u2026": " "}
)


def normalised(text: str) -> tuple[str, ...]:
    """Return the words of `text` as they are spoken, lower case.

    "Grade 2+, pain 3/10, 110°" gives "grade two plus pain three out of ten one hundred and ten
    degrees". A hyphen that ends a word says "minus" ("2-"); between words, or inside a compound,
    it is no more than a space. What is no plain whole number up to 180 ("3.5", "3-4", "-5",
    "1,5", "03") stays as it is, so that it is nobody's word.
    """
    text = text.lower().translate(_DASHES)
    text = _LETTERS.sub(r"\1 ", text)
    text = _DEGREES.sub(" degrees", text)
    text = _OUT_OF.sub(r"\1 out of \2", text)
    text = _PLUS.sub(" plus", text)
    text = _MINUS.sub(" minus", text)
    text = _HYPHEN.sub(" ", text)
    text = _PAUSE.sub(" ", text)
    return tuple(word for part in text.split() for word in _spoken(part))


def _spoken(part: str) -> list[str]:
    plain = part.isascii() and part.isdigit() and (part == "0" or not part.startswith("0"))
    if not plain or len(part) > len(str(HIGHEST)) or int(part) > HIGHEST:
        return [part]
    return number_words(int(part)).split()
