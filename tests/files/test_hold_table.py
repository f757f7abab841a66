"""holds.csv against a made trace with known holds."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from logger.core.events import ArmAngle
from logger.core.holds import Practice
from logger.core.statements import SetupWindow
from logger.files.hold_table import HOLD_COLUMNS, write_holds
from logger.findings.holds import find_holds, judge, targets_of
from logger.findings.pieces import HoldRules

RULES = HoldRules()
WINDOWS = {
    "inferior_glide": SetupWindow(30, 90, "invented"),
    "posterior_glide": SetupWindow(30, 60, "invented"),
    "anterior_glide": SetupWindow(30, 60, "invented"),
}


def practice(windows: dict[str, SetupWindow]) -> Practice:
    """Return a right arm at 12 degrees for 4 s, moved in 1 s to 72, there for 5 s."""
    angles = [
        ArmAngle(i / 10, "right", 12 + 60 * min(max(i / 10 - 4, 0), 1), visible=True)
        for i in range(101)
    ]
    targets = targets_of(windows)
    return Practice(10.0, judge(find_holds(angles, RULES), targets, angles, RULES), (), targets)


def rows(made: Practice, path: Path) -> list[dict[str, str]]:
    write_holds(made, path)
    with path.open(encoding="utf-8", newline="") as file:
        reader = csv.DictReader(file)
        found = list(reader)
        assert tuple(reader.fieldnames or ()) == HOLD_COLUMNS
    return found


def test_one_row_for_each_hold_and_window(tmp_path: Path) -> None:
    found = rows(practice(WINDOWS), tmp_path / "holds.csv")
    assert [(row["hold"], row["tests"], row["fit"], row["off_deg"]) for row in found] == [
        ("1", "posterior_glide; anterior_glide", "at_rest", "-18.0"),
        ("1", "inferior_glide", "at_rest", "-18.0"),
        ("2", "posterior_glide; anterior_glide", "out_of_range", "12.0"),
        ("2", "inferior_glide", "in_range", "0.0"),
    ]
    first, second = found[0], found[2]
    assert (first["side"], first["kind"], first["angle_deg"]) == ("right", "hold", "12.0")
    assert (first["start_s"], first["got_there_s"], first["moved_deg"]) == ("0.0", "", "")
    assert (second["angle_deg"], second["moved_deg"]) == ("72.0", "60.0")
    assert float(second["got_there_s"]) == pytest.approx(1.0, abs=0.2)
    assert float(second["start_s"]) == pytest.approx(5.0, abs=0.1)
    assert second["end_s"] == "10.0"
    assert float(second["duration_s"]) == pytest.approx(5.0, abs=0.1)
    assert (second["window_low_deg"], second["window_high_deg"]) == ("30.0", "60.0")
    assert (second["spread_deg"], second["seen_share"]) == ("0.0", "1.0")


def test_without_windows_each_hold_has_one_row(tmp_path: Path) -> None:
    found = rows(practice({}), tmp_path / "holds.csv")
    assert [(row["hold"], row["fit"], row["window_low_deg"]) for row in found] == [
        ("1", "", ""),
        ("2", "", ""),
    ]


def test_without_holds_there_is_a_header(tmp_path: Path) -> None:
    assert rows(Practice(3.0, (), (), ()), tmp_path / "holds.csv") == []
