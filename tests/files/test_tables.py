"""Tables that read back as they were written, in CSV and Parquet."""

from __future__ import annotations

import csv
import math
from pathlib import Path
from tempfile import TemporaryDirectory

import pandas as pd
import pyarrow.parquet as pq
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.core.events import ArmAngle, Finding, RowStatus, SetupReading, SetupStatus
from logger.files.tables import (
    FINDING_COLUMNS,
    angles_frame,
    findings_frame,
    read_table_csv,
    write_csv,
    write_parquet,
)

FULL = Finding(
    1.234,
    2.0,
    side="right",
    test="inferior_glide",
    grade="2+",
    mobility="hypomobile",
    mobility_score=2,
    pain=0,
    end_feel="firm",
    symptoms="none",
    note="sore, 'tight'\nünd warm",
    setup=SetupReading(SetupStatus.IN_RANGE, 52.04, 1.06, 0.999, "markers", 2.54),
    said='right inferior glide | note "sore"',
    confidence=0.87654,
    status=RowStatus.CHECK,
    reasons=("pain: 0 or 2?", "heard unsurely"),
    cautions=("grade 5 is a thrust, not a test",),
)
EMPTY = Finding(3.0, 4.0)
TEXT = st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=12)
WORDS = st.none() | TEXT | st.sampled_from(["=1+1", "+1", "-5", "@x", "'=1", "''", "NA", "nan"])


def in_csv(rows: list[Finding]) -> tuple[str, pd.DataFrame]:
    with TemporaryDirectory() as folder:
        path = Path(folder) / "findings.csv"
        write_csv(findings_frame(rows), path)
        return path.read_bytes().decode("utf-8"), read_table_csv(path)


def in_parquet(rows: list[Finding]) -> pd.DataFrame:
    with TemporaryDirectory() as folder:
        path = Path(folder) / "findings.parquet"
        write_parquet(findings_frame(rows), path)
        return pd.read_parquet(path)


def test_columns_are_those_agreed_upon_in_their_order() -> None:
    agreed = (
        "start_s end_s side test motion mode range_deg grade mobility mobility_score pain end_feel "
        "symptoms note arm_angle_deg arm_angle_spread_deg arm_angle_at_s setup said confidence "
        "status reason caution comparison arm_angle_source arm_angle_error_deg "
        "arm_angle_corrected_by_deg arm_angle_correction"
    )
    assert tuple(agreed.split()) == FINDING_COLUMNS
    for rows in ([], [FULL]):
        text, _ = in_csv(rows)
        assert text.split("\n")[0] == agreed.replace(" ", ",")
        assert list(in_parquet(rows).columns) == agreed.split()


def test_values_are_rounded_and_what_was_not_said_is_empty() -> None:
    """Read with the standard library, which knows no types."""
    text, _ = in_csv([FULL, EMPTY])
    full, empty = csv.DictReader(text.splitlines(keepends=True))
    assert (full["start_s"], full["end_s"], full["arm_angle_at_s"]) == ("1.23", "2.0", "1.0")
    assert (full["arm_angle_deg"], full["arm_angle_spread_deg"]) == ("52.0", "1.1")
    assert (full["arm_angle_source"], full["arm_angle_error_deg"]) == ("markers", "2.5")
    assert (full["confidence"], full["pain"], full["grade"]) == ("0.877", "0", "2+")
    assert (full["setup"], full["status"]) == ("in_range", "check")
    assert full["reason"] == "pain: 0 or 2?; heard unsurely"
    assert full["note"] == FULL.note
    said = {name for name, value in empty.items() if value}
    assert said == {"start_s", "end_s", "setup", "confidence", "status"}


def test_rounding_makes_no_minus_nought() -> None:
    text, _ = in_csv([Finding(-0.001, 0.0, setup=SetupReading(SetupStatus.IN_RANGE, -0.01))])
    assert "-0" not in text


