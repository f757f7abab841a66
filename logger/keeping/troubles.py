"""What SQLite says is wrong, as one sentence that says what to do."""

from __future__ import annotations

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from logger.core.errors import JournalError

_PRIMARY: Final = 0xFF
"""The low byte of an extended result code is the primary one (sqlite.org/rescode.html)."""
_SENTENCES: Final = {
    sqlite3.SQLITE_FULL: "{path} cannot grow, the disk is full; free some space and go on.",
    sqlite3.SQLITE_BUSY: "{path} is locked by another program; close that program and go on.",
    sqlite3.SQLITE_LOCKED: "{path} is locked by another program; close that program and go on.",
    sqlite3.SQLITE_READONLY: "{path} cannot be written; give yourself the right to write it.",
    sqlite3.SQLITE_PERM: "{path} cannot be written; give yourself the right to write it.",
    sqlite3.SQLITE_CANTOPEN: "{path} cannot be opened; check its folder and the right to write it.",
    sqlite3.SQLITE_CORRUPT: "{path} is damaged; move it away, or put a copy of it in its place.",
    sqlite3.SQLITE_NOTADB: "{path} is damaged or no journal; move it away or name another file.",
    sqlite3.SQLITE_IOERR: "{path} cannot be written, the disk fails or is full; check it.",
}


@contextmanager
def told(path: Path) -> Iterator[None]:
    """Turn every failure of the file or of SQLite into a `JournalError`."""
    try:
        yield
    except sqlite3.Error as error:
        code = getattr(error, "sqlite_errorcode", 0) & _PRIMARY
        sentence = _SENTENCES.get(code, "{path} cannot be used ({error}); name another file.")
        raise JournalError(sentence.format(path=path, error=error)) from error
    except OSError as error:
        full = error.errno in (errno.ENOSPC, errno.EFBIG, errno.EDQUOT)
        problem = "the disk is full" if full else error.strerror
        raise JournalError(f"{path} cannot be made or written: {problem}.") from error
