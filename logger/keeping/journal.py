"""The journal: every session's events in one SQLite file.

What `append` has returned from is on the disk: it is in the write-ahead log, which was synced
(`synchronous=FULL`), so that it outlives a killed process and a lost power. An event is text under
a kind and a version, which its owner gives a meaning; each is chained to the one before by a
digest, so that a lost, doubled or changed event is found when a session is read.
"""

from __future__ import annotations

import os
import re
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from hashlib import blake2b
from pathlib import Path
from types import TracebackType
from typing import Final, Self

from filelock import FileLock, Timeout
from sqlite_utils import Database

from logger.core.errors import JournalError
from logger.keeping.schema import APPLICATION_ID, MIGRATIONS, is_newer
from logger.keeping.troubles import told

_ID: Final = re.compile(r"[A-Za-z0-9-]{1,64}")


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened in a session."""

    kind: str
    version: int
    """Of the kind's format."""
    data: str
    """JSON."""


@dataclass(frozen=True, slots=True)
class KeptPack:
    """The pack that a session was begun with: a later change to the file leaves it as it was."""

    name: str
    text: str
    """The pack file's whole text."""


@dataclass(frozen=True, slots=True)
class SessionSummary:
    """One session of the list."""

    session_id: str
    started_at: str
    """RFC 3339 with its offset from UTC."""
    patient_code: str | None
    rows: int
    ended: bool
    in_use: bool
    """Whether a process has it open."""


