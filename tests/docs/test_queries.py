"""The queries of docs/queries.md give the tables that are printed there."""

from __future__ import annotations

import os
import re
import shutil
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import duckdb
import pytest
from click.testing import CliRunner

from logger.cli import main
from logger.core.events import Finding, RowStatus, SetupReading, SetupStatus
from logger.core.session import Edit

sys.path.insert(0, str(Path(__file__).parent.parent / "commands"))
from saved import START, record_of, rows_of, saved

PAGE = (Path(__file__).parent.parent.parent / "docs" / "queries.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"```sql\n(.*?)```\s+```\n(.*?)```", PAGE, re.DOTALL)
SCORES = {
    "student1-p1": (2, 3, 3, 3),
    "student1-p2": (3, 3, 1, 3),
    "student2-p1": (2, 3, 3, 3),
    "student2-p2": (3, 3, 4, 3),
}


def rows(name: str) -> list[Finding]:
    """Return a session's rows, with a setup that failed here and there and a withdrawn row."""
    made = list(rows_of(SCORES[name]))
    if name == "student1-p2":
        made[3] = replace(made[3], setup=SetupReading(SetupStatus.NOT_SEEN))
    if name == "student2-p1":
        low = SetupReading(SetupStatus.OUT_OF_RANGE, 32.0, 1.0, 1.0, "pose", 6.0)
        made[0], made[2] = replace(made[0], setup=low), replace(made[2], setup=low)
    return [*made, replace(made[0], start_s=90.0, mobility_score=6, status=RowStatus.WITHDRAWN)]


@pytest.fixture(scope="module", autouse=True)
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Save the four sessions and the export, and stand beside them as the page says."""
    folder, before = tmp_path_factory.mktemp("class"), Path.cwd()
    for name in SCORES:
        student = name[7]
        edits = (Edit(1, "pain", 1, 2, "T", START),) if name == "student1-p1" else ()
        record = record_of(rows(name)[:4], f"S{student}", f"{name}.mp4", edits=edits)
        saved(folder / "findings" / name, record)
    export = ["export", str(folder / "findings"), "--as", "parquet", "--out"]
    result = CliRunner().invoke(main, [*export, str(folder / "class.parquet")])
    assert result.exit_code == 0, result.output
    # Saving refuses to lose the edit.
    shutil.rmtree(folder / "findings")
    for name in SCORES:
        record = record_of(rows(name), f"S{name[7]}", f"{name}.mp4")
        saved(folder / "findings" / name, record)
    os.chdir(folder)
    yield
    os.chdir(before)


def test_page_has_examples() -> None:
    assert len(EXAMPLES) == 3


@pytest.mark.parametrize(("query", "printed"), EXAMPLES)
def test_query_gives_what_is_printed(query: str, printed: str) -> None:
    found = duckdb.sql(query)
    assert found is not None
    lines = [[cell.strip() for cell in line.split("|")] for line in printed.strip().splitlines()]
    assert found.columns == lines[0]
    assert [[str(cell) for cell in row] for row in found.fetchall()] == lines[1:]
