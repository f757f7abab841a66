"""`live`: the live session's page in the browser."""

from __future__ import annotations

import os
import webbrowser
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

import click
import platformdirs

from logger.commands.read import patient_region
from logger.core.errors import OutputError
from logger.grammar.loading import load_pack, shipped_packs
from logger.grammar.pack import Pack
from logger.hearing.engines import ENGINES, check_engine, open_recogniser
from logger.keeping.journal import Journal
from logger.page.app import page_app
from logger.page.kit import Kit, Recognisers, pose_eye
from logger.page.serving import bound_socket, serve
from logger.reading import EyeChoice
from logger.seeing.bodies import Region
from logger.seeing.bundle import pose_bundle
from logger.seeing.markers.using import MarkerOptions

DEFAULT_PORT: Final = 8737
"""Always the same, so that the browser remembers that this page may use the camera."""


@click.command("live")
@click.option("--pack", "pack_name", default="glenohumeral", help="Pack name or TOML file.")
@click.option(
    "--out",
    default="findings",
    show_default=True,
    type=click.Path(path_type=Path),
    help="Folder of results.",
)
@click.option(
    "--port",
    default=DEFAULT_PORT,
    show_default=True,
    type=click.IntRange(0, 65535),
    help="Where the page is served on this machine; 0 takes any that is free.",
)
@click.option("--no-browser", is_flag=True, help="Only print the address.")
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
    "--journal",
    type=click.Path(path_type=Path),
    help="File that keeps the sessions; by default in your own data folder.",
)
def live_command(
    pack_name: str,
    out: Path,
    port: int,
    no_browser: bool,
    engine: str,
    speech_model: Path | None,
    pose_model: Path | None,
    region: Region | None,
    no_camera: bool,
    journal: Path | None,
) -> None:
    """Open the page of a live session in the browser; Ctrl+C ends it.

    Everything stays on this machine and needs no network.

    Example: spoken-findings live --out findings
    """
    check_engine(engine)
    packs = _packs(pack_name)
    _check_folder(out)
    path = journal or platformdirs.user_data_path("spoken-findings") / "journal.db"
    bundle = None if no_camera else pose_bundle(pose_model)
    recognisers = Recognisers(lambda pack: open_recogniser(engine, pack, speech_model))

    def opened(url: str) -> None:
        click.echo(f"The page: {url}")
        click.echo(f"Results: {out}")
        click.echo(f"Sessions are kept in: {path}")
        click.echo("Ctrl+C ends it.")
        if not no_browser and not webbrowser.open(url):
            click.echo("No browser could be opened: open the address yourself.", err=True)

    with _for_the_owner_alone(), Journal(path) as kept:
        kit = Kit(
            packs=packs,
            journal=kept,
            out=out,
            recognisers=recognisers,
            engine=engine,
            open_eye=None if bundle is None else pose_eye(bundle, region),
            clock=lambda: datetime.now(UTC).astimezone(),
            options=_options(
                speech_model, EyeChoice(pose_model, region, MarkerOptions("off")), no_camera
            ),
        )
        serve(lambda address: page_app(kit, address), bound_socket(port), opened)


@contextmanager
def _for_the_owner_alone() -> Iterator[None]:
    """Let nobody else read what is written meanwhile."""
    before = os.umask(0o077)
    try:
        yield
    finally:
        os.umask(before)


def _packs(chosen: str) -> tuple[Pack, ...]:
    first = load_pack(chosen)
    others = (load_pack(name) for name in shipped_packs() if name != first.name)
    return (first, *others)


def _options(speech_model: Path | None, eye: EyeChoice, no_camera: bool) -> dict[str, str | bool]:
    options: dict[str, str | bool] = {"camera": not no_camera, "live": True}
    if speech_model:
        options["speech_model"] = speech_model.name
    return options | eye.in_session()


def _check_folder(out: Path) -> None:
    """Find out now, not after a session, whether results can be written."""
    try:
        out.mkdir(parents=True, exist_ok=True)
        writable = os.access(out, os.W_OK | os.X_OK)
    except OSError as error:
        raise OutputError(
            f"Results cannot be written to {out}: {error.strerror or error}. Give another --out."
        ) from error
    if not writable:
        raise OutputError(f"Results cannot be written to {out}: no permission. Give another --out.")
