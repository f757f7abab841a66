"""`demo`: the demonstration session, with the cautions."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import Final

import click

from logger.commands.read_job import ReadJob
from logger.commands.showing import COLUMNS, wrapped
from logger.grammar.loading import load_pack
from logger.hearing.engines import open_recogniser

SAFETY: Final = (
    "This is a record-keeping aid and no medical device. It grades nothing itself: it writes down "
    "what the clinician says. Hands-on testing can hurt: local rules and the licensed clinician "
    "decide whether and how to test."
)


@click.command("demo")
@click.option(
    "--out", default="findings", type=click.Path(path_type=Path), help="Folder of results."
)
def demo_command(out: Path) -> None:
    """Read the demonstration session (a rendered body, synthetic voices)."""
    pack = load_pack("glenohumeral")
    recogniser = open_recogniser("moonshine", pack)
    ReadJob(pack, recogniser, out).run(_demo_media() / "session.mp4")
    click.echo("\nWhen not to test, or to take care:")
    for caution in pack.cautions:
        click.echo(wrapped(f"  {caution.urgency:<11}  ", caution.text))
    click.echo(f"\n{textwrap.fill(SAFETY, COLUMNS)}")


def _demo_media() -> Path:
    packaged = Path(__file__).parent.with_name("_demo_media")
    return packaged if packaged.is_dir() else Path(__file__).parent.parent.parent / "demo_media"
