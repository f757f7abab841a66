"""`read`: recordings into tables."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass, field
from math import isfinite
from pathlib import Path

import click

from logger.commands.facts import facts_of, facts_options
from logger.commands.showing import progress_bar, show_session, wrapped
from logger.core.errors import SpokenFindingsError, UsageError
from logger.core.events import Side
from logger.core.session import SessionFacts
from logger.files.saving import save_session
from logger.grammar.loading import load_pack
from logger.grammar.pack import Pack
from logger.hearing.engines import ENGINES, Recogniser, open_recogniser
from logger.reading import EyeChoice, Session, read_recording
from logger.seeing.bodies import Region
from logger.seeing.markers.using import MARKER_USES, MarkerOptions, MarkerUse, camera_choice


def patient_region(
    _context: click.Context, _option: click.Parameter, value: str | None
) -> Region | None:
    """Return the four numbers of --patient-region; refuse what is none."""
    if value is None:
        return None
    try:
        x, y, width, height = (float(part) for part in value.split(","))
    except ValueError:
        raise click.BadParameter(
            f"{value!r} is not x,y,w,h: give four numbers such as 200,80,240,300."
        ) from None
    if not (width > 0 and height > 0 and isfinite(x + y + width + height)):
        raise click.BadParameter(f"{value!r} is empty: width and height must be above 0.")
    return (x, y, width, height)


@dataclass(frozen=True, slots=True)
class ReadJob:
    """What is the same for every recording of one call."""

    pack: Pack
    recogniser: Recogniser
    out: Path
    eye: EyeChoice | None = field(default_factory=EyeChoice)
    """None leaves the picture out."""
    speech_model: Path | None = None
    quiet: bool = False
    video: bool = False
    facts: SessionFacts = field(default_factory=SessionFacts)

    def run(self, recording: Path) -> None:
        """Read one recording, save its results and show its table."""
        with progress_bar(recording.name, self.quiet) as report:
            session = read_recording(
                recording,
                self.pack,
                self.recogniser,
                self.eye,
                progress=report,
            )
        folder = self.out / recording.stem
        record = session.record(self.pack, self.recogniser.name, self._options(), self.facts)
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
        options: dict[str, str | bool] = {"camera": self.eye is not None}
        if self.eye is not None:
            options |= self.eye.in_session()
        if self.speech_model:
            options["speech_model"] = self.speech_model.name
        return options


@click.command("read")
@click.argument("recordings", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--out", required=True, type=click.Path(path_type=Path), help="Folder of results.")
@click.option("--pack", "pack_name", default="glenohumeral", help="Pack name or TOML file.")
@click.option("--engine", default="moonshine", help=f"One of: {', '.join(ENGINES)}.")
@click.option("--speech-model", type=click.Path(path_type=Path), help="Folder of another model.")
@click.option("--pose-model", type=click.Path(path_type=Path), help="Another .task bundle.")
@click.option(
    "--patient-region",
    "region",
    metavar="X,Y,W,H",
    callback=patient_region,
    help="Where the patient's trunk is, in pixels of the picture.",
)
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
@facts_options
@click.option("--video", is_flag=True, help="Also draw annotated.mp4: skeleton, angle, findings.")
@click.option("--quiet", is_flag=True, help="No progress bar and no table.")
def read_command(
    recordings: Sequence[Path],
    out: Path,
    pack_name: str,
    engine: str,
    speech_model: Path | None,
    pose_model: Path | None,
    region: Region | None,
    no_camera: bool,
    marker_use: MarkerUse,
    calibration: Path | None,
    focal_35mm: float | None,
    neutral_s: float | None,
    patient_code: str | None,
    examiner: str | None,
    involved_side: Side | None,
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
    eye = None if no_camera else EyeChoice(pose_model, region, markers)
    facts = facts_of(patient_code, examiner, involved_side)
    job = ReadJob(pack, recogniser, out, eye, speech_model, quiet, video, facts)
    failures: list[SpokenFindingsError] = []
    for recording in recordings:
        try:
            job.run(recording)
        except SpokenFindingsError as error:
            failures.append(error)
            click.echo(str(error), err=True)
    if failures:
        sys.exit(failures[0].exit_code)
