"""The command line: gathers the commands and turns a user's mistake into one sentence."""

from __future__ import annotations

import sys
from typing import Final

import click

from logger.commands.bench import bench_command
from logger.commands.check import check_command
from logger.commands.demo import demo_command
from logger.commands.read import read_command
from logger.commands.say import say_command
from logger.core.errors import SpokenFindingsError

_EXITS: Final = (
    "\b\nExit codes: 0 done, 2 wrong use, 3 a recording cannot be read, 4 a mistake in a pack,\n"
    "5 a model is missing or broken, 6 results cannot be written."
)


@click.group(help="Spoken findings of shoulder accessory-movement tests.", epilog=_EXITS)
@click.version_option(package_name="spoken-findings")
def cli() -> None:
    """Gather the commands."""


for _command in (read_command, say_command, check_command, demo_command, bench_command):
    cli.add_command(_command)


def main() -> None:
    """Run the command line; a user's mistake is one sentence and an exit code."""
    try:
        cli()
    except SpokenFindingsError as error:
        click.echo(str(error), err=True)
        sys.exit(error.exit_code)
