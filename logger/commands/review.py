"""`review`: recorded practice sessions in the browser, for an educator."""

from __future__ import annotations

import webbrowser
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

import click

from logger.commands.showing import wrapped
from logger.core.errors import UsageError
from logger.files.stored import find_sessions
from logger.grammar.loading import load_pack
from logger.page.reviewing.app import Desk, review_app
from logger.page.serving import bound_socket, serve
from logger.review.criteria import SHIPPED
from logger.review.store import Reviewer, ReviewFolder

DEFAULT_PORT: Final = 8738
_LONGEST_CODE: Final = 40


@click.command("review")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--reviewer", required=True, help="Your code, kept with each change; not your name.")
@click.option(
    "--recordings",
    multiple=True,
    type=click.Path(path_type=Path),
    help="Folder with the recordings, if they are not beside the results; may be repeated.",
)
@click.option(
    "--sheet", default=SHIPPED, show_default=True, help="Session sheet: a TOML file of your own."
)
@click.option(
    "--port",
    default=DEFAULT_PORT,
    show_default=True,
    type=click.IntRange(0, 65535),
    help="Where the page is served on this machine; 0 takes any that is free.",
)
@click.option("--no-browser", is_flag=True, help="Only print the address.")
def review_command(
    folder: Path,
    reviewer: str,
    recordings: tuple[Path, ...],
    sheet: str,
    port: int,
    no_browser: bool,
) -> None:
    """Look through the sessions in FOLDER in the browser; Ctrl+C ends it.

    FOLDER holds results of `read`. Corrections and judgements are kept in them, beside what was
    heard. Everything stays on this machine.

    Example: spoken-findings review findings --reviewer tutor-1 --recordings videos
    """
    if not reviewer.strip() or len(reviewer) > _LONGEST_CODE or not reviewer.isprintable():
        raise UsageError(f"--reviewer needs a code of 1 to {_LONGEST_CODE} characters.")
    missing = next((place for place in recordings if not place.is_dir()), None)
    if missing is not None:
        raise UsageError(f"--recordings: {missing} is no folder; give the folder they are in.")
    count = len(find_sessions(folder))
    if not count:
        raise UsageError(f"{folder} holds no session: give a folder of results of `read`.")
    by = Reviewer(reviewer.strip(), lambda: datetime.now(UTC).astimezone())
    desk = Desk(ReviewFolder(folder, load_pack), by, sheet, recordings)

    def opened(url: str) -> None:
        click.echo(wrapped("", f"{count} sessions. The page: {url}"))
        click.echo("Ctrl+C ends it.")
        if not no_browser and not webbrowser.open(url):
            click.echo("No browser could be opened: open the address yourself.", err=True)

    serve(lambda address: review_app(desk, address), bound_socket(port), opened)
