"""The findings table and the angle trace as data frames."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import pandas as pd

from logger.core.events import ArmAngle, Finding

FINDING_COLUMNS: Final = (
    "start_s",
    "end_s",
    "side",
    "test",
    "motion",
    "mode",
    "range_deg",
    "grade",
    "mobility",
    "mobility_score",
    "pain",
    "end_feel",
    "symptoms",
    "note",
    "arm_angle_deg",
    "arm_angle_spread_deg",
    "arm_angle_at_s",
    "setup",
    "said",
    "confidence",
    "status",
    "reason",
)
_WHOLE: Final = ("range_deg", "mobility_score", "pain")
_DIGITS: Final = {
    "start_s": 2,
    "end_s": 2,
    "arm_angle_deg": 1,
    "arm_angle_spread_deg": 1,
    "arm_angle_at_s": 2,
    "confidence": 3,
}


def findings_frame(rows: Sequence[Finding]) -> pd.DataFrame:
    """Return one row a finding with the columns of `FINDING_COLUMNS`; missing means not said."""
    frame = pd.DataFrame([_record(row) for row in rows], columns=list(FINDING_COLUMNS))
    for column in FINDING_COLUMNS:
        if column in _WHOLE:
            frame[column] = frame[column].astype("Int64")
        elif column in _DIGITS:
            frame[column] = frame[column].astype("Float64").round(_DIGITS[column])
        else:
            frame[column] = frame[column].astype("string")
    return frame


def angles_frame(angles: Sequence[ArmAngle]) -> pd.DataFrame:
    """Return the trace: time_s, side, angle_deg, visible, reason."""
    return pd.DataFrame(
        {
            "time_s": [round(sample.time_s, 3) for sample in angles],
            "side": [sample.side for sample in angles],
            "angle_deg": [
                None if sample.angle_deg is None else round(sample.angle_deg, 1)
                for sample in angles
            ],
            "visible": [sample.visible for sample in angles],
            "reason": [sample.reason for sample in angles],
        }
    )


def _record(row: Finding) -> dict[str, object]:
    record: dict[str, object] = {
        name: getattr(row, name) for name in FINDING_COLUMNS if hasattr(row, name)
    }
    return record | {
        "arm_angle_deg": row.setup.angle_deg,
        "arm_angle_spread_deg": row.setup.spread_deg,
        "arm_angle_at_s": row.setup.at_s,
        "setup": row.setup.status.value,
        "status": row.status.value,
        "reason": "; ".join(row.reasons) or None,
    }
