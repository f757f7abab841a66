"""A process that keeps events until it is killed, and prints each one that was acknowledged.

Run as a script: `python writer.py JOURNAL`, it loads what it needs once, then for each line
"SESSION" that it reads forks a child that appends to that session without end. A fork shares
nothing of SQLite: the parent never opens a journal.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

from logger.keeping.journal import Event, Journal


def write_for_ever(path: Path, session_id: str, out: int) -> None:
    """Append two events at a time, as an utterance goes in with the angles before it."""
    journal = Journal(path)
    last = sum(1 for _ in journal.events(session_id))
    while True:
        first = Event("seen", 1, f'{{"number": {last + 1}, "angles": "{"x" * (last % 700)}"}}')
        journal.append(session_id, first, Event("said", 1, f'{{"number": {last + 2}}}'))
        last += 2
        os.write(out, f"{last}\n".encode())


def serve(path: Path) -> None:
    """Fork a writer for each line of input, and print its process id before it writes."""
    for line in sys.stdin:
        child = os.fork()
        if child == 0:
            os.write(1, f"pid {os.getpid()}\n".encode())
            try:
                write_for_ever(path, line.strip(), 1)
            finally:
                os._exit(1)
        _, status = os.waitpid(child, 0)
        os.write(1, f"gone {status}\n".encode())


if __name__ == "__main__":
    serve(Path(sys.argv[1]))
