"""`read`: recordings into tables."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import click

from logger.commands.showing import progress_bar, show_session, wrapped
from logger.core.errors import SpokenFindingsError, UsageError
from logger.files.saving import save_session
from logger.grammar.loading import load_pack
from logger.grammar.pack import Pack
from logger.hearing.engines import ENGINES, Recogniser, open_recogniser
from logger.reading import Session, read_recording
from logger.seeing.markers.using import MARKER_USES, MarkerOptions, MarkerUse, camera_choice


@dataclass(frozen=True, slots=True)
class ReadJob:
    """What is the same for every recording of one call."""

    pack: Pack
    recogniser: Recogniser
    out: Path
    speech_model: Path | None = None
    pose_model: Path | None = None
    camera: bool = True
    quiet: bool = False
    markers: MarkerOptions = field(default_factory=MarkerOptions)
    video: bool = False

    def run(self, recording: Path) -> None:
        """Read one recording, save its results and show its table."""
        with progress_bar(recording.name, self.quiet) as report:
            session = read_recording(
                recording,
                self.pack,
                self.recogniser,
                self.pose_model,
                camera=self.camera,
                markers=self.markers,
                progress=report,
            )
        folder = self.out / recording.stem
        record = session.record(self.pack, self.recogniser.name, self._options())
        save_session(folder, record, session.watched.angles)
        if self.video:
            self._draw(session, folder)
        if not self.quiet:
            show_session(session, folder)

    def _draw(self, session: Session, folder: Path) -> None:
        # The drawing brings matplotlib's font and Pillow along, which reading does not need.
        from logger.commands.annotating import draw_video, video_trouble  # noqa: PLC0415

        if trouble := video_trouble(session):
            click.echo(wrapped("warning: ", trouble), err=True)
        if session.recording.has_video:
            with progress_bar(session.recording.path.name, self.quiet) as report:
                draw_video(session, self.pack.setup, folder, report)

    def _options(self) -> dict[str, str | bool]:
        options: dict[str, str | bool] = {"camera": self.camera, **self.markers.in_session()}
        if self.speech_model:
            options["speech_model"] = self.speech_model.name
        if self.pose_model:
            options["pose_model"] = self.pose_model.name
        return options


@click.command("read")
@click.argument("recordings", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--out", required=True, type=click.Path(path_type=Path), help="Folder of results.")
@click.option("--pack", "pack_name", default="glenohumeral", help="Pack name or TOML file.")
@click.option("--engine", default="moonshine", help=f"One of: {', '.join(ENGINES)}.")
@click.option("--speech-model", type=click.Path(path_type=Path), help="Folder of another model.")
@click.option("--pose-model", type=click.Path(path_type=Path), help="Another .task bundle.")
@click.option("--no-camera", is_flag=True, help="Leave the picture out.")
@click.option(
    "--markers",
    "marker_use",
    type=click.Choice(MARKER_USES),
    default="auto",
    show_default=True,
    help="Strips of printed markers: used for the arms that wear them, alone, or not at all.",
)
@click.option(
    "--calibration",
    type=click.Path(path_type=Path),
    help="The camera, from `calibrate`; for markers.",
)
@click.option(
    "--focal-35mm",
    type=click.FloatRange(8, 300),
    help="The camera's focal length, 35 mm equivalent; for markers.",
)
@click.option(
    "--neutral",
    "neutral_s",
    type=click.FloatRange(0),
    help="A time in seconds at which the arm lay along the trunk; for markers.",
)
@click.option("--video", is_flag=True, help="Also draw annotated.mp4: skeleton, angle, findings.")
@click.option("--quiet", is_flag=True, help="No progress bar and no table.")
def read_command(
    recordings: Sequence[Path],
    out: Path,
    pack_name: str,
    engine: str,
    speech_model: Path | None,
    pose_model: Path | None,
    no_camera: bool,
    marker_use: MarkerUse,
    calibration: Path | None,
    focal_35mm: float | None,
    neutral_s: float | None,
    video: bool,
    quiet: bool,
) -> None:
    """Read recordings into tables.

    Example: spoken-findings read monday.mp4 --out findings
    """
    stems = [recording.stem for recording in recordings]
    if len(set(stems)) < len(stems):
        raise UsageError("Two recordings have the same name: read them into different --out.")
    markers = MarkerOptions(marker_use, camera_choice(calibration, focal_35mm), neutral_s)
    pack = load_pack(pack_name)
    recogniser = open_recogniser(engine, pack, speech_model)
    job = ReadJob(
        pack, recogniser, out, speech_model, pose_model, not no_camera, quiet, markers, video
    )
    failures: list[SpokenFindingsError] = []
    for recording in recordings:
        try:
            job.run(recording)
        except SpokenFindingsError as error:
            failures.append(error)
            click.echo(str(error), err=True)
    if failures:
        sys.exit(failures[0].exit_code)
