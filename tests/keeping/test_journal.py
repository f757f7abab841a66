"""The journal: what goes in comes out, and what is wrong with the file is said in one sentence."""

from __future__ import annotations

import os
import resource
import shutil
import sqlite3
import stat
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from filelock import FileLock
from hypothesis import given
from hypothesis import strategies as st

from logger.core.errors import JournalError
from logger.keeping.journal import Event, Journal, KeptPack
from logger.keeping.schema import APPLICATION_ID, MIGRATIONS

PACK = KeptPack("invented", 'title = "an invented pack"\n')
NOW = "2026-01-01T10:00:00+01:00"
BIG = Event("seen", 1, "x" * 100_000)


def begun(path: Path, session_id: str = "s1") -> Journal:
    """Return a journal with one session."""
    journal = Journal(path)
    journal.begin(session_id, NOW, "P7", PACK)
    return journal


TEXTS = st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=40)


@given(st.lists(st.lists(st.tuples(TEXTS, st.integers(1, 9), TEXTS), max_size=3), max_size=6))
def test_what_goes_in_comes_out_in_order(
    tmp_path_factory: pytest.TempPathFactory, batches: list[list[tuple[str, int, str]]]
) -> None:
    kept = [[Event(*event) for event in batch] for batch in batches]
    path = tmp_path_factory.mktemp("journal") / "journal.db"
    with Journal(path) as journal:
        journal.begin("s1", NOW, None, PACK)
        journal.begin("s2", NOW, None, PACK, Event("begun", 1, "{}"))
        for batch in kept:
            journal.append("s1", *batch)
    with Journal(path) as journal:
        assert list(journal.events("s1")) == [event for batch in kept for event in batch]
        assert [event.kind for event in journal.events("s2")] == ["begun"]
        assert journal.pack("s1") == PACK
    shutil.rmtree(path.parent)


def test_it_is_durable_and_written_ahead(tmp_path: Path) -> None:
    """In WAL mode a commit is synced only with FULL or EXTRA (sqlite.org/pragma.html)."""
    with begun(tmp_path / "journal.db") as journal:
        run = journal._connection.execute
        assert run("pragma journal_mode").fetchone() == ("wal",)
        assert run("pragma synchronous").fetchone() == (2,)


def test_another_reader_sees_what_was_appended_at_once(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    with begun(path) as journal:
        journal.append("s1", Event("said", 1, "{}"))
        with sqlite3.connect(path) as reader:
            assert reader.execute("select count(*) from events").fetchone() == (1,)
        reader.close()


@pytest.mark.skipif(os.name != "posix", reason="rights as POSIX has them")
def test_only_the_owner_can_read_it(tmp_path: Path) -> None:
    before = os.umask(0)
    try:
        path = tmp_path / "new" / "journal.db"
        with begun(path) as journal, journal.own("s1"):
            files = {p.name: stat.S_IMODE(p.stat().st_mode) for p in path.parent.rglob("*")}
    finally:
        os.umask(before)
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700
    assert files.pop("journal.db-locks") == 0o700
    assert set(files) >= {"journal.db", "journal.db-wal", "journal.db-shm", "s1.lock"}
    assert set(files.values()) == {0o600}


def test_sessions_are_listed_newest_first(tmp_path: Path) -> None:
    with begun(tmp_path / "journal.db") as journal:
        journal.begin("s2", "2026-01-02T10:00:00+01:00", None, PACK)
        journal.summarise("s1", rows=3, ended=True)
        with journal.own("s2"):
            second, first = journal.sessions()
        assert (second.session_id, second.patient_code, second.in_use) == ("s2", None, True)
        assert (first.rows, first.ended, first.patient_code, first.in_use) == (3, True, "P7", False)
        assert not any(session.in_use for session in journal.sessions())


def test_an_unknown_session_is_told(tmp_path: Path) -> None:
    with begun(tmp_path / "journal.db") as journal:
        with pytest.raises(JournalError, match="has no session s9"):
            journal.pack("s9")
        with pytest.raises(JournalError):
            journal.append("s9", BIG)
        with pytest.raises(JournalError, match="is no session's name"):
            journal.own("../s1")


def test_what_fails_is_not_kept_in_part(tmp_path: Path) -> None:
    with begun(tmp_path / "journal.db") as journal:
        with pytest.raises(JournalError):
            journal.append("s1", BIG, Event("said", "one", "{}"))  # type: ignore[arg-type]
        assert list(journal.events("s1")) == []
        journal.append("s1", BIG)
        assert list(journal.events("s1")) == [BIG]


def in_child(work: Callable[[], None]) -> str:
    """Run in a fork, whose limits and user may change; return the error's sentence or ""."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            work()
        except JournalError as error:
            os.write(writing, str(error).encode())
        except BaseException as error:  # noqa: BLE001 - told to the parent
            os.write(writing, f"not told: {error!r}".encode())
        finally:
            os._exit(0)
    os.close(writing)
    os.waitpid(child, 0)
    with os.fdopen(reading, "rb") as pipe:
        return pipe.read().decode()


@pytest.mark.skipif(sys.platform != "linux", reason="needs limits on a file's size")
def test_a_full_disk_is_told_and_loses_nothing(tmp_path: Path) -> None:
    """A limit on a file's size stands for the disk: the write fails with EFBIG."""
    path = tmp_path / "journal.db"
    begun(path).close()

    def fill() -> None:
        journal = Journal(path)
        resource.setrlimit(resource.RLIMIT_FSIZE, (600_000, 600_000))
        for _ in range(20):
            journal.append("s1", BIG)

    said = in_child(fill)
    assert str(path) in said
    assert "full" in said
    with Journal(path) as journal:
        kept = list(journal.events("s1"))
        assert 1 <= len(kept) < 20
        journal.append("s1", BIG)
        assert len(list(journal.events("s1"))) == len(kept) + 1


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs Linux")
def test_no_space_for_a_new_journal_is_told(tmp_path: Path) -> None:
    def begin() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))
        begun(tmp_path / "journal.db")

    assert "full" in in_child(begin)


