"""`bench`: measurements that others can run, each a sub-command in a file of its own."""

from __future__ import annotations

import click

from logger.commands.bench_hearing import hearing_command, hearing_curves_command
from logger.commands.bench_seeing import seeing


@click.group("bench")
def bench_command() -> None:
    """Measure the tool on material whose content is known."""


for _command in (hearing_command, hearing_curves_command, seeing):
    bench_command.add_command(_command)
