"""`bench seeing`: the eye against pictures and recordings whose angles are known."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

import click

from logger.bench.markers import MarkerFigures, marker_scenes_error
from logger.bench.seeing.measure import ArmResult, Measured
from logger.bench.seeing.report import as_object, as_table, as_text
from logger.bench.seeing.truth import session_in, stills_in
from logger.core.errors import OutputError, UsageError
from logger.grammar.loading import load_pack
from logger.seeing.bundle import pose_bundle
from logger.seeing.pose import PoseModel
from logger.seeing.settings import MOST_PEOPLE, WatchSettings


@click.command("seeing")
@click.option("--stills", type=click.Path(path_type=Path), help="Folder of stills with truth.")
@click.option(
    "--session",
    "sessions",
    multiple=True,
    type=click.Path(path_type=Path),
    help="Folder with session.mp4 and truth.json; may be given several times.",
)
@click.option("--pose-model", type=click.Path(path_type=Path), help="Another .task bundle.")
@click.option(
    "--marker-scenes",
    "scenes",
    default=25,
    show_default=True,
    type=click.IntRange(0),
    help="Rendered scenes with printed markers, for each of eight conditions.",
)
@click.option("--arms", type=click.Path(path_type=Path), help="Write a CSV line an arm here.")
@click.option("--json", "as_json", is_flag=True, help="Last line: one JSON object.")
def seeing(
    stills: Path | None,
    sessions: Sequence[Path],
    pose_model: Path | None,
    scenes: int,
    arms: Path | None,
    as_json: bool,
) -> None:
    """Measure the arm angles against known ones.

    A still is held for a second and a half, as a recording of it would be. Errors are against
    the true elevation in space. Arms with printed markers are measured on scenes that are rendered
    meanwhile; they need no folder.

    Example: spoken-findings bench seeing --stills pictures --session monday --json
    """
    if stills is None and not sessions:
        raise UsageError("Nothing to measure: give --stills FOLDER, --session FOLDER or both.")
    pictures = stills_in(stills) if stills else []
    known = [session_in(folder) for folder in sessions]
    windows = load_pack("glenohumeral").setup
    results: list[ArmResult] = []
    with PoseModel(pose_bundle(pose_model), max_people=MOST_PEOPLE) as model:
        measured = Measured(WatchSettings(), model)
        for still in pictures:
            results += measured.still(still)
        for session in known:
            results += measured.session(session, windows)
    if arms is not None:
        _write(arms, as_table(results))
    click.echo(as_text(results, measured.cost))
    markers = marker_scenes_error(scenes)["all"] if scenes else MarkerFigures()
    click.echo(markers.line("markers"))
    if as_json:
        told = as_object(results, measured.cost) | {"markers": markers.as_json()}
        click.echo(json.dumps(told))


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise OutputError(f"{path} cannot be written: {error.strerror or error}.") from error
