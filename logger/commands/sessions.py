"""Saved sessions for the commands that work on many of them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import click

from logger.commands.showing import wrapped
from logger.core.errors import SessionError, UsageError
from logger.files.session_json import SessionRecord
from logger.files.stored import find_sessions, read_session
from logger.grammar.loading import load_pack
from logger.grammar.pack import Pack, pack_digest


@dataclass(frozen=True, slots=True)
class StoredSession:
    """A saved session and where it is."""

    folder: Path
    record: SessionRecord


def load_sessions(folders: Iterable[Path]) -> tuple[list[StoredSession], list[SessionError]]:
    """Return the sessions at or below the folders, each once, and what is wrong with the others.

    Raises:
        SessionError: if a folder is none, or holds no session at all.

    """
    found: dict[Path, Path] = {}
    for folder in folders:
        below = find_sessions(folder)
        if not below:
            raise SessionError(f"There is no session in {folder}: give a folder of `read`.")
        for path in below:
            found.setdefault(path.resolve(), path)
    sessions, failures = [], []
    for path in found.values():
        try:
            sessions.append(StoredSession(path, read_session(path)))
        except SessionError as error:
            failures.append(error)
    return sessions, failures


def of_one_pack(
    sessions: Sequence[StoredSession], pack_name: str | None
) -> tuple[list[StoredSession], Pack, list[str]]:
    """Return the sessions of one pack, the pack, and what to know about it.

    Raises:
        UsageError: if there are sessions of several packs and none was chosen, or none of it.
        PackError: if the pack cannot be loaded.

    """
    names = sorted({session.record.pack.name for session in sessions})
    if pack_name is None and len(names) > 1:
        raise UsageError(
            f"The sessions are of the packs {', '.join(names)}, which cannot be compared: "
            "choose one with --pack."
        )
    pack = load_pack(pack_name or names[0])
    chosen = [session for session in sessions if session.record.pack.name == pack.name]
    if not chosen:
        raise UsageError(f"No session is of the pack {pack.name}: there are {', '.join(names)}.")
    notes = []
    if left := len(sessions) - len(chosen):
        notes.append(f"{left} sessions of other packs are left out")
    digest = pack_digest(pack)
    other = sum(session.record.pack.version != digest for session in chosen)
    if other:
        notes.append(
            f"{other} of {len(chosen)} sessions were read with another version of the pack "
            f"{pack.name}: values that it does not have are not counted"
        )
    return chosen, pack, notes


def tell_failures(failures: Sequence[SessionError]) -> None:
    """Print what is wrong with sessions that were left out, on the error channel."""
    for failure in failures:
        click.echo(wrapped("left out: ", str(failure)), err=True)