def test_a_locked_file_is_told(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    begun(path).close()
    with sqlite3.connect(path, isolation_level=None) as other:
        other.execute("begin immediate")
        with Journal(path, busy_s=0.05) as journal, pytest.raises(JournalError, match="is locked"):
            journal.append("s1", BIG)
        other.execute("rollback")
    other.close()
    with Journal(path) as journal:
        journal.append("s1", BIG)


@pytest.mark.skipif(os.name != "posix", reason="rights as POSIX has them")
def test_a_file_without_the_right_to_write_is_told(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    begun(path).close()
    path.chmod(0o444)
    tmp_path.chmod(0o555)
    for parent in tmp_path.parents[:2]:
        parent.chmod(parent.stat().st_mode | 0o055)

    def append() -> None:
        if os.getuid() == 0:
            os.setuid(65534)
        Journal(path).append("s1", BIG)

    said = in_child(append)
    tmp_path.chmod(0o755)
    assert str(path) in said
    assert "right to write" in said


@pytest.mark.parametrize(
    "junk", [b"no database at all" * 100, b"", b"SQLite format 3\0" + b"x" * 90]
)
def test_a_file_that_is_no_database_is_told(tmp_path: Path, junk: bytes) -> None:
    path = tmp_path / "journal.db"
    path.write_bytes(junk)
    if not junk:
        begun(path).close()  # An empty file is a new journal.
        return
    with pytest.raises(JournalError, match="damaged or no journal"):
        Journal(path)


def test_a_damaged_page_is_told(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    with begun(path) as journal:
        for _ in range(50):
            journal.append("s1", Event("seen", 1, "y" * 3000))
    content = bytearray(path.read_bytes())
    content[8192:-4096] = b"\xff" * (len(content) - 12288)
    path.write_bytes(content)
    with pytest.raises(JournalError, match="damaged"), Journal(path) as journal:
        list(journal.events("s1"))


@pytest.mark.parametrize(
    "change",
    [
        "delete from events where number = 2",
        "update events set data = replace(data, '3', '4') where number = 3",
        "update events set number = 9 where number = 3",
        "delete from events where number = 1",
    ],
)
def test_an_event_that_was_lost_or_changed_is_found(tmp_path: Path, change: str) -> None:
    """Silently another value would be worse than none."""
    path = tmp_path / "journal.db"
    with begun(path) as journal:
        for number in range(1, 5):
            journal.append("s1", Event("said", 1, f'{{"pain": {number}}}'))
    with sqlite3.connect(path) as other:
        other.execute(change)
    other.close()
    with Journal(path) as journal, pytest.raises(JournalError, match="is whole only up to event"):
        list(journal.events("s1"))


def test_a_file_of_a_newer_version_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    begun(path).close()
    with sqlite3.connect(path) as other:
        other.execute(
            "insert into _sqlite_migrations (migration_set, name, applied_at)"
            " values ('journal', 'm999_from_the_future', 'tomorrow')"
        )
    other.close()
    with pytest.raises(JournalError, match="newer version"):
        Journal(path)


def test_another_programs_database_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "other.db"
    with sqlite3.connect(path) as other:
        other.execute("create table events (whatever)")
    other.close()
    before = path.read_bytes()
    with pytest.raises(JournalError, match="another program's"):
        Journal(path)
    assert path.read_bytes() == before


def test_migrations_are_recorded_and_run_once(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    begun(path).close()
    begun(path, "s2").close()
    with sqlite3.connect(path) as other:
        applied = other.execute("select migration_set, name from _sqlite_migrations").fetchall()
        (owner,) = other.execute("pragma application_id").fetchone()
    other.close()
    assert applied == [("journal", "m001_sessions_and_events")]
    assert owner == APPLICATION_ID
    assert MIGRATIONS.name == "journal"


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(JournalError, match="cannot be made"):
        Journal(tmp_path / "file" / "journal.db")


def test_a_session_belongs_to_one_process_until_it_dies(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    begun(path).close()
    ready_in, ready_out = os.pipe()
    child = os.fork()
    if child == 0:
        owned = Journal(path).own("s1")
        os.write(ready_out, b"1" if owned else b"0")
        threading.Event().wait(60)
        os._exit(0)
    os.read(ready_in, 1)
    with Journal(path) as journal:
        try:
            with pytest.raises(JournalError, match="open in another window"):
                journal.own("s1")
        finally:
            os.kill(child, 9)
            os.waitpid(child, 0)
        lock = journal.own("s1")
        assert isinstance(lock, FileLock)
        lock.release()
    os.close(ready_in)
    os.close(ready_out)


def test_two_threads_take_turns(tmp_path: Path) -> None:
    with begun(tmp_path / "journal.db") as journal:

        def keep() -> None:
            for _ in range(20):
                journal.append("s1", Event("k", 1, "{}"))

        threads = [threading.Thread(target=keep) for _ in range(4)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert len(list(journal.events("s1"))) == 80
