"""The same work here, in processes and on a cluster; and kills in the middle."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

import pandas as pd
import pytest
from work import WANTED, read, write

from logger.batch import pools
from logger.batch.planning import find_recordings, plan
from logger.batch.pools import run_here, run_in_processes, run_on_cluster
from logger.batch.tasks import Outcome, Task
from logger.core.errors import UsageError
from logger.files.stored import find_sessions, read_session

COUNT = 200


def planned(folder: Path) -> list[Task]:
    return plan(find_recordings([folder / "in"], folder / "out"), WANTED).tasks


def tables(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_processes_give_the_same_files_as_one(tmp_path: Path) -> None:
    write(tmp_path / "in", {f"{i}.mp4": f"{i % 3} number {i}" for i in range(12)})
    tasks = planned(tmp_path)
    list(run_here(tasks, read))
    here = tables(tmp_path / "out")
    (tmp_path / "out").rename(tmp_path / "one process")
    outcomes = list(run_in_processes(tasks, read, 2))
    assert Counter(o.task for o in outcomes) == Counter(tasks)
    assert tables(tmp_path / "out") == here
    assert {o.task.recording.name: o.findings for o in outcomes} == {
        f"{i}.mp4": i % 3 for i in range(12)
    }


def test_process_that_dies_takes_no_other_recording_with_it(tmp_path: Path) -> None:
    texts = {f"{i:02}.mp4": f"1 number {i}" for i in range(8)}
    write(tmp_path / "in", {**texts, "03.mp4": "kill", "05.mp4": "fail"})
    outcomes = list(run_in_processes(planned(tmp_path), read, 2))
    failed = {o.task.recording.name: o.sentence for o in outcomes if o.sentence}
    assert len(outcomes) == 8
    assert sorted(failed) == ["03.mp4", "05.mp4"]
    assert "was ended, perhaps for want of memory" in failed["03.mp4"]
    assert len(find_sessions(tmp_path / "out")) == 6


def test_nothing_to_do_starts_nothing() -> None:
    assert list(run_in_processes([], read, 2)) == []


DRIVER = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
if __name__ == "__main__":
    from test_pools import planned
    from work import read
    from logger.batch.pools import run_in_processes
    for outcome in run_in_processes(planned(Path(sys.argv[2])), read, 2):
        print(outcome.task.recording.name, outcome.sentence, flush=True)
"""


def drive(folder: Path) -> subprocess.Popen[str]:
    """Start a program of its own that reads what is left; it has a group of its own too."""
    script = folder / "driver.py"
    script.write_text(DRIVER, encoding="utf-8")
    return subprocess.Popen(  # noqa: S603 - our own interpreter and script
        [sys.executable, str(script), str(Path(__file__).parent), str(folder)],
        stdout=subprocess.PIPE,
        text=True,
    )


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no such kill here")
def test_200_recordings_with_a_kill_in_the_middle_lose_and_double_none(tmp_path: Path) -> None:
    """Killed twice without a chance to tidy up; each time the next run goes on."""
    write(tmp_path / "in", {f"{i:03}.mp4": f"{i % 4} slow number {i}" for i in range(COUNT)})
    read_in_all: list[str] = []
    for wanted in (60, 70):
        program = drive(tmp_path)
        assert program.stdout is not None
        for line in program.stdout:
            read_in_all.append(line.split()[0])
            if len(read_in_all) >= wanted:
                break
        program.send_signal(signal.SIGKILL)
        program.stdout.close()
        program.wait()
    before = {path: read_session(path) for path in find_sessions(tmp_path / "out")}
    assert len(read_in_all) <= len(before) < COUNT
    left = planned(tmp_path)
    assert len(left) == COUNT - len(before)
    program = drive(tmp_path)
    output, _ = program.communicate(timeout=120)
    assert program.returncode == 0
    assert sorted(line.split()[0] for line in output.splitlines()) == sorted(
        task.recording.name for task in left
    )
    sessions = find_sessions(tmp_path / "out")
    assert [path.name for path in sessions] == [f"{i:03}" for i in range(COUNT)]
    for number, path in enumerate(sessions):
        table = pd.read_parquet(path / "findings.parquet")
        assert table["note"].tolist() == [f"{number % 4} slow number {number}"] * (number % 4)
        assert path not in before or read_session(path) == before[path]
    assert planned(tmp_path) == []


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no such kill here")
def test_processes_end_with_the_program_that_started_them(tmp_path: Path) -> None:
    """Left alone, they would write beside those of the next run."""
    write(tmp_path / "in", {f"{i:03}.mp4": f"1 slow number {i}" for i in range(COUNT)})
    program = drive(tmp_path)
    assert program.stdout is not None
    program.stdout.readline()
    children = Path(f"/proc/{program.pid}/task/{program.pid}/children")
    if not children.exists():
        program.kill()
        pytest.skip("this system does not list a program's children")
    pids = [int(pid) for pid in children.read_text(encoding="ascii").split()]
    assert pids
    program.send_signal(signal.SIGKILL)
    program.stdout.close()
    program.wait()
    until_s = time.monotonic() + 30
    while any(_runs(pid) for pid in pids) and time.monotonic() < until_s:
        time.sleep(0.05)
    assert not [pid for pid in pids if _runs(pid)]


def _runs(pid: int) -> bool:
    try:
        os.kill(pid, 0)
        status = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8")
    except OSError:
        return False
    return status.rsplit(")", 1)[1].split()[0] != "Z"


def test_cluster_gives_the_same_files_as_one_process(tmp_path: Path) -> None:
    """A local cluster of Dask with two workers that are processes of their own."""
    distributed = pytest.importorskip("distributed")
    write(
        tmp_path / "in", {f"{i}.mp4": f"{i % 3} number {i}" for i in range(6)} | {"x.mp4": "fail"}
    )
    tasks = planned(tmp_path)
    list(run_here(tasks, read))
    here = tables(tmp_path / "out")
    (tmp_path / "out").rename(tmp_path / "one process")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=None, local_directory=str(tmp_path)
    ) as cluster:
        outcomes = list(run_on_cluster(tasks, read, cluster.scheduler_address))
    assert Counter(o.task for o in outcomes) == Counter(tasks)
    assert [o.task.recording.name for o in outcomes if o.sentence] == ["x.mp4"]
    assert tables(tmp_path / "out") == here


def test_cluster_that_is_not_there_is_a_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("distributed")
    monkeypatch.setattr(pools, "_CONNECT_S", 1)
    with pytest.raises(UsageError, match="No Dask scheduler answers at"):
        list(run_on_cluster([], read, "tcp://127.0.0.1:9"))
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(UsageError, match=r"install spoken-findings\[dask\]"):
        list(run_on_cluster([], read, "tcp://127.0.0.1:9"))


def test_outcome_of_a_task_is_that_of_its_work(tmp_path: Path) -> None:
    write(tmp_path / "in", {"a.mp4": "2"})
    (outcome,) = run_here(planned(tmp_path), read)
    assert outcome == Outcome(outcome.task, findings=2)
