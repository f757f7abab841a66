"""On which line of a TOML text each key stands, which tomllib does not tell."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Mapping

KeyPath = tuple[str | int, ...]
"""The keys from the top of the file down; a number counts the tables of an array from 0."""

_PART: Final = r"""(?:[A-Za-z0-9_-]+|"[^"\n]*"|'[^'\n]*')"""
_DOTTED: Final = rf"{_PART}(?:[ \t]*\.[ \t]*{_PART})*"
_HEADER: Final = re.compile(rf"\s*(\[\[?)\s*({_DOTTED})\s*\]")
_KEY: Final = re.compile(rf"\s*({_DOTTED})\s*=(.*)")
_LONG_STRING: Final = re.compile(r'"""(?:.|\n)*?"""|' + r"'''(?:.|\n)*?'''")
_STRING_OR_COMMENT: Final = re.compile(r""""(?:\\.|[^"\\\n])*"|'[^'\n]*'|#.*""")


@dataclass(frozen=True, slots=True)
class KeyLines:
    """The lines of a text and where its keys are."""

    lines: tuple[str, ...]
    by_path: Mapping[KeyPath, int]
    """Line numbers from 1."""

    def line_of(self, path: KeyPath, text: str = "") -> int:
        """Return the line of the key at `path`, or of its nearest known parent, from 1.

        With `text`, the first line of that key's value that holds the text, where one does: the
        entry of a list written over several lines.
        """
        known = path
        while known and known not in self.by_path:
            known = known[:-1]
        start = self.by_path.get(known, 1)
        if text:
            following = [line for line in self.by_path.values() if line > start]
            end = min(following, default=len(self.lines) + 1)
            for number in range(start, end):
                if text in self.lines[number - 1]:
                    return number
        return start


def key_lines(text: str) -> KeyLines:
    """Find the keys of a valid TOML text. Keys inside inline tables are not looked for."""
    found: dict[KeyPath, int] = {}
    tables: KeyPath = ()
    counts: dict[KeyPath, int] = {}
    depth = 0
    # Long strings may hold lines that look like keys.
    masked = _LONG_STRING.sub(lambda match: '""' + "\n" * match[0].count("\n"), text)
    for number, line in enumerate(masked.split("\n"), start=1):
        if depth > 0:
            depth += _opened(line)
        elif header := _HEADER.match(line):
            tables = _parts(header[2])
            if header[1] == "[[":
                counts[tables] = counts.get(tables, -1) + 1
                tables = (*tables, counts[tables])
            found.setdefault(tables, number)
        elif key := _KEY.match(line):
            found.setdefault((*tables, *_parts(key[1])), number)
            depth += _opened(key[2])
    return KeyLines(tuple(text.split("\n")), found)


def _parts(dotted: str) -> KeyPath:
    return tuple(part.strip("\"'") for part in re.findall(_PART, dotted))


def _opened(text: str) -> int:
    """Count the brackets that `text` opens and does not close."""
    bare = _STRING_OR_COMMENT.sub("", text)
    return sum(bare.count(mark) for mark in "[{") - sum(bare.count(mark) for mark in "]}")
