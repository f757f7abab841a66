"""`export`: sessions in forms that other programs read; `table`: the table of such a file."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import click

from logger.commands.sessions import StoredSession, load_sessions, tell_failures
from logger.commands.showing import wrapped
from logger.core.clocks import clock_trouble
from logger.core.errors import OutputError, UsageError
from logger.exports.formats import FORMATS, differs, format_of, read_export
from logger.exports.sessions import exported
from logger.files.atomic import write_file
from logger.files.tables import csv_text


@click.command("export")
@click.argument("sessions", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--as",
    "format_name",
    required=True,
    type=click.Choice(list(FORMATS)),
    help="fhir is an HL7 FHIR R4 Bundle; text is a note to paste into any record.",
)
@click.option("--out", type=click.Path(path_type=Path), help="File to write, instead of printing.")
def export_command(sessions: Sequence[Path], format_name: str, out: Path | None) -> None:
    """Write sessions in a form that other programs read.

    SESSIONS are folders of `read`, or folders of such. Values changed in a review are exported as
    they stand now; what was heard before stays beside them.

    Example: spoken-findings export findings/monday --as fhir --out monday.fhir.json
    """
    made = FORMATS[format_name]
    if out is None and not made.for_eyes:
        raise UsageError(f"{format_name} cannot be printed: give a file with --out.")
    stored, failures = load_sessions(sessions)
    tell_failures(failures)
    if not stored:
        sys.exit(failures[0].exit_code)
    for session in stored:
        record = session.record
        if trouble := clock_trouble(record.facts, (*record.edits, *record.judgements)):
            click.echo(wrapped("warning: ", f"{session.folder}: {trouble}."), err=True)
    leaving = [
        exported(name, session.record)
        for name, session in zip(session_names(stored), stored, strict=True)
    ]
    content = made.write(leaving)
    if column := differs(leaving, made, content):
        raise OutputError(
            f"The {format_name} export does not read back the same in {column}: nothing is "
            "written. Export as json."
        )
    if out is None:
        click.echo(content.decode("utf-8"), nl=False)
    else:
        write_file(out, content)
        rows = sum(len(session.rows) for session in leaving)
        click.echo(f"{len(leaving)} sessions, {rows} findings: {out}")
    if failures:
        sys.exit(failures[0].exit_code)


def session_names(sessions: Sequence[StoredSession]) -> list[str]:
    """Return a name for each session: its folder's, with those above where two are the same."""
    for depth in range(1, max(len(session.folder.parts) for session in sessions) + 1):
        names = ["/".join(session.folder.parts[-depth:]) for session in sessions]
        if max(Counter(names).values()) == 1:
            break
    return names


@click.command("table")
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--as", "format_name", type=click.Choice(list(FORMATS)), help="Where the name does not tell."
)
def table_command(file: Path, format_name: str | None) -> None:
    """Print the table of an exported file as CSV.

    Example: spoken-findings table monday.fhir.json
    """
    made = FORMATS[format_name] if format_name else format_of(file)
    if made is None:
        raise UsageError(f"The name {file.name} tells no format: give it with --as.")
    click.echo(csv_text(read_export(file, made)), nl=False)
