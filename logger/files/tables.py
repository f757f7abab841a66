"""The findings table and the angle trace as data frames, CSV and Parquet.

A cell of a CSV that starts with one of = + - @ (or their full-width forms), a tab or a line break
is run as a formula by spreadsheets. Such a cell gets an apostrophe in front, which spreadsheets
take for "this is text"; so does one that starts with an apostrophe, so that taking one off gives
back what was said. `read_table_csv` does so. Values such as "2+" are not touched, and Parquet
holds everything as it is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import isfinite
from pathlib import Path
from typing import Any, Final

import pandas as pd

from logger.core.events import ArmAngle, Finding
from logger.core.statements import SLOTS

_LATER_SLOTS: Final = ("comparison",)
"""Slots that came after the table's first columns were fixed stand behind those."""
FINDING_COLUMNS: Final = (
    "start_s",
    "end_s",
    *(slot for slot in SLOTS if slot not in _LATER_SLOTS),
    "note",
    "arm_angle_deg",
    "arm_angle_spread_deg",
    "arm_angle_at_s",
    "setup",
    "said",
    "confidence",
    "status",
    "reason",
    "caution",
    *_LATER_SLOTS,
    "arm_angle_source",
    "arm_angle_error_deg",
    "arm_angle_corrected_by_deg",
    "arm_angle_correction",
)
ANGLE_COLUMNS: Final = (
    "time_s",
    "side",
    "angle_deg",
    "visible",
    "reason",
    "source",
    "error_deg",
    "plane_deg",
)
_WHOLE: Final = ("range_deg", "mobility_score", "pain")
_DIGITS: Final = {
    "start_s": 2,
    "end_s": 2,
    # Two decimals would make pairs of the times of 60 pictures a second.
    "time_s": 3,
    "angle_deg": 1,
    "arm_angle_deg": 1,
    "arm_angle_spread_deg": 1,
    "arm_angle_at_s": 2,
    "arm_angle_corrected_by_deg": 1,
    "confidence": 3,
    "arm_angle_error_deg": 1,
    "error_deg": 1,
    "plane_deg": 1,
}
_TYPES: Final[Mapping[str, str]] = (
    dict.fromkeys(_WHOLE, "Int64") | dict.fromkeys(_DIGITS, "Float64") | {"visible": "boolean"}
)
"""The type of each column that is no text."""
_FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\n", "＝", "＋", "－", "＠")  # noqa: RUF001 - the full-width forms
_TEXT_MARK: Final = "'"


def findings_frame(rows: Sequence[Finding]) -> pd.DataFrame:
    """Return one row a finding with the columns of `FINDING_COLUMNS`; missing means not said.

    Times are rounded to 0.01 s, angles to 0.1 degrees, confidence to 0.001.
    """
    return _frame([_finding(row) for row in rows], FINDING_COLUMNS)


def angles_frame(angles: Sequence[ArmAngle]) -> pd.DataFrame:
    """Return the trace with the columns of `ANGLE_COLUMNS`: times to 0.001 s, angles to 0.1."""
    return _frame([_angle(sample) for sample in angles], ANGLE_COLUMNS)


def write_csv(frame: pd.DataFrame, path: Path) -> None:
    """Write UTF-8 with line feeds on every system; an empty cell means not said."""
    path.write_bytes(csv_text(frame).encode("utf-8"))


def csv_text(frame: pd.DataFrame) -> str:
    """Return a table as CSV with line feeds, no cell of which a spreadsheet runs."""
    safe = frame.copy()
    for column in safe.columns:
        if safe[column].dtype == "string":
            marked = safe[column].str.startswith((*_FORMULA_STARTS, _TEXT_MARK), na=False)
            safe[column] = safe[column].mask(marked, _TEXT_MARK + safe[column])
    return safe.to_csv(index=False, lineterminator="\n")


def write_parquet(frame: pd.DataFrame, path: Path) -> None:
    """Write the same content as the CSV, with the types of the columns."""
    frame.to_parquet(path, index=False, engine="pyarrow")


def read_table_csv(path: Path) -> pd.DataFrame:
    """Return what `write_csv` was given, with its types.

    Raises:
        ValueError: if it is no such table.

    """
    raw = pd.read_csv(path, dtype="string", keep_default_na=False, na_values=[""], encoding="utf-8")
    return pd.DataFrame({column: _typed(raw[column]) for column in raw.columns}, index=raw.index)


def _typed(raw: pd.Series[Any]) -> pd.Series[Any]:
    match _type(str(raw.name)):
        case "boolean":
            return raw.map({"True": True, "False": False}).astype("boolean")
        case "Int64":
            return pd.to_numeric(raw).astype("Int64")
        case "Float64":
            return pd.to_numeric(raw).astype("Float64")
    return raw.str.removeprefix(_TEXT_MARK)


def _frame(records: Sequence[Mapping[str, object]], columns: Sequence[str]) -> pd.DataFrame:
    series = {
        name: pd.Series([_cell(name, record[name]) for record in records], dtype=_type(name))
        for name in columns
    }
    return pd.DataFrame(series, columns=list(columns))


def _type(column: str) -> str:
    return _TYPES.get(column, "string")


def _cell(column: str, value: object) -> object:
    """Return what a cell holds; pd.NA for what was not said or is no number."""
    if value is None or value == "" or (isinstance(value, float) and not isfinite(value)):
        return pd.NA
    if column in _DIGITS and isinstance(value, int | float):
        # Adding 0.0 turns a rounded -0.0 into 0.0.
        return round(float(value), _DIGITS[column]) + 0.0
    if isinstance(value, str):
        # A character that UTF-8 cannot hold, or that ends a text in C, would lose the whole table;
        # a bare carriage return is not quoted by CSV writers and would break a row in two.
        whole = value.encode("utf-8", "replace").decode("utf-8").replace("\0", "\ufffd")
        return whole.replace("\r\n", "\n").replace("\r", "\n")
    return value


def _finding(row: Finding) -> dict[str, object]:
    return {
        "start_s": row.start_s,
        "end_s": row.end_s,
        **{slot: getattr(row, slot) for slot in SLOTS},
        "note": row.note,
        "arm_angle_deg": row.setup.angle_deg,
        "arm_angle_spread_deg": row.setup.spread_deg,
        "arm_angle_at_s": row.setup.at_s,
        "setup": row.setup.status.value,
        "said": row.said,
        "confidence": row.confidence,
        "status": row.status.value,
        "reason": "; ".join(row.reasons),
        "caution": "; ".join(row.cautions),
        "arm_angle_source": row.setup.source,
        "arm_angle_error_deg": row.setup.error_deg,
        "arm_angle_corrected_by_deg": row.setup.corrected_by_deg,
        "arm_angle_correction": row.setup.correction,
    }


def _angle(sample: ArmAngle) -> dict[str, object]:
    return {
        "time_s": sample.time_s,
        "side": sample.side,
        "angle_deg": sample.angle_deg,
        "visible": sample.visible,
        "reason": sample.reason,
        "source": sample.source,
        "error_deg": sample.error_deg,
        "plane_deg": sample.plane_deg,
    }
