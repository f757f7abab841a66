"""`bench`: measurements that others can run, each a sub-command in a file of its own."""

from __future__ import annotations

import click

from logger.commands.bench_hearing import hearing_command, hearing_curves_command


@click.group("bench")
def bench_command() -> None:
    """Measure how well the tool does on this machine."""


for _command in (hearing_command, hearing_curves_command):
    bench_command.add_command(_command)
