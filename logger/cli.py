"""The command line: arguments in, sentences and tables out."""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path
from typing import Final

import click
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

from logger.core.errors import SpokenFindingsError, UsageError
from logger.core.events import Finding
from logger.files.saving import save_session
from logger.grammar.listing import what_can_be_said
from logger.grammar.loading import load_pack
from logger.grammar.pack import Pack
from logger.hearing.engines import ENGINES, Recogniser, open_recogniser
from logger.hearing.moonshine import packaged_model_folder
from logger.reading import Session, read_recording
from logger.seeing.bundle import pose_bundle

SAFETY: Final = (
    "This is a record-keeping aid and no medical device. It grades nothing itself: it writes down "
    "what the clinician says. Hands-on testing can hurt: local rules and the licensed clinician "
    "decide whether and how to test."
)
_COLUMNS: Final = 80
_INDENT: Final = " " * 11
_EXITS: Final = (
    "\b\nExit codes: 0 done, 2 wrong use, 3 a recording cannot be read, 4 a mistake in a pack,\n"
    "5 a model is missing or broken, 6 results cannot be written."
)


@click.group(help="Spoken findings of shoulder accessory-movement tests.", epilog=_EXITS)
@click.version_option(package_name="spoken-findings")
def cli() -> None:
    """Gather the commands."""


@cli.command("read")
@click.argument("recordings", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--out", required=True, type=click.Path(path_type=Path), help="Folder of results.")
@click.option("--pack", "pack_name", default="glenohumeral", help="Pack name or TOML file.")
@click.option("--engine", default="moonshine", help=f"One of: {', '.join(ENGINES)}.")
@click.option("--speech-model", type=click.Path(path_type=Path), help="Folder of another model.")
@click.option("--pose-model", type=click.Path(path_type=Path), help="Another .task bundle.")
@click.option("--no-camera", is_flag=True, help="Leave the picture out.")
@click.option("--quiet", is_flag=True, help="No progress bar and no table.")
def read_command(
    recordings: Sequence[Path],
    out: Path,
    pack_name: str,
    engine: str,
    speech_model: Path | None,
    pose_model: Path | None,
    no_camera: bool,
    quiet: bool,
) -> None:
    """Read recordings into tables.

    Example: spoken-findings read monday.mp4 --out findings
    """
    stems = [recording.stem for recording in recordings]
    if len(set(stems)) < len(stems):
        raise UsageError("Two recordings have the same name: read them into different --out.")
    pack = load_pack(pack_name)
    recogniser = open_recogniser(engine, pack, speech_model)
    failures: list[SpokenFindingsError] = []
    for recording in recordings:
        try:
            session = _read(recording, pack, recogniser, pose_model, not no_camera, quiet)
            options: dict[str, str | bool] = {"camera": not no_camera}
            if speech_model:
                options["speech_model"] = speech_model.name
            if pose_model:
                options["pose_model"] = pose_model.name
            record = session.record(pack, engine, options)
            save_session(out / recording.stem, record, session.angles)
        except SpokenFindingsError as error:
            failures.append(error)
            click.echo(str(error), err=True)
            continue
        if not quiet:
            _show(session, out / recording.stem)
    if failures:
        sys.exit(failures[0].exit_code)


@cli.command("say")
@click.option("--pack", "pack_name", default="glenohumeral", help="Pack name or TOML file.")
def say_command(pack_name: str) -> None:
    """Print what can be said."""
    click.echo(what_can_be_said(load_pack(pack_name)))


@cli.command("check")
def check_command() -> None:
    """Say what is installed and what is missing."""
    click.echo(f"spoken-findings {version('spoken-findings')}, Python {sys.version.split()[0]}")
    for label, find in (
        ("speech model (moonshine)", packaged_model_folder),
        ("pose model", pose_bundle),
        ("pack glenohumeral", lambda: load_pack("glenohumeral").title),
    ):
        try:
            click.echo(f"found    {label}: {find()}")
        except SpokenFindingsError as error:
            click.echo(f"missing  {label}: {error}")
    click.echo("vosk     needs a model folder of your own: read --engine vosk --speech-model DIR")


@cli.command("demo")
@click.option(
    "--out", default="findings", type=click.Path(path_type=Path), help="Folder of results."
)
def demo_command(out: Path) -> None:
    """Read the demonstration session (a rendered body, synthetic voices)."""
    pack = load_pack("glenohumeral")
    recogniser = open_recogniser("moonshine", pack)
    session = _read(_demo_media() / "session.mp4", pack, recogniser, None, True, False)
    record = session.record(pack, "moonshine", {"camera": True})
    save_session(out / "session", record, session.angles)
    _show(session, out / "session")
    click.echo("\nWhen not to test, or to take care:")
    for caution in pack.cautions:
        click.echo(_wrapped(f"  {caution.urgency:<11}  ", caution.text))
    click.echo(f"\n{textwrap.fill(SAFETY, _COLUMNS)}")


def _demo_media() -> Path:
    packaged = Path(__file__).with_name("_demo_media")
    return packaged if packaged.is_dir() else Path(__file__).parent.parent / "demo_media"


def _read(
    path: Path, pack: Pack, recogniser: Recogniser, pose: Path | None, camera: bool, quiet: bool
) -> Session:
    bar = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TimeElapsedColumn(),
        console=Console(stderr=True),
        disable=quiet or not sys.stderr.isatty(),
        transient=True,
    )
    with bar:
        task = bar.add_task(path.name, total=1.0)

        def report(stage: str, done: float) -> None:
            bar.update(task, description=f"{path.name}: {stage}", completed=min(done, 1.0))

        return read_recording(path, pack, recogniser, pose, camera=camera, progress=report)


