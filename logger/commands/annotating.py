"""The annotated video: from a session to what is drawn, and where it goes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from logger.core.events import (
    SIDES,
    ArmAngle,
    Finding,
    PositionCheck,
    RowStatus,
    SetupReading,
    Side,
)
from logger.core.statements import SetupWindow
from logger.core.words import named, status_text, window_text
from logger.files.annotated_video import Shape, write_video
from logger.files.atomic import add_file
from logger.files.overlay import ArmNote, Caption, Overlay
from logger.files.painting import Painter
from logger.files.saving import VIDEO
from logger.findings.setup import SetupRules, in_plane_deg, status_in_window
from logger.reading import Progress, Session
from logger.recording.copying import stored_sound
from logger.recording.media import Recording

_STAYS_S: Final = 4.0
"""How long a caption stays after the words that made it."""
_AHEAD_S: Final = 30.0
"""How long before a test its window is shown; a setup may be as old."""


def draw_video(
    session: Session, windows: Mapping[str, SetupWindow], folder: Path, progress: Progress
) -> None:
    """Write annotated.mp4 into the session's folder.

    Raises:
        OutputError: if it cannot be written; the session's other files stay.

    """
    recording = session.recording
    painter = Painter(overlay_of(session, windows))
    shape = Shape(recording.width or 0, recording.height or 0, recording.fps, recording.duration_s)

    def write(path: Path) -> None:
        with stored_sound(recording) as sound:
            write_video(path, _painted(recording, painter, progress), shape, sound)

    add_file(folder, VIDEO, write)


def video_trouble(session: Session) -> str:
    """Return what the video lacks, in a sentence; empty where it lacks nothing."""
    if not session.recording.has_video:
        return "The recording has no picture: there is no annotated video."
    if not session.watched.bodies:
        return f"{VIDEO} shows the findings only: the patient's arms were not looked at or found."
    return ""


def overlay_of(session: Session, windows: Mapping[str, SetupWindow]) -> Overlay:
    """Return what is drawn over a session's pictures."""
    rows = session.merged.rows
    return Overlay(
        bodies=session.watched.bodies,
        arms={side: tuple(_notes(session.watched.angles, side, rows, windows)) for side in SIDES},
        captions=captions_of(rows, session.merged.position_checks, windows),
    )


def _painted(
    recording: Recording, painter: Painter, progress: Progress
) -> Iterator[tuple[float, NDArray[np.uint8]]]:
    for frame in recording.frames(None):
        progress("drawing", frame.time_s / recording.duration_s if recording.duration_s else 0.0)
        yield frame.time_s, painter.paint(frame.rgb, frame.time_s)


def _notes(
    angles: Sequence[ArmAngle],
    side: Side,
    rows: Sequence[Finding],
    windows: Mapping[str, SetupWindow],
) -> Iterator[ArmNote]:
    standing = [row for row in rows if row.test and row.status is not RowStatus.WITHDRAWN]
    error_deg = SetupRules().error_deg
    for sample in angles:
        if sample.side != side:
            continue
        row = _row_at(standing, sample.time_s)
        test = row.test if row is not None and row.side == side else None
        window = windows.get(test) if test else None
        angle_deg = _angle_deg(sample, window)
        limits = None if window is None else (window.low_deg, window.high_deg)
        if angle_deg is None:
            why = (sample.reason,) if sample.reason else ()
            words = (f"{side} arm: not seen", *why)
            yield ArmNote(sample.time_s, None, _NO_STATUS, limits, words)
            continue
        status = status_in_window(angle_deg, window, error_deg)
        words = (f"{side} {angle_deg:.0f}°",)
        if window is not None and test is not None:
            fit = f"{status_text(status)} {window_text(window.low_deg, window.high_deg)}"
            words = (f"{words[0]}, {fit}", f"for {named([test])}")
        yield ArmNote(sample.time_s, angle_deg, status, limits, words)


def _angle_deg(sample: ArmAngle, window: SetupWindow | None) -> float | None:
    """Return the angle that the table would compare with the window."""
    if not sample.visible or sample.angle_deg is None:
        return None
    return in_plane_deg(sample, sample.angle_deg, window.plane_deg if window else 0.0)


_NO_STATUS: Final = status_in_window(0.0, None, 0.0)


def _row_at(rows: Sequence[Finding], time_s: float) -> Finding | None:
    """Return the row that is shown or comes next, of either side: one arm is set up at a time."""
    for row in rows:
        if row.start_s - _AHEAD_S <= time_s < row.end_s + _STAYS_S:
            return row
    return None


def captions_of(
    rows: Sequence[Finding], checks: Sequence[PositionCheck], windows: Mapping[str, SetupWindow]
) -> tuple[Caption, ...]:
    """Return a caption for each row and each check of the position, in the order of time."""
    captions = [
        *(
            Caption(row.start_s, row.end_s + _STAYS_S, _row_lines(row, windows), row.status)
            for row in rows
        ),
        *(
            Caption(
                check.at_s,
                check.at_s + _STAYS_S,
                (f"position check, {check.side or 'side?'}: {_reading(check.reading, None)}",),
                RowStatus.LOGGED,
            )
            for check in checks
        ),
    ]
    return tuple(sorted(captions, key=lambda caption: caption.start_s))


def _row_lines(row: Finding, windows: Mapping[str, SetupWindow]) -> tuple[str, ...]:
    what = " ".join(filter(None, (row.side or "side?", row.test or row.motion, row.mode)))
    said = {
        "": None if row.range_deg is None else f"{row.range_deg}°",
        "grade ": row.grade,
        "mobility ": row.mobility_score,
        " ": row.mobility,
        "pain ": row.pain,
        "end feel ": row.end_feel,
        "symptoms ": row.symptoms,
        "note: ": row.note,
    }
    parts = [f"{label}{value}".strip() for label, value in said.items() if value is not None]
    head = ": ".join(filter(None, (what.replace("_", " "), ", ".join(parts))))
    window = windows.get(row.test) if row.test else None
    lines = [head, f"setup {_reading(row.setup, window)}"]
    if row.status is RowStatus.WITHDRAWN:
        lines.insert(1, "WITHDRAWN")
    elif row.status is RowStatus.CHECK:
        lines.insert(1, f"CHECK: {'; '.join(row.reasons)}")
    lines.extend(f"caution: {caution}" for caution in row.cautions)
    return tuple(lines)


def _reading(reading: SetupReading, window: SetupWindow | None) -> str:
    if reading.angle_deg is None:
        return status_text(reading.status)
    limits = "" if window is None else f" {window_text(window.low_deg, window.high_deg)}"
    return f"{reading.angle_deg:.0f}°, {status_text(reading.status)}{limits}"
