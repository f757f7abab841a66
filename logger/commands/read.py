"""`read`: recordings into tables."""

from __future__ import annotations

import os
import pickle
import sys
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from math import isfinite
from pathlib import Path
from typing import Final

import click

from logger.batch.planning import Plan, find_recordings, plan
from logger.batch.pools import run_here, run_in_processes, run_on_cluster
from logger.batch.tasks import Outcome
from logger.commands.facts import facts_of, facts_options
from logger.commands.read_job import ReadSettings, read_task
from logger.commands.showing import progress_bar, wrapped
from logger.core.errors import ModelError, PackError, SpokenFindingsError, UsageError
from logger.core.events import Side
from logger.hearing.engines import ENGINES
from logger.reading import EyeChoice
from logger.seeing.bodies import Region
from logger.seeing.markers.using import MARKER_USES, MarkerOptions, MarkerUse, camera_choice

_OF_ALL: Final = {UsageError.exit_code, PackError.exit_code, ModelError.exit_code}
"""What is wrong with the call itself, and would be with every recording."""


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
@click.option(
    "--jobs",
    type=click.IntRange(0),
    default=1,
    show_default=True,
    help="Recordings to read at once; 0 for one a core.",
)
@click.option("--scheduler", metavar="ADDRESS", help="Read on the Dask cluster at this address.")
@click.option("--again", is_flag=True, help="Read also what is read already.")
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
    jobs: int,
    scheduler: str | None,
    again: bool,
    quiet: bool,
) -> None:
    """Read recordings into tables.

    RECORDINGS are files, or folders that hold some. What is read already, with this version, pack
    and options, is left as it is; after a kill, the same call goes on where it ended. The exit
    code is that of the first recording that failed.

    Example: spoken-findings read monday.mp4 --out findings

    A class: spoken-findings read class --out findings --jobs 0
    """
    if patient_code and any(path.is_dir() for path in recordings):
        raise UsageError("--patient-code is of one patient: name the recordings of that patient.")
    markers = MarkerOptions(marker_use, camera_choice(calibration, focal_35mm), neutral_s)
    settings = ReadSettings(
        pack_name,
        engine,
        None if no_camera else EyeChoice(pose_model, region, markers),
        speech_model,
        video,
        facts_of(patient_code, examiner, involved_side),
    )
    if scheduler is not None and jobs != 1:
        raise UsageError("--jobs and --scheduler both say who reads: give one of them.")
    tasks = find_recordings(recordings, out)
    with progress_bar("recordings", quiet) as report:
        made = plan(
            tasks, settings.wanted(), again=again, progress=lambda done: report("looked at", done)
        )
    many = scheduler is not None or jobs != 1 or any(path.is_dir() for path in recordings)
    show_plan(made, quiet=quiet)
    if many:
        outcomes = _read_many(made, settings, jobs or os.cpu_count() or 1, scheduler)
        failed = [*made.failures, *show_outcomes(outcomes, len(made.tasks), quiet=quiet)]
        show_summary(made, failed, quiet=quiet)
    else:
        failed = [*made.failures, *_read_each(made, settings, out, quiet=quiet)]
    if failed:
        sys.exit(failed[0].exit_code)


def _read_each(made: Plan, settings: ReadSettings, out: Path, *, quiet: bool) -> list[Outcome]:
    """Read here and show each table; say at once what fails."""
    for failure in made.failures:
        click.echo(failure.sentence, err=True)
    if not made.tasks:
        return []
    job, failed = settings.job(out, quiet=quiet), []
    for task in made.tasks:
        try:
            job.run(task.recording, task.folder)
        except SpokenFindingsError as error:
            failed.append(Outcome(task, str(error), error.exit_code))
            click.echo(str(error), err=True)
    return failed


def _read_many(
    made: Plan, settings: ReadSettings, jobs: int, scheduler: str | None
) -> Iterator[Outcome]:
    if jobs == 1 and scheduler is None:
        return run_here(made.tasks, partial(read_task, pickle.dumps(settings)))
    # As many processes as cores read at once: one thread for each.
    work = partial(read_task, pickle.dumps(replace(settings, threads=1)))
    if scheduler is not None:
        return run_on_cluster(made.tasks, work, scheduler)
    return run_in_processes(made.tasks, work, min(jobs, max(len(made.tasks), 1)))


def show_plan(made: Plan, *, quiet: bool) -> None:
    """Print which recordings are not read, and why not."""
    if quiet:
        return
    for task in made.done:
        click.echo(wrapped("", f"{task.recording.name}: read already, see {task.folder}"))
    for copy, first in made.copies:
        click.echo(wrapped("", f"{copy} is a copy of {first}: it is read once"))


def show_outcomes(outcomes: Iterable[Outcome], count: int, *, quiet: bool) -> list[Outcome]:
    """Print a line for each recording as it is read; return those that failed."""
    failed = []
    for number, outcome in enumerate(outcomes, 1):
        if outcome.exit_code in _OF_ALL:
            click.echo(outcome.sentence, err=True)
            sys.exit(outcome.exit_code)
        if outcome.sentence:
            failed.append(outcome)
        if not quiet:
            place = f"[{number:>{len(str(count))}}/{count}] "
            click.echo(wrapped(place, f"{outcome.task.recording.name}: {_came_of(outcome)}"))
            for warning in outcome.warnings:
                click.echo(wrapped(" " * len(place), f"warning: {warning}"))
    return failed


def _came_of(outcome: Outcome) -> str:
    if outcome.sentence:
        return "failed"
    check = f", {outcome.to_check} to check" if outcome.to_check else ""
    return f"{outcome.findings} findings{check} ({outcome.took_s:.0f} s)"


def show_summary(made: Plan, failed: Sequence[Outcome], *, quiet: bool) -> None:
    """Print what became of all recordings, and on the error channel what failed and why."""
    lost = {id(outcome) for outcome in made.failures}
    read = len(made.tasks) - sum(id(outcome) not in lost for outcome in failed)
    parts = [f"{read} read", f"{len(made.done)} read already", f"{len(made.copies)} copies"]
    if not quiet:
        click.echo(", ".join((*parts, f"{len(failed)} failed")))
    for outcome in failed:
        click.echo(wrapped("failed: ", outcome.sentence), err=True)
