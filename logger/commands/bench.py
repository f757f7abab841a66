"""`bench`: what the tool gets right, and what it costs."""

from __future__ import annotations

import click

from logger.commands.bench_seeing import seeing


@click.group("bench")
def bench_command() -> None:
    """Measure the tool on recordings whose content is known."""


bench_command.add_command(seeing)
