"""Line numbers of keys, among the things of TOML that only look like keys."""

from __future__ import annotations

import tomllib
from typing import Final

import pytest

from logger.grammar.lines import KeyPath, key_lines

TEXT: Final = '''\
first = 1 # [not.a.table]
"quoted key" = [
  "x = 2",  # ] is in a comment
  "]",
  ["deep"],
]
text = """
fake = 3
[fake.table]
"""
[table]
inner.most = 4
inline = { a = 1, b = [
  5,
] }
after = 6

[[items]]
name = "one"
[[items]]
name = "two"
[items.sub]
deep = 7
'''

LINES: Final[list[tuple[KeyPath, int]]] = [
    (("first",), 1),
    (("quoted key",), 2),
    (("text",), 7),
    (("table",), 11),
    (("table", "inner", "most"), 12),
    (("table", "inline"), 13),
    (("table", "after"), 16),
    (("items", 0), 18),
    (("items", 0, "name"), 19),
    (("items", 1, "name"), 21),
]


def test_the_text_is_toml() -> None:
    """By the standard library's reader, so that the lines below are of a real file."""
    data = tomllib.loads(TEXT)
    assert data["table"]["after"] == 6
    assert len(data["items"]) == 2


@pytest.mark.parametrize(("path", "line"), LINES)
def test_a_key_is_on_its_line(path: KeyPath, line: int) -> None:
    assert key_lines(TEXT).by_path[path] == line


def test_nothing_else_is_taken_for_a_key() -> None:
    found = key_lines(TEXT).by_path
    assert not any("fake" in path or "not" in path or "x" in path for path in found)


def test_an_unknown_key_is_looked_for_at_its_parent() -> None:
    where = key_lines(TEXT)
    assert where.line_of(("table", "inline", "b", 0)) == 13
    assert where.line_of(("table", "inner", "most", "more")) == 12
    assert where.line_of(("nowhere",)) == 1


def test_words_are_found_inside_the_value_only() -> None:
    where = key_lines(TEXT)
    assert where.line_of(("quoted key", 0), '"x = 2"') == 3
    assert where.line_of(("quoted key", 0), "name") == 2, "beyond the value: the key's own line"
