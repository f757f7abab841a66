"""Exports of saved sessions through the commands."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner, Result
from saved import START, record_of, rows_of, saved

from logger.cli import main
from logger.core.session import Edit
from logger.exports.formats import FORMATS, read_export

EDIT = Edit(1, "pain", 2, 5, "E2", START)


def run(*args: object) -> Result:
    return CliRunner().invoke(main, [*map(str, args)])


def two_sessions(folder: Path) -> Path:
    saved(folder / "monday", replace(record_of(rows_of((2, 3, 4))), edits=(EDIT,)))
    saved(folder / "tuesday", record_of(rows_of((1, 5)), "E2", "b.mp4"))
    return folder


@pytest.mark.parametrize("name", FORMATS)
def test_export_reads_back_as_the_table_in_force(tmp_path: Path, name: str) -> None:
    """The table of each format is that of the CSV, by way of the command that reads it back."""
    two_sessions(tmp_path / "in")
    out = tmp_path / f"all{FORMATS[name].endings[0]}"
    result = run("export", tmp_path / "in", "--as", name, "--out", out)
    assert result.exit_code == 0, result.output
    assert "2 sessions, 5 findings" in result.output
    table = read_export(out, FORMATS[name])
    assert table["pain"].tolist() == [5, 3, 4, 1, 5]
    assert table["session"].tolist() == ["monday"] * 3 + ["tuesday"] * 2
    shown = run("table", out)
    assert shown.exit_code == 0, shown.output
    again = pd.read_csv(io.StringIO(shown.output))
    assert again["pain"].tolist() == [5, 3, 4, 1, 5]
    if "edits" in table:
        assert '"before": 2, "after": 5' in table["edits"][0]
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == []


def test_text_is_printed_where_no_file_is_given(tmp_path: Path) -> None:
    folder = saved(tmp_path / "monday", record_of(rows_of((2, 3))))
    result = run("export", folder, "--as", "text")
    assert result.output.startswith("FINDINGS AS SPOKEN")
    assert all(len(line) <= 80 for line in result.output.splitlines())
    result = run("export", folder, "--as", "parquet")
    assert result.exit_code == 2
    assert "give a file with --out" in result.output


def test_sessions_of_the_same_name_are_told_apart(tmp_path: Path) -> None:
    for week in ("week 1", "week 2"):
        saved(tmp_path / week / "a", record_of(rows_of((2,))))
    result = run("export", tmp_path, "--as", "csv")
    table = pd.read_csv(io.StringIO(result.output))
    assert table["session"].tolist() == ["week 1/a", "week 2/a"]


def test_changes_before_the_start_are_warned_of(tmp_path: Path) -> None:
    early = replace(EDIT, at="2026-11-25T08:00:00+00:00")
    folder = saved(tmp_path / "a", replace(record_of(rows_of((2,))), edits=(early,)))
    result = run("export", folder, "--as", "csv")
    assert "the clocks disagree" in " ".join(result.stderr.split())


def test_wrong_files_are_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "a.fhir.json").write_text("{}", encoding="utf-8")
    result = run("table", tmp_path / "a.fhir.json")
    assert (result.exit_code, "is no FHIR Bundle" in result.output) == (7, True)
    result = run("table", tmp_path / "a.doc")
    assert (result.exit_code, "tells no format" in result.output) == (2, True)
    result = run("export", tmp_path, "--as", "csv")
    assert (result.exit_code, "There is no session" in result.output) == (7, True)
    folder = saved(tmp_path / "s", record_of(rows_of((2,))))
    result = run("export", folder, "--as", "csv", "--out", tmp_path / "no" / "a.csv")
    assert (result.exit_code, "cannot be written" in result.output) == (6, True)
