"""The command line: gathers the commands and turns a user's mistake into one sentence.

A command is imported when it is asked for: together they take seconds and 300 MB, most of it for
what only some of them need.
"""

from __future__ import annotations

from importlib import import_module
from typing import Final

import click

from logger.core.errors import SpokenFindingsError

_EXITS: Final = (
    "Exit codes: 0 done, 2 wrong use, 3 a recording cannot be read, 4 a mistake in a pack, "
    "5 a model is missing or broken, 6 results cannot be written, 7 earlier results cannot be used."
)
COMMANDS: Final = {
    "agreement": ("agreement", "Say how far raters agree on the same findings."),
    "bench": ("bench", "Measure the tool on material whose content is known."),
    "calibrate": (
        "markers",
        "Calibrate the camera from a recording of the board, for `read --calibration`.",
    ),
    "check": ("check", "Say what is installed and what is missing."),
    "compare": (
        "compare",
        "Show what changed between sessions of one patient, the earliest named first.",
    ),
    "demo": ("demo", "Read the demonstration session (a rendered body, synthetic voices)."),
    "export": ("export", "Write sessions in a form that other programs read."),
    "live": ("live", "Open the page of a live session in the browser; Ctrl+C ends it."),
    "markers": ("markers", "Make the sheet of marker strips to print, with instructions."),
    "read": ("read", "Read recordings into tables."),
    "report": (
        "report",
        "Write the report of a session that was read: report.html, and report.pdf with --pdf.",
    ),
    "review": ("review", "Look through the sessions in FOLDER in the browser; Ctrl+C ends it."),
    "say": ("say", "Print what can be said."),
    "setup": ("setup", "Show how the arm was held in a practice video; no speech is needed."),
    "table": ("export", "Print the table of an exported file as CSV."),
}
"""By its name, the module of each command and the first sentence of its help."""


class _Commands(click.Group):
    """Commands that are imported when they are asked for.

    A user's mistake is one sentence on the error channel and an exit code.
    """

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's
        """Return the names of the commands."""
        return sorted(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Return the command of this name, if there is one."""
        if cmd_name not in COMMANDS:
            return None
        module = import_module(f"logger.commands.{COMMANDS[cmd_name][0]}")
        command: click.Command = getattr(module, f"{cmd_name}_command")
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of the commands."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, COMMANDS[name][1]) for name in self.list_commands(ctx)])

    def invoke(self, ctx: click.Context) -> object:
        """Run a command."""
        try:
            return super().invoke(ctx)
        except SpokenFindingsError as error:
            click.echo(str(error), err=True)
            ctx.exit(error.exit_code)


@click.group(
    cls=_Commands, help="Spoken findings of shoulder accessory-movement tests.", epilog=_EXITS
)
@click.version_option(package_name="spoken-findings")
def main() -> None:
    """Gather the commands."""
