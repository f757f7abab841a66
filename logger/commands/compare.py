"""`compare`: what changed from one session to the next."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import isfinite
from pathlib import Path
from typing import Final

import click

from logger.commands.report import pack_of, session_folder, write_bytes, write_text
from logger.commands.showing import COLUMNS, wrapped
from logger.core.errors import UsageError
from logger.files.stored import read_session
from logger.grammar.pack import pack_digest
from logger.report.changing import NUMBERS, Change
from logger.report.comparison import (
    Comparison,
    compare,
    comparison_report,
    course_text,
    difference_text,
    limits_text,
    slot_name,
    told_more_than_once,
    told_once,
    verdict_text,
)
from logger.report.course import course_picture
from logger.report.occasions import Occasion, require_comparable
from logger.report.wording import what_text

_ALSO: Final = {"range": "range_deg", "mobility": "mobility_score"}
_COURSE_WIDTH: Final = 24


def thresholds(
    _context: click.Context, _option: click.Parameter, given: Sequence[str]
) -> dict[str, float]:
    """Return the limits of --threshold by slot; refuse what is none."""
    found: dict[str, float] = {}
    for text in given:
        name, equals, number = text.partition("=")
        slot = _ALSO.get(name.strip(), name.strip())
        if not equals or slot not in NUMBERS:
            known = "range, mobility or pain"
            raise click.BadParameter(
                f"{text!r} is no limit: write NAME=NUMBER, NAME one of {known}."
            )
        try:
            value = float(number)
        except ValueError:
            value = 0.0
        if not (isfinite(value) and value > 0):
            raise click.BadParameter(f"{number!r} is no number above 0: write for example pain=2.")
        found[slot] = value
    return found


@click.command("compare")
@click.argument("sessions", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--threshold",
    "yours",
    multiple=True,
    metavar="NAME=NUMBER",
    callback=thresholds,
    help="Your own limit for range, mobility or pain; repeatable.",
)
@click.option("--pack", "pack_name", help="TOML file of the pack they were read with.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="Folder for comparison.html and course.svg.",
)
@click.option("--pdf", is_flag=True, help="With --out, also write comparison.pdf, on A4.")
def compare_command(
    sessions: Sequence[Path],
    yours: dict[str, float],
    pack_name: str | None,
    out: Path | None,
    pdf: bool,
) -> None:
    """Show what changed between sessions of one patient, the earliest named first.

    The change runs from the first session to the last. Each is held against the measurement error
    or the important difference of the pack, which are shown with their sources.

    Example: spoken-findings compare march/p014 may/p014 --threshold pain=2
    """
    if pdf and out is None:
        raise UsageError("--pdf needs a folder: give one with --out.")
    folders = [session_folder(path) for path in sessions]
    _require_different(folders)
    records = [read_session(folder) for folder in folders]
    occasions = [
        Occasion(name, record) for name, record in zip(_names(folders), records, strict=True)
    ]
    require_comparable(occasions)
    pack = pack_of(records[0], folders[0], pack_name)
    comparison = compare(occasions, pack, pack_digest(pack), yours)
    for line in _shown(comparison):
        click.echo(line)
    if out is not None:
        _write(comparison, out, pdf=pdf)


def _require_different(folders: Sequence[Path]) -> None:
    real = [folder.resolve() for folder in folders]
    for folder, place in zip(folders, real, strict=True):
        if real.count(place) > 1:
            raise UsageError(f"{folder} is named twice: name two different sessions.")


def _names(folders: Sequence[Path]) -> list[str]:
    """Return the folders' own names, with those above where they would be the same."""
    names = [folder.resolve().name for folder in folders]
    return [
        name if names.count(name) == 1 else str(folder)
        for name, folder in zip(names, folders, strict=True)
    ]


def _write(comparison: Comparison, out: Path, *, pdf: bool) -> None:
    # Typst and Jinja take time to import, which no other command should pay.
    from logger.report.page import html_page  # noqa: PLC0415

    document = comparison_report(comparison)
    svg = course_picture(comparison.changes, comparison.occasions, comparison.pack)
    write_text(out, "comparison.html", html_page(document))
    write_text(out, "course.svg", f'<?xml version="1.0" encoding="UTF-8"?>\n{svg}\n')
    if pdf:
        from logger.report.paper import pdf_pages  # noqa: PLC0415

        write_bytes(out, "comparison.pdf", pdf_pages(document))
    click.echo(f"files: {out}")


def _shown(comparison: Comparison) -> Iterator[str]:
    for number, occasion in enumerate(comparison.occasions, start=1):
        yield f"{number}  {occasion.label}  {occasion.name}"
    for warning in comparison.warnings:
        yield wrapped("warning: ", warning)
    if not comparison.changes:
        yield "Nothing was tested in these sessions."
    last = None
    for change in told_more_than_once(comparison):
        if change.what != last:
            yield f"\n{what_text(change.what)}"
        last = change.what
        yield _line(change)
    yield ""
    once = "; ".join(told_once(comparison))
    if once:
        yield wrapped("in one session only: ", once)
    yield "The change runs from the first session to the last. ? is to be checked."
    for limit in limits_text(comparison):
        yield wrapped("limit: ", limit)


def _line(change: Change) -> str:
    course, name = course_text(change), f"  {slot_name(change.slot):<15}"
    told = f"{difference_text(change):>6}  {verdict_text(change)}".rstrip()
    line = f"{name}{course:<{_COURSE_WIDTH}} {told}"
    if len(course) <= _COURSE_WIDTH and len(line) <= COLUMNS:
        return line
    return f"{wrapped(name, course)}\n{wrapped(' ' * len(name), told.strip())}"
