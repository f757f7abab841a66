"""Packs: the shipped one, the page that explains them, and every mistake with its line."""

from __future__ import annotations

import re
from itertools import islice
from pathlib import Path
from random import Random
from typing import Final

import pytest

from logger.core.errors import PackError
from logger.grammar.generating import sentences
from logger.grammar.loading import load_pack, shipped_packs
from logger.grammar.parsing import Parser
from logger.grammar.toml_text import LARGEST_BYTES

FOLDER: Final = Path(__file__).resolve().parents[2] / "grammars"
SHIPPED: Final = (FOLDER / "glenohumeral.toml").read_text(encoding="utf-8")
PAGE: Final = (FOLDER / "README.md").read_text(encoding="utf-8")


def page_part(heading: str) -> str:
    """Return one section of the page."""
    found = re.search(rf"^## {heading}\n(.*?)(?=^## |\Z)", PAGE, re.DOTALL | re.MULTILINE)
    assert found, heading
    return found[1]


def page_rows(text: str, columns: int) -> list[tuple[str, ...]]:
    """Return the cells of a section's table rows, without the heads."""
    rows = [line.strip("|").split("|") for line in text.splitlines() if line.startswith("|")]
    cells = [tuple(cell.strip() for cell in row) for row in rows]
    return [row for row in cells if len(row) == columns and "`" in "".join(row)]


def code(cell: str) -> str:
    """Return the code in a cell, its lines parted by <br>."""
    return "\n".join(part.strip("`") for part in cell.split("<br>"))


def small_pack() -> str:
    """Return the page's complete small pack."""
    found = re.search(r"```toml\n(.*?)```", page_part("The format"), re.DOTALL)
    assert found
    return found[1]


def told(tmp_path: Path, content: str | bytes) -> list[str]:
    """Return the lines of the error that `content` gives, without the file's folder."""
    path = tmp_path / "mine.toml"
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    with pytest.raises(PackError) as caught:
        load_pack(str(path))
    return str(caught.value).replace(f"{tmp_path}/", "").splitlines()


def line_number(text: str, part: str) -> int:
    """Return the line of the only place where `part` stands."""
    assert text.count(part) == 1, part
    return text[: text.index(part)].count("\n") + 1


def test_the_shipped_pack_loads_by_name_and_by_path() -> None:
    by_name = load_pack("glenohumeral")
    assert load_pack(str(FOLDER / "glenohumeral.toml")) == by_name
    assert by_name.name == "glenohumeral"
    assert "glenohumeral" in shipped_packs()


def test_the_pages_small_pack_loads_and_speaks(tmp_path: Path) -> None:
    path = tmp_path / "elbow.toml"
    path.write_text(small_pack(), encoding="utf-8")
    pack = load_pack(str(path))
    assert pack.name == "elbow"
    parser = Parser(pack)
    for sentence in islice(sentences(pack, Random(3)), 300):
        assert parser.parse(sentence.text) == sentence.statement, sentence.text


def test_the_pages_additions_load(tmp_path: Path) -> None:
    """All of them, one after the other: the last two rows go together."""
    text = small_pack()
    rows = page_rows(page_part("Adding to a pack"), 3)
    assert len(rows) == 5
    for _, old, new in rows:
        assert text.count(code(old)) == 1, old
        text = text.replace(code(old), code(new))
    path = tmp_path / "elbow.toml"
    path.write_text(text, encoding="utf-8")
    pack = load_pack(str(path))
    parser = Parser(pack)
    assert pack.setup["lateral_gap"].high_deg == 20
    statement = parser.parse("right medial gap, tight, symptoms eased")
    assert statement is not None
    assert statement.slots == {
        "side": ("right",),
        "test": ("medial_gap",),
        "mobility": ("hypomobile",),
        "symptoms": ("eased",),
    }


@pytest.mark.parametrize("row", page_rows(page_part("What is refused"), 3))
def test_the_page_says_what_is_refused(row: tuple[str, ...], tmp_path: Path) -> None:
    old, new, message = (code(cell) for cell in row)
    text = small_pack()
    assert text.count(old) == 1
    lines = told(tmp_path, text.replace(old, new))
    assert any(message in line for line in lines), lines


def meaning_of(cell: str) -> dict[str, tuple[str, ...]]:
    """Return the slots of a cell such as "side right, pain 3", values as text."""
    return {slot: (value,) for slot, value in (part.split() for part in cell.split(", ") if part)}