def test_types_are_nullable_so_that_no_number_turns_into_a_float_or_zero() -> None:
    """A pain that was not said is not 0, and one that was is not 0.0."""
    for frame in (
        findings_frame([FULL, EMPTY]),
        in_csv([FULL, EMPTY])[1],
        in_parquet([FULL, EMPTY]),
    ):
        assert str(frame["pain"].dtype) == "Int64"
        assert str(frame["arm_angle_deg"].dtype) == "Float64"
        assert isinstance(frame["note"].dtype, pd.StringDtype)
        assert frame["pain"].isna().tolist() == [False, True]


@given(
    st.lists(st.tuples(WORDS, WORDS, st.none() | st.integers(0, 10), st.floats(0, 1e5)), max_size=4)
)
def test_csv_and_parquet_read_back_equal(
    values: list[tuple[str | None, str | None, int | None, float]],
) -> None:
    rows = [
        Finding(time, time + 1, note=note, said=said or "", pain=pain)
        for note, said, pain, time in values
    ]
    frame = findings_frame(rows)
    pd.testing.assert_frame_equal(in_csv(rows)[1], frame)
    pd.testing.assert_frame_equal(in_parquet(rows), frame)


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "'"])
def test_note_that_would_run_as_a_formula_is_marked_as_text(start: str) -> None:
    """The starts that OWASP lists for CSV injection (from memory), read by the standard library."""
    said = start + 'HYPERLINK("http://example.invalid")'
    note = said.replace("\r", "\n")
    text, back = in_csv([Finding(0, 1, note=said, said=said, grade="2-")])
    (row,) = csv.DictReader(text.splitlines(keepends=True))
    assert row["note"] == row["said"] == "'" + note
    assert row["grade"] == "2-"
    assert back["note"].tolist() == [note]
    assert in_parquet([Finding(0, 1, note=note)])["note"].tolist() == [note]


def test_carriage_return_does_not_break_a_row_in_two() -> None:
    """Python's csv module leaves it unquoted where rows end in a line feed."""
    text, back = in_csv([Finding(0, 1, note="a\rb\r\nc"), EMPTY])
    assert back["note"].tolist() == ["a\nb\nc", pd.NA]
    assert "\r" not in text


def test_what_utf_8_cannot_hold_does_not_lose_the_table() -> None:
    text, back = in_csv([Finding(0, 1, note="a\ud800b\0c", said="x")])
    assert back["note"].tolist() == ["a?b\ufffdc"]
    assert "\0" not in text


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_is_empty(bad: float) -> None:
    reading = SetupReading(SetupStatus.IN_RANGE, bad, bad, bad)
    frame = findings_frame([Finding(0, 1, setup=reading)])
    assert frame[["arm_angle_deg", "arm_angle_spread_deg", "arm_angle_at_s"]].isna().all(axis=None)


def test_parquet_columns_have_the_types_of_arrow(tmp_path: Path) -> None:
    """Read by Arrow alone, as another tool would."""
    write_parquet(findings_frame([FULL, EMPTY]), tmp_path / "a.parquet")
    table = pq.read_table(tmp_path / "a.parquet")
    assert str(table.schema.field("pain").type) == "int64"
    assert str(table.schema.field("start_s").type) == "double"
    assert "string" in str(table.schema.field("note").type)
    assert table.column("pain").to_pylist() == [0, None]


def test_trace_keeps_what_was_not_measured_empty(tmp_path: Path) -> None:
    angles = [
        ArmAngle(
            0.0, "left", 12.345, visible=True, source="markers", error_deg=2.5, plane_deg=-29.99
        ),
        ArmAngle(1 / 60, "right", None, visible=False, reason="=covered"),
    ]
    write_csv(angles_frame(angles), tmp_path / "arm_angle.csv")
    text = (tmp_path / "arm_angle.csv").read_text(encoding="utf-8")
    assert text.splitlines() == [
        "time_s,side,angle_deg,visible,reason,source,error_deg,plane_deg",
        "0.0,left,12.3,True,,markers,2.5,-30.0",
        "0.017,right,,False,'=covered,pose,,",
    ]
    assert len(angles_frame([])) == 0
