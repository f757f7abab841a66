"""A writer killed at random moments: every acknowledged event is there, and none twice."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from logger.keeping.journal import Journal, KeptPack

if sys.platform == "win32":
    pytest.skip("SIGKILL and fork are POSIX", allow_module_level=True)

WRITER = Path(__file__).parent / "writer.py"
PACK = KeptPack("invented", "")


@contextmanager
def writers(path: Path) -> Iterator[subprocess.Popen[bytes]]:
    """Start the process that forks writers."""
    with subprocess.Popen(  # noqa: S603 - our own script
        [sys.executable, str(WRITER), str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as process:
        yield process
        process.stdin.close()  # type: ignore[union-attr]


def killed(process: subprocess.Popen[bytes], session_id: str, lines: int, after_s: float) -> int:
    """Kill a writer some time after so many lines; return the last event it acknowledged.

    Lines and not seconds alone: on a busy machine a writer may take long to begin.
    """
    assert process.stdin
    assert process.stdout
    process.stdin.write(f"{session_id}\n".encode())
    process.stdin.flush()
    pid = int(process.stdout.readline().split()[1])
    last = 0
    for _ in range(lines):
        last = int(process.stdout.readline())
    time.sleep(after_s)
    os.kill(pid, signal.SIGKILL)
    for line in process.stdout:
        if line.startswith(b"gone"):
            assert int(line.split()[1]) == signal.SIGKILL, "it ended by itself"
            break
        # A line cut short by the kill is no acknowledgement.
        last = int(line) if line.endswith(b"\n") else last
    return last


def survive(path: Path, kills: int, seed: int) -> dict[str, int]:
    """Kill so many writers; after each, read the journal as a new process would."""
    rng = random.Random(seed)
    sessions = [f"s{i}" for i in range(3)]
    with Journal(path) as journal:
        for session_id in sessions:
            journal.begin(session_id, "2026-01-01T00:00:00+00:00", None, PACK)
    told = {"kills": 0, "events": 0, "kills_before_the_first_event": 0, "unacknowledged": 0}
    counts = dict.fromkeys(sessions, 0)
    with writers(path) as process:
        for _ in range(kills):
            session_id = rng.choice(sessions)
            acknowledged = killed(process, session_id, rng.randint(0, 8), rng.uniform(0.0, 0.012))
            with Journal(path) as journal:
                events = list(journal.events(session_id))
            numbers = [json.loads(event.data)["number"] for event in events]
            assert numbers == list(range(1, len(events) + 1)), "one is missing or doubled"
            assert len(events) >= max(acknowledged, counts[session_id]), "one was lost"
            assert len(events) % 2 == 0, "half of a transaction was kept"
            told["kills"] += 1
            told["kills_before_the_first_event"] += acknowledged == 0
            told["unacknowledged"] += acknowledged != 0 and len(events) > acknowledged
            counts[session_id] = len(events)
    told["events"] = sum(counts.values())
    return told


def test_no_kill_loses_an_acknowledged_event(tmp_path: Path) -> None:
    told = survive(tmp_path / "journal.db", kills=20, seed=1)
    assert told["kills"] == 20
    assert told["events"] > 40


@pytest.mark.slow
@pytest.mark.timeout(1800)
def test_no_kill_of_a_thousand_loses_an_acknowledged_event(tmp_path: Path) -> None:
    told = survive(tmp_path / "journal.db", kills=1000, seed=2)
    assert told["kills"] == 1000