def _show(session: Session, folder: Path) -> None:
    click.echo(f"{session.recording.path.name}: {len(session.merged.rows)} findings")
    for row in session.merged.rows:
        click.echo("\n".join(_lines(row)))
    for warning in session.warnings:
        click.echo(f"warning: {warning}")
    for utterance, reason in session.merged.unplaced:
        click.echo(f"not in the table, {utterance.start_s:.1f} s: {utterance.text!r} ({reason})")
    click.echo(f"files: {folder}")


def _lines(row: Finding) -> list[str]:
    what = " ".join(filter(None, (row.side or "side?", row.test or row.motion, row.mode)))
    details = {
        "range": None if row.range_deg is None else f"{row.range_deg} deg",
        "grade": row.grade,
        "mobility": row.mobility,
        "score": row.mobility_score,
        "pain": row.pain,
        "end feel": row.end_feel,
        "symptoms": row.symptoms,
        "note": row.note,
    }
    lines = [f"{row.start_s:7.1f} s  {what.replace('_', ' ')}  [{row.status.value}]"]
    said = ", ".join(f"{k} {v}" for k, v in details.items() if v is not None)
    if said:
        lines.append(_wrapped(_INDENT, said))
    setup = row.setup
    angle = "" if setup.angle_deg is None else f"{setup.angle_deg:.0f} deg at {setup.at_s:.1f} s, "
    lines.append(f"{_INDENT}setup: {angle}{setup.status.value.replace('_', ' ')}")
    lines.extend(_wrapped(_INDENT, reason) for reason in row.reasons)
    lines.extend(_wrapped(_INDENT, f"caution: {caution}") for caution in row.cautions)
    return lines


def _wrapped(start: str, text: str) -> str:
    """Return `text` after `start`, within the width of a plain terminal."""
    return textwrap.fill(text, _COLUMNS, initial_indent=start, subsequent_indent=" " * len(start))


def main() -> None:
    """Run the command line; a user's mistake is one sentence and an exit code."""
    try:
        cli()
    except SpokenFindingsError as error:
        click.echo(str(error), err=True)
        sys.exit(error.exit_code)
