"""The holds of a setup practice as a table: one row for each hold and target window."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Final

import pandas as pd

from logger.core.holds import JudgedHold, Practice
from logger.files.tables import write_csv

_NUMBERS: Final = {
    "start_s": 2,
    "end_s": 2,
    "duration_s": 2,
    "angle_deg": 1,
    "first_second_deg": 1,
    "last_second_deg": 1,
    "spread_deg": 1,
    "drift_deg_per_s": 2,
    "got_there_s": 2,
    "moved_deg": 1,
    "seen_share": 3,
    "window_low_deg": 1,
    "window_high_deg": 1,
    "window_plane_deg": 1,
    "compared_deg": 1,
    "off_deg": 1,
}
"""The decimals of each column of numbers."""
HOLD_COLUMNS: Final = (
    "hold",
    "side",
    "kind",
    "start_s",
    "end_s",
    "duration_s",
    "angle_deg",
    "first_second_deg",
    "last_second_deg",
    "spread_deg",
    "drift_deg_per_s",
    "got_there_s",
    "moved_deg",
    "seen_share",
    "window_low_deg",
    "window_high_deg",
    "window_plane_deg",
    "tests",
    "compared_deg",
    "fit",
    "off_deg",
)


def holds_frame(practice: Practice) -> pd.DataFrame:
    """Return the columns of `HOLD_COLUMNS`; without targets, one row a hold and no window.

    `hold` numbers the holds; `tests` are those that share the window, joined by "; ";
    `compared_deg` is the hold's angle in the window's plane. Times are
    rounded to 0.01 s, angles to 0.1 degrees. An empty cell is not known.
    """
    records = [row for judged in practice.holds for row in _rows(judged)]
    series = {
        name: pd.Series([record.get(name) for record in records], dtype=_type(name))
        for name in HOLD_COLUMNS
    }
    return pd.DataFrame(series, columns=list(HOLD_COLUMNS))


def write_holds(practice: Practice, path: Path) -> None:
    """Write the table as CSV: UTF-8, line feeds, a header also where there is no hold."""
    write_csv(holds_frame(practice), path)


def _type(column: str) -> str:
    if column == "hold":
        return "Int64"
    return "Float64" if column in _NUMBERS else "string"


def _rows(judged: JudgedHold) -> Iterator[dict[str, object]]:
    hold = judged.hold
    shared: dict[str, object] = {
        "hold": judged.number,
        "side": hold.side,
        "kind": hold.kind.value,
        "start_s": hold.start_s,
        "end_s": hold.end_s,
        "duration_s": hold.duration_s,
        "angle_deg": hold.angle_deg,
        "first_second_deg": hold.first_deg,
        "last_second_deg": hold.last_deg,
        "spread_deg": hold.spread_deg,
        "drift_deg_per_s": hold.drift_deg_per_s,
        "got_there_s": hold.got_there_s,
        "moved_deg": hold.moved_deg,
        "seen_share": hold.seen_share,
    }
    if not judged.comparisons:
        yield _rounded(shared)
    for comparison in judged.comparisons:
        compared = {
            "window_low_deg": comparison.target.low_deg,
            "window_high_deg": comparison.target.high_deg,
            "window_plane_deg": comparison.target.plane_deg,
            "tests": "; ".join(comparison.target.tests),
            "compared_deg": comparison.angle_deg,
            "fit": comparison.fit.value,
            "off_deg": comparison.off_deg,
        }
        yield _rounded({**shared, **compared})


def _rounded(row: dict[str, object]) -> dict[str, object]:
    # Adding 0.0 turns a rounded -0.0 into 0.0.
    return {
        name: round(value, _NUMBERS[name]) + 0.0
        if name in _NUMBERS and isinstance(value, int | float)
        else value
        for name, value in row.items()
    }
