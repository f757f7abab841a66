"""What the commands show: a progress bar, and a session's table that fits 80 columns."""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

import click
from rich.console import Console
from rich.progress import BarColumn, Progress, TaskID, TextColumn, TimeElapsedColumn

from logger import reading
from logger.core.events import Finding

COLUMNS: Final = 80
_INDENT: Final = " " * 11


@contextmanager
def progress_bar(name: str, quiet: bool) -> Iterator[reading.Progress]:
    """Give a function to be told the stage and the share done; shown only on a terminal."""
    bar = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TimeElapsedColumn(),
        console=Console(stderr=True),
        disable=quiet or not sys.stderr.isatty(),
        transient=True,
    )
    with bar:
        tasks: dict[str, TaskID] = {}

        def report(stage: str, done: float) -> None:
            if stage not in tasks:
                tasks[stage] = bar.add_task(f"{name}: {stage}", total=1.0)
            bar.update(tasks[stage], completed=min(done, 1.0))

        yield report


def show_session(session: reading.Session, folder: Path) -> None:
    """Print the table of one session and where its files are."""
    click.echo(f"{session.recording.path.name}: {len(session.merged.rows)} findings")
    for row in session.merged.rows:
        click.echo("\n".join(_lines(row)))
    for warning in session.warnings:
        click.echo(f"warning: {warning}")
    for utterance, reason in session.merged.unplaced:
        click.echo(f"not in the table, {utterance.start_s:.1f} s: {utterance.text!r} ({reason})")
    click.echo(f"files: {folder}")


def _lines(row: Finding) -> list[str]:
    what = " ".join(filter(None, (row.side or "side?", row.test or row.motion, row.mode)))
    details = {
        "range": None if row.range_deg is None else f"{row.range_deg} deg",
        "grade": row.grade,
        "mobility": row.mobility,
        "score": row.mobility_score,
        "pain": row.pain,
        "end feel": row.end_feel,
        "symptoms": row.symptoms,
        "note": row.note,
    }
    lines = [f"{row.start_s:7.1f} s  {what.replace('_', ' ')}  [{row.status.value}]"]
    said = ", ".join(f"{k} {v}" for k, v in details.items() if v is not None)
    if said:
        lines.append(wrapped(_INDENT, said))
    setup = row.setup
    angle = "" if setup.angle_deg is None else f"{setup.angle_deg:.0f} deg at {setup.at_s:.1f} s, "
    how = ", by markers" if setup.source == "markers" else ""
    lines.append(f"{_INDENT}setup: {angle}{setup.status.value.replace('_', ' ')}{how}")
    lines.extend(wrapped(_INDENT, reason) for reason in row.reasons)
    lines.extend(wrapped(_INDENT, f"caution: {caution}") for caution in row.cautions)
    return lines


def wrapped(start: str, text: str) -> str:
    """Return `text` after `start`, within the width of a plain terminal."""
    return textwrap.fill(text, COLUMNS, initial_indent=start, subsequent_indent=" " * len(start))