@pytest.mark.parametrize(
    "row", page_rows(page_part("What the shipped pack takes").split("And what")[0], 3)
)
def test_the_page_says_what_the_pack_takes(row: tuple[str, ...]) -> None:
    said, act, filled = row
    statement = Parser(load_pack("glenohumeral")).parse(code(said))
    assert statement is not None
    assert statement.act == act
    found = {slot: tuple(map(str, values)) for slot, values in statement.slots.items()}
    assert found == meaning_of(filled)


@pytest.mark.parametrize(
    "row", page_rows(page_part("What the shipped pack takes").split("And what")[1], 2)
)
def test_the_page_says_what_the_pack_leaves_alone(row: tuple[str, ...]) -> None:
    assert Parser(load_pack("glenohumeral")).parse(code(row[0])) is None


MISTAKES: Final = [
    # (in place of, write, key, what is said)
    ("high = 180", 'high = "180"', "slots.range_deg.high", "should be a whole number"),
    ("high = 180", "high = 180.5", "slots.range_deg.high", "should be a whole number"),
    ("high = 180", "high = 181", "slots.range_deg.high", "less than or equal to 180"),
    ("high = 180", "high = true", "slots.range_deg.high", "should be a whole number"),
    ('active = ["active"]', "active = []", "slots.mode.values.active", "at least one entry"),
    ('"stiff"', '"stif f2"', "slots.mobility.values.hypomobile[1]", "not written as spoken"),
    ('"stiff"', '"  "', "slots.mobility.values.hypomobile[1]", "is empty"),
    ('"stiff"', "7", "slots.mobility.values.hypomobile[1]", "should be text"),
    ('"stiff"', '"normal"', "slots.mobility.values.normal", "already means mobility hypomobile"),
    ('"stiff"', '"pain five"', "slots.pain.phrases", "already means mobility hypomobile"),
    ('"stiff"', '"scratch that"', "slots.mobility.values.hypomobile", "the command withdraw"),
    ('"+" = ["plus"]', '"*" = ["plus"]', "slots.grade.marks.*", "is no mark"),
    (
        '0 = ["no pain", "pain free"]',
        '11 = ["no pain"]',
        "slots.pain.also.11",
        "is not from 0 to 10",
    ),
    ("[slots.pain]", "[slots.ache]", "slots.ache", "unknown key; known here are side"),
    ("[setup.anterior_glide]", "[setup.anterior]", "setup.anterior", "is not among"),
    ("high_deg = 90", "high_deg = nan", "setup.inferior_glide.high_deg", "finite"),
    ("high_deg = 90", "high_deg = 20", "setup.inferior_glide.low_deg", "is above high_deg, 20"),
    ('mode = ["motion"]', 'mode = ["motions"]', "utterance.needs.mode", "'motions' is not among"),
    ('opens_row = ["test", "motion"]', 'opens_row = ["test"]', "utterance", "motion must be in"),
    ('3 = "normal"', '3 = "usual"', "mobility_of_score.values.3", "is not among hypomobile"),
    ('withdraw = ["scratch that"]', "", "commands.withdraw", "this key is missing"),
    ('right = ["right"]', 'upper = ["right"]', "slots.side.bare.upper", "not among left, right"),
    (
        'limited = "hypo',
        'limited = "hypa',
        "report.limited",
        "'hypamobile' is not among hypomobile",
    ),
    ('modes = ["passive"', 'modes = ["passif"', "report.modes", "'passif' is not among active"),
    ('joint = "shoulder"', 'joint = "thumb"', "report.joint", "should be '', 'shoulder'"),
    ("[report]", "[reports]", "taught_with", "needs a table report"),
    ("[report]", "[reports]", "capsular_pattern", "needs a table report"),
    (
        "[taught_with.tests.inferior_glide]",
        "[taught_with.tests.caudal]",
        "taught_with.tests.caudal",
        "'caudal' is not among lateral_distraction",
    ),
    (
        'motions = ["abduction", "flexion"]',
        'motions = ["abduction", "elevation"]',
        "taught_with.tests.inferior_glide.motions",
        "'elevation' is not among flexion",
    ),
    ('source = "Johnson', 'sourse = "Johnson', "taught_with.doubts[0].source", "is missing"),
    ('source = "Johnson 2007 (abstract)"', 'source = " "', "taught_with.doubts[0].source", "empty"),
    (
        'order = ["external_rotation", "abduction"',
        'order = ["external_rotation", "external_rotation"',
        "capsular_pattern.order",
        "stands there twice",
    ),
    ("[limits.pain]", "[limits.mobility]", "limits.mobility", "is not among range_deg, grade"),
    ("value = 15", "value = -15", "limits.range_deg.value", "should be greater than 0"),
    ("value = 15", 'value = "15"', "limits.range_deg.value", "should be a number"),
    ("value = 15", "value = 26", "limits.range_deg.value_two_examiners", "25 is below value"),
    ("value_two_examiners = 25", "", "limits.range_deg", "go together"),
    ('kind = "important diff', 'kind = "vital diff', "limits.pain.kind", "should be 'measurement"),
]


