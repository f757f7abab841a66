"""`say`: what can be said, printed from the pack."""

from __future__ import annotations

import click

from logger.grammar.listing import what_can_be_said
from logger.grammar.loading import load_pack


@click.command("say")
@click.option("--pack", "pack_name", default="glenohumeral", help="Pack name or TOML file.")
def say_command(pack_name: str) -> None:
    """Print what can be said."""
    click.echo(what_can_be_said(load_pack(pack_name)))
