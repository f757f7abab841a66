"""A hand-written TOML file, and its mistakes with their lines and keys."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from importlib.resources.abc import Traversable
from typing import Any, Final

from logger.core.errors import PackError
from logger.grammar.lines import KeyPath, key_lines
from logger.grammar.sections import Mistake

LARGEST_BYTES: Final = 1_000_000
"""Such a file is written by hand; a bigger one is something else."""


def text_of(source: Traversable, shown: str) -> str:
    """Return what a hand-written file says, with plain line ends.

    Raises:
        PackError: if it is no file, cannot be read, is too large or no UTF-8.

    """
    try:
        if not source.is_file():
            raise PackError(f"{shown} is not a file; give the path of a .toml file.")
        with source.open("rb") as file:
            content = file.read(LARGEST_BYTES + 1)
    except (OSError, ValueError) as error:
        raise PackError(f"{shown!r} cannot be read ({error}); give a readable file.") from error
    if len(content) > LARGEST_BYTES:
        raise PackError(f"{shown} is larger than {LARGEST_BYTES} bytes; name the right file.")
    try:
        return content.decode("utf-8").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise PackError(f"{shown}:{line}: the file is not UTF-8 text; save it as UTF-8.") from error


def parsed(text: str, shown: str) -> dict[str, Any]:
    """Return the tables of a file.

    Raises:
        PackError: if it is not TOML; the message names the line.

    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        where = re.search(r"line (\d+)", str(error))
        line = where[1] if where else text.count("\n") + 1
        raise PackError(f"{shown}:{line}: this is not TOML: {error}; correct the line.") from error
    except RecursionError as error:
        raise PackError(f"{shown} is nested too deeply; simplify it.") from error


def report(mistakes: Sequence[Mistake], text: str, shown: str) -> str:
    """Return all mistakes, one a line, each as "file:line: key: what is wrong and what to do"."""
    where = key_lines(text)
    lines = [
        (where.line_of(mistake.path, mistake.text), _dotted(mistake.path), mistake.problem)
        for mistake in mistakes
    ]
    return "\n".join(f"{shown}:{line}: {key}: {problem}" for line, key, problem in sorted(lines))


def _dotted(path: KeyPath) -> str:
    """Write a path as in the file, an entry of a list as "key[2]"."""
    text = ""
    for part in path:
        text += f"[{part}]" if isinstance(part, int) else f".{part}" if text else part
    return text or "file"