@pytest.mark.parametrize(("old", "new", "key", "problem"), MISTAKES)
def test_a_mistake_is_named_with_its_key(
    old: str, new: str, key: str, problem: str, tmp_path: Path
) -> None:
    lines = told(tmp_path, SHIPPED.replace(old, new, 1))
    assert any(
        re.fullmatch(rf"mine\.toml:\d+: {re.escape(key)}: .*{re.escape(problem)}.*", line)
        for line in lines
    ), lines


@pytest.mark.parametrize(
    "part", ["high = 180", "low = 1", "[slots.mode.values]", "inferior_glide = ", "withdraw = "]
)
def test_the_line_is_where_the_key_stands(part: str, tmp_path: Path) -> None:
    """An unknown key put before a known line is found on that very line."""
    text = SHIPPED.replace(part, f"oddity = 5\n{part}", 1)
    lines = told(tmp_path, text)
    assert any(line.startswith(f"mine.toml:{line_number(text, 'oddity')}: ") for line in lines)


def test_a_form_in_a_long_list_is_found_on_its_own_line(tmp_path: Path) -> None:
    text = SHIPPED.replace('["hypomobile", "stiff",', '[\n  "hypomobile",\n  "Stiff",\n', 1)
    assert told(tmp_path, text)[0].startswith(f"mine.toml:{line_number(text, 'Stiff')}: ")


def test_all_mistakes_are_told_together_in_order(tmp_path: Path) -> None:
    """A wrong type, an unknown key, a swapped window and a form of two meanings at once."""
    text = SHIPPED.replace("high = 180", 'high = "x"').replace("high_deg = 90", "high_deg = 9")
    text = text.replace('"stiff"', '"normal"').replace("title =", "titel =")
    lines = told(tmp_path, text)
    keys = " ".join(lines)
    for key in ("titel", "title", "range_deg.high", "inferior_glide.low_deg", "mobility.values"):
        assert key in keys
    numbers = [int(line.split(":")[1]) for line in lines]
    assert numbers == sorted(numbers)
    assert len(lines) == len(set(lines)), "nothing is told twice"


@pytest.mark.parametrize(
    ("content", "line", "problem"),
    [
        ("title = 'x'\nslots = [\n\n", 4, "not TOML"),
        ("title = 'x'\ntitle = 'y'\n", 2, "not TOML"),
        (b"title = 'x'\nother = '\xff\xfe'\n", 2, "not UTF-8"),
    ],
)
def test_broken_text_is_told_with_its_line(
    content: str | bytes, line: int, problem: str, tmp_path: Path
) -> None:
    told_lines = told(tmp_path, content)
    assert len(told_lines) == 1
    assert told_lines[0].startswith(f"mine.toml:{line}: ")
    assert problem in told_lines[0]


@pytest.mark.parametrize(
    "content",
    ["", "slots = 3", "cautions = 5", "setup = 1\nslots = []", "[[slots]]", "utterance=1"],
)
def test_a_file_of_the_wrong_shape_is_refused(content: str, tmp_path: Path) -> None:
    for line in told(tmp_path, content):
        assert re.match(r"mine\.toml:\d+: [a-z_.]+: ", line), line


def test_deep_nesting_is_refused(tmp_path: Path) -> None:
    assert "nested too deeply" in told(tmp_path, "x = " + "[" * 100_000)[0]


def test_what_is_no_pack_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(PackError, match="not a file"):
        load_pack(str(tmp_path))
    with pytest.raises(PackError, match="not a file"):
        load_pack(str(tmp_path / "missing.toml"))
    with pytest.raises(PackError, match=r"no pack named wrist; shipped packs: .*glenohumeral"):
        load_pack("wrist")
    for name in ("", "a\0b.toml", "x" * 5000 + ".toml"):
        with pytest.raises(PackError):
            load_pack(name)
    big = tmp_path / "big.toml"
    big.write_bytes(b"#" * (LARGEST_BYTES + 1))
    with pytest.raises(PackError, match="larger than"):
        load_pack(str(big))


def test_windows_line_ends_are_read(tmp_path: Path) -> None:
    path = tmp_path / "glenohumeral.toml"
    path.write_bytes(SHIPPED.replace("\n", "\r\n").encode())
    assert load_pack(str(path)) == load_pack("glenohumeral")