class Journal:
    """One journal file; may be used from several threads, one at a time."""

    def __init__(self, path: Path, busy_s: float = 5.0) -> None:
        """Open the journal at `path`, made with its folder if need be, readable by its owner only.

        Args:
            path: the file; two others beside it begin with its name.
            busy_s: how long to wait while another process writes.

        Raises:
            JournalError: if it cannot be used; one sentence says why and what to do.

        """
        self.path = path
        self._turn = threading.RLock()
        with told(path):
            _make(path)
            self._connection = sqlite3.connect(
                path, timeout=busy_s, isolation_level=None, check_same_thread=False
            )
        try:
            self._prepare()
        except JournalError:
            self._connection.close()
            raise

    def begin(
        self,
        session_id: str,
        started_at: str,
        patient_code: str | None,
        pack: KeptPack,
        *events: Event,
    ) -> None:
        """Keep a new session with its first events.

        Raises:
            JournalError: if it cannot be kept; nothing of it is.

        """
        with self._writing():
            self._connection.execute(
                "insert into sessions (id, started_at, patient_code, pack_name, pack_text)"
                " values (?, ?, ?, ?, ?)",
                (_checked(session_id), started_at, patient_code, pack.name, pack.text),
            )
            self._add(session_id, events)

    def append(self, session_id: str, *events: Event) -> None:
        """Keep events, all or none; they are on the disk when this returns.

        Raises:
            JournalError: if they cannot be kept; none of them is.

        """
        with self._writing():
            self._add(session_id, events)

    def summarise(self, session_id: str, *, rows: int, ended: bool) -> None:
        """Keep what the list of sessions shows of this one."""
        with self._writing():
            self._connection.execute(
                "update sessions set rows = ?, ended = ? where id = ?", (rows, ended, session_id)
            )

    def sessions(self) -> tuple[SessionSummary, ...]:
        """Return every session, the newest first."""
        query = (
            "select id, started_at, patient_code, rows, ended from sessions"
            " order by started_at desc, id desc"
        )
        with self._turn, told(self.path):
            found = self._connection.execute(query).fetchall()
        return tuple(
            SessionSummary(each, at, code, rows, bool(ended), self._in_use(each))
            for each, at, code, rows, ended in found
        )

    def pack(self, session_id: str) -> KeptPack:
        """Return the pack of a session.

        Raises:
            JournalError: if there is no such session.

        """
        query = "select pack_name, pack_text from sessions where id = ?"
        with self._turn, told(self.path):
            found = self._connection.execute(query, (session_id,)).fetchone()
        if found is None:
            raise JournalError(f"{self.path} has no session {session_id}; choose one that it has.")
        return KeptPack(*found)

    def events(self, session_id: str) -> Iterator[Event]:
        """Yield the events of a session in order.

        Raises:
            JournalError: if one is missing, doubled or changed.

        """
        query = (
            "select number, kind, version, data, digest from events where session_id = ?"
            " order by number"
        )
        with self._turn, told(self.path):
            found = self._connection.execute(query, (session_id,)).fetchall()
        last = ""
        for expected, (number, kind, version, data, digest) in enumerate(found, start=1):
            event = Event(kind, version, data)
            if number != expected or digest != _digest(last, event):
                raise JournalError(
                    f"{self.path} is damaged: session {session_id} is whole only up to event "
                    f"{expected - 1}; put a copy of the file in its place."
                )
            yield event
            last = digest

    def own(self, session_id: str) -> FileLock:
        """Take a session for this process alone; releasing the lock, or dying, lets go of it.

        Raises:
            JournalError: if another process has it.

        """
        path = self._lock_path(session_id)
        lock = _file_lock(path)
        with told(path):
            path.parent.mkdir(mode=0o700, exist_ok=True)
            try:
                lock.acquire()
            except Timeout:
                raise JournalError(
                    f"Session {session_id} is open in another window or program; go on there, "
                    "or close it first."
                ) from None
        return lock

    def close(self) -> None:
        """Close the file."""
        with self._turn:
            self._connection.close()

    def __enter__(self) -> Self:
        """Return itself."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close the file."""
        self.close()

    def _prepare(self) -> None:
        with told(self.path):
            run = self._connection.execute
            (owner,) = run("pragma application_id").fetchone()
            (tables,) = run("select count(*) from sqlite_master").fetchone()
            if tables and owner != APPLICATION_ID:
                raise JournalError(f"{self.path} is another program's file; name another one.")
            database = Database(self._connection, execute_plugins=False)
            if is_newer(database):
                raise JournalError(
                    f"{self.path} was written by a newer version of this program; update it."
                )
            run("pragma journal_mode = wal")
            run("pragma synchronous = full")
            run("pragma foreign_keys = on")
            if not tables:
                run(f"pragma application_id = {APPLICATION_ID}")
            if MIGRATIONS.pending(database):
                MIGRATIONS.apply(database)

    @contextmanager
    def _writing(self) -> Iterator[None]:
        with self._turn, told(self.path):
            # At once for writing: a transaction that only later asks to write may be refused.
            self._connection.execute("begin immediate")
            try:
                yield
                self._connection.execute("commit")
            except BaseException:
                if self._connection.in_transaction:
                    self._connection.execute("rollback")
                raise

    def _add(self, session_id: str, events: tuple[Event, ...]) -> None:
        query = (
            "select number, digest from events where session_id = ? order by number desc limit 1"
        )
        number, last = self._connection.execute(query, (session_id,)).fetchone() or (0, "")
        for event in events:
            number, last = number + 1, _digest(last, event)
            self._connection.execute(
                "insert into events values (?, ?, ?, ?, ?, ?)",
                (session_id, number, event.kind, event.version, event.data, last),
            )

    def _lock_path(self, session_id: str) -> Path:
        folder = self.path.parent / f"{self.path.name}-locks"
        return folder / f"{_checked(session_id)}.lock"

    def _in_use(self, session_id: str) -> bool:
        path = self._lock_path(session_id)
        if not path.exists():
            return False
        lock = _file_lock(path)
        try:
            lock.acquire()
        except Timeout:
            return True
        except OSError:
            return False
        lock.release()
        return False


def _file_lock(path: Path) -> FileLock:
    # Not bound to a thread: a session may be let go of by another one than opened it.
    return FileLock(path, timeout=0, mode=0o600, thread_local=False)


def _checked(session_id: str) -> str:
    if not _ID.fullmatch(session_id):
        raise JournalError(f"{session_id!r} is no session's name; choose one of the list.")
    return session_id


def _digest(last: str, event: Event) -> str:
    text = "\0".join((last, event.kind, str(event.version), event.data))
    return blake2b(text.encode(), digest_size=16).hexdigest()


def _make(path: Path) -> None:
    """Make the file with its folder; SQLite gives the files beside it the same rights."""
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    if path.exists():
        return
    os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))
    if os.name == "posix":
        folder = os.open(path.parent, os.O_RDONLY)
        os.fsync(folder)
        os.close(folder)
