"""Results on disk."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from logger.core.errors import OutputError
from logger.core.events import Finding, SetupReading, SetupStatus
from logger.files import saving
from logger.files.saving import save
from logger.files.tables import FINDING_COLUMNS

ROW = Finding(
    1.234,
    2.0,
    side="right",
    test="inferior_glide",
    grade="2+",
    pain=0,
    note="sore, 'tight'\nünd",
    setup=SetupReading(SetupStatus.IN_RANGE, 52.04, 1.0, 0.9),
)


def test_both_tables_read_back_the_same_and_empty_means_not_said(tmp_path: Path) -> None:
    save(tmp_path / "s", [ROW], [], {"format": 1})
    parquet = pd.read_parquet(tmp_path / "s" / "findings.parquet")
    csv = pd.read_csv(tmp_path / "s" / "findings.csv", dtype={"grade": "string"})
    assert tuple(parquet.columns) == tuple(csv.columns) == FINDING_COLUMNS
    for table in (parquet, csv):
        row = table.iloc[0]
        assert (row["grade"], row["pain"], row["note"]) == ("2+", 0, ROW.note)
        assert (row["start_s"], row["arm_angle_deg"]) == (1.23, 52.0)
        assert pd.isna(row["mobility"])


def test_failure_midway_keeps_the_old_results(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A disk that fills up while the new results are written."""
    save(tmp_path / "s", [ROW], [], {"format": 1})
    before = (tmp_path / "s" / "findings.csv").read_bytes()

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(saving, "angles_frame", full)
    with pytest.raises(OutputError, match="No space left"):
        save(tmp_path / "s", [], [], {})
    assert (tmp_path / "s" / "findings.csv").read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == ["s"]


def test_file_in_the_way(tmp_path: Path) -> None:
    (tmp_path / "s").write_text("mine")
    with pytest.raises(OutputError, match="is a file"):
        save(tmp_path / "s", [], [], {})
