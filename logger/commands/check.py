"""`check`: what is installed, what is missing."""

from __future__ import annotations

import sys
from importlib.metadata import version

import click

from logger.core.errors import SpokenFindingsError
from logger.grammar.loading import load_pack
from logger.hearing.moonshine import packaged_model_folder, room_encoder
from logger.seeing.bundle import pose_bundle


@click.command("check")
def check_command() -> None:
    """Say what is installed and what is missing."""
    click.echo(f"spoken-findings {version('spoken-findings')}, Python {sys.version.split()[0]}")
    for label, find in (
        ("speech model (moonshine)", packaged_model_folder),
        ("its taught encoder", room_encoder),
        ("pose model", pose_bundle),
        ("pack glenohumeral", lambda: load_pack("glenohumeral").title),
    ):
        try:
            click.echo(f"found    {label}: {find()}")
        except SpokenFindingsError as error:
            click.echo(f"missing  {label}: {error}")
    click.echo("vosk     optional: read --engine vosk [--speech-model DIR]")
