"""The results of one recording, all together."""

from __future__ import annotations

import errno
import json
from pathlib import Path

import pandas as pd
import pytest
from test_session_json import check, record
from test_tables import FULL

from logger.core.errors import OutputError
from logger.core.events import ArmAngle
from logger.files import saving
from logger.files.saving import FILES, VIDEO, save, save_session
from logger.files.tables import FINDING_COLUMNS, read_table_csv

ANGLES = [ArmAngle(0.2, "left", 30.0, visible=True)]


def test_all_four_files_are_written_and_agree(tmp_path: Path) -> None:
    save_session(tmp_path / "s", record(), ANGLES)
    assert {path.name for path in (tmp_path / "s").iterdir()} == set(FILES)
    table = read_table_csv(tmp_path / "s" / "findings.csv")
    pd.testing.assert_frame_equal(table, pd.read_parquet(tmp_path / "s" / "findings.parquet"))
    assert tuple(table.columns) == FINDING_COLUMNS
    made = json.loads((tmp_path / "s" / "session.json").read_text(encoding="utf-8"))
    check(made)
    assert made["findings"][0]["start_s"] == table["start_s"][0]


def test_same_session_gives_the_same_bytes(tmp_path: Path) -> None:
    for name in ("one", "two"):
        save_session(tmp_path / name, record(), ANGLES)
    for name in FILES:
        one, two = (tmp_path / folder / name for folder in ("one", "two"))
        assert one.read_bytes() == two.read_bytes()


def test_full_disk_midway_keeps_the_old_results(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The table is written, the trace no longer fits."""
    save(tmp_path / "s", [FULL], ANGLES, {"format": 1})
    before = {name: (tmp_path / "s" / name).read_bytes() for name in FILES}

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(saving, "angles_frame", full)
    with pytest.raises(OutputError, match="No space left"):
        save(tmp_path / "s", [], [], {})
    assert {name: (tmp_path / "s" / name).read_bytes() for name in FILES} == before
    assert [path.name for path in tmp_path.iterdir()] == ["s"]


def test_results_without_a_video_take_the_old_video_away(tmp_path: Path) -> None:
    """It would show what the table no longer says."""
    save(tmp_path / "s", [FULL], ANGLES, {"format": 1})
    (tmp_path / "s" / VIDEO).write_bytes(b"old")
    save(tmp_path / "s", [FULL], ANGLES, {"format": 1})
    assert {path.name for path in (tmp_path / "s").iterdir()} == set(FILES)
