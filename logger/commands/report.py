"""`report`: one session as a page, and on paper."""

from __future__ import annotations

from pathlib import Path

import click

from logger.commands.showing import wrapped
from logger.core.errors import OutputError, PackError, UsageError
from logger.core.events import SIDES, Side
from logger.files.atomic import add_file
from logger.files.session_json import SessionRecord
from logger.files.stored import ANGLES, SESSION, find_sessions, read_angles, read_session
from logger.grammar.loading import load_pack, shipped_packs
from logger.grammar.pack import Pack, pack_digest


@click.command("report")
@click.argument("session", type=click.Path(path_type=Path))
@click.option("--pdf", is_flag=True, help="Also write report.pdf, on A4.")
@click.option("--out", type=click.Path(path_type=Path), help="Another folder than the session's.")
@click.option("--pack", "pack_name", help="TOML file of the pack it was read with.")
@click.option(
    "--involved-side",
    type=click.Choice(SIDES),
    help="The side complained of, where the session does not say.",
)
def report_command(
    session: Path, pdf: bool, out: Path | None, pack_name: str | None, involved_side: Side | None
) -> None:
    """Write the report of a session that was read: report.html, and report.pdf with --pdf.

    SESSION is the folder that `read` wrote for one recording. The page needs no network and holds
    everything in one file.

    Example: spoken-findings report findings/monday --pdf
    """
    folder = session_folder(session)
    record = read_session(folder)
    pack = pack_of(record, folder, pack_name)
    said = record.facts.involved_side
    if involved_side and said and involved_side != said:
        raise UsageError(
            f"The session says that the {said} side is involved: leave --involved-side out, or "
            "correct the session."
        )
    # Typst and Jinja take time to import, which no other command should pay.
    from logger.report.page import html_page  # noqa: PLC0415
    from logger.report.session_report import Material, session_report  # noqa: PLC0415

    angles = read_angles(folder) if (folder / ANGLES).is_file() else ()
    document = session_report(Material(record, pack, pack_digest(pack), angles, involved_side))
    target = out or folder
    write_text(target, "report.html", html_page(document))
    if pdf:
        from logger.report.paper import pdf_pages  # noqa: PLC0415

        write_bytes(target, "report.pdf", pdf_pages(document))
    for notice in document.notices:
        click.echo(wrapped("note: ", notice))
    click.echo(f"files: {target / 'report.html'}{' and report.pdf' if pdf else ''}")


def session_folder(path: Path) -> Path:
    """Return the folder of the one session that `path` leads to.

    Raises:
        UsageError: if there are several sessions in it.
        SessionError: if it is no folder.

    """
    if path.name == SESSION and path.is_file():
        return path.parent
    found = find_sessions(path)
    if len(found) > 1:
        names = ", ".join(str(one.relative_to(path)) for one in found[:5])
        more = f" and {len(found) - 5} more" if len(found) > 5 else ""  # noqa: PLR2004 - as above
        raise UsageError(f"{path} holds {len(found)} sessions ({names}{more}): name one of them.")
    return found[0] if found else path


def pack_of(record: SessionRecord, folder: Path, pack_name: str | None) -> Pack:
    """Return the pack that a session was read with, or the one named in its place.

    Raises:
        PackError: if it does not come with the program and none is named, or another is named.

    """
    name = record.pack.name
    if pack_name is None and name not in shipped_packs():
        raise PackError(
            f"{folder} was read with the pack {name}, which does not come with the program: give "
            "its file with --pack."
        )
    pack = load_pack(pack_name or name)
    if pack.name != name:
        raise PackError(f"{folder} was read with the pack {name}, not {pack.name}: give that one.")
    return pack


def write_text(folder: Path, name: str, text: str) -> None:
    """Write a file of UTF-8 with line feeds on every system, whole or not at all."""
    write_bytes(folder, name, text.encode("utf-8"))


def write_bytes(folder: Path, name: str, content: bytes) -> None:
    """Write a file into a folder, which is made where it is missing.

    Raises:
        OutputError: if that cannot be done.

    """

    def write(path: Path) -> None:
        path.write_bytes(content)

    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        why = error.strerror or str(error)
        raise OutputError(f"{folder} cannot be made: {why}. Give another --out.") from error
    add_file(folder, name, write)
