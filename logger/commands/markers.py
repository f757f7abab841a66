"""`markers` and `calibrate`: the precise option's sheet to print, and its camera."""

from __future__ import annotations

import json
from pathlib import Path

import click

from logger.core.errors import OutputError, RecordingError, UsageError
from logger.recording.media import open_recording
from logger.seeing.markers.calibrating import calibrate
from logger.seeing.markers.sheet import PAPERS, Paper, write_board, write_strips


@click.command("markers")
@click.option("--out", required=True, type=click.Path(path_type=Path), help="The PDF to write.")
@click.option(
    "--paper", type=click.Choice(tuple(PAPERS)), default="a4", show_default=True, help="Size."
)
@click.option("--board", is_flag=True, help="The board for `calibrate` instead of the strips.")
def markers_command(out: Path, paper: Paper, board: bool) -> None:
    """Make the sheet of marker strips to print, with instructions.

    Example: spoken-findings markers --out markers.pdf
    """
    (write_board if board else write_strips)(out, paper)
    click.echo(f"{out}: print it at actual size (100 %), and check it with a bank card.")


@click.command("calibrate")
@click.argument("recording", type=click.Path(path_type=Path))
@click.option("--out", required=True, type=click.Path(path_type=Path), help="The file to write.")
def calibrate_command(recording: Path, out: Path) -> None:
    """Calibrate the camera from a recording of the board, for `read --calibration`.

    Example: spoken-findings calibrate board.mp4 --out camera.json
    """
    if out.suffix.lower() != ".json":
        raise UsageError(f"A calibration is a JSON file: {out} must end in .json.")
    opened = open_recording(recording)
    if not opened.has_video:
        raise RecordingError(f"{recording} has no picture: give a recording of the board.")
    made = calibrate((frame.time_s, frame.rgb) for frame in opened.frames(None))
    try:
        out.write_text(json.dumps(made.model_dump(), indent=2) + "\n", encoding="utf-8")
    except OSError as error:
        raise OutputError(
            f"The calibration cannot be written to {out}: {error.strerror or error}; "
            "give another --out."
        ) from error
    click.echo(
        f"{out}: focal length {made.focal_px[0]:.0f} pixels, known to "
        f"{made.focal_sd_px / made.focal_px[0]:.1%}, from {made.views} views "
        f"(corners within {made.rms_px:.2f} pixels)."
    )
