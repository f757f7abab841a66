"""The command line: gathers the commands and turns a user's mistake into one sentence."""

from __future__ import annotations

from typing import Final

import click

from logger.commands.agreement import agreement_command
from logger.commands.bench import bench_command
from logger.commands.check import check_command
from logger.commands.compare import compare_command
from logger.commands.demo import demo_command
from logger.commands.export import export_command, table_command
from logger.commands.live import live_command
from logger.commands.markers import calibrate_command, markers_command
from logger.commands.read import read_command
from logger.commands.report import report_command
from logger.commands.review import review_command
from logger.commands.say import say_command
from logger.commands.setup import setup_command
from logger.core.errors import SpokenFindingsError

_EXITS: Final = (
    "\b\nExit codes: 0 done, 2 wrong use, 3 a recording cannot be read, 4 a mistake in a pack,\n"
    "5 a model is missing or broken, 6 results cannot be written, 7 earlier results cannot be used."
)


class _OneSentence(click.Group):
    """A user's mistake is one sentence on the error channel and an exit code."""

    def invoke(self, ctx: click.Context) -> object:
        """Run a command."""
        try:
            return super().invoke(ctx)
        except SpokenFindingsError as error:
            click.echo(str(error), err=True)
            ctx.exit(error.exit_code)


@click.group(
    cls=_OneSentence, help="Spoken findings of shoulder accessory-movement tests.", epilog=_EXITS
)
@click.version_option(package_name="spoken-findings")
def main() -> None:
    """Gather the commands."""


for _command in (
    read_command,
    live_command,
    review_command,
    setup_command,
    report_command,
    compare_command,
    say_command,
    markers_command,
    calibrate_command,
    agreement_command,
    export_command,
    table_command,
    check_command,
    demo_command,
    bench_command,
):
    main.add_command(_command)
