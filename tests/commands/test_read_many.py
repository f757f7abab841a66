"""Many recordings through the command: real readers, real files, short."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from clips import Clip, write_clip

from logger.cli import main
from logger.files.stored import find_sessions, read_session


def read(*args: object) -> Result:
    return CliRunner().invoke(main, ["read", *map(str, args)])


def tables(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


@pytest.fixture(scope="module")
def recordings(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with three short recordings, a copy of one, and a file that is none."""
    folder = tmp_path_factory.mktemp("class")
    (folder / "week 1").mkdir()
    for number, name in enumerate(("a.m4a", "b.m4a", "week 1/a.m4a"), 1):
        write_clip(folder / name, Clip(sound_s=0.5 * number))
    (folder / "b again.m4a").write_bytes((folder / "b.m4a").read_bytes())
    (folder / "broken.mp4").write_bytes(b"no recording at all")
    return folder


@pytest.mark.model
def test_processes_read_a_folder_once_and_name_what_fails(recordings: Path, tmp_path: Path) -> None:
    """And a second call finds everything done but the broken one."""
    out = tmp_path / "out"
    result = read(recordings, "--out", out, "--jobs", 2, "--no-camera", "--examiner", "E1")
    shown = " ".join(result.output.split())
    assert result.exit_code == 3, result.output
    assert "b.m4a is a copy of" in shown
    assert "3 read, 0 read already, 1 copies, 1 failed" in shown
    assert "broken.mp4 cannot be read as a recording" in shown
    assert all(len(line) <= 80 for line in result.stdout.splitlines() if "/" not in line)
    sessions = find_sessions(out)
    assert [str(path.relative_to(out)) for path in sessions] == ["a", "b again", "week 1/a"]
    assert {read_session(path).facts.examiner_code for path in sessions} == {"E1"}
    before = tables(out)
    result = read(recordings, "--out", out, "--jobs", 2, "--no-camera", "--examiner", "E1")
    assert result.exit_code == 3
    assert "0 read, 3 read already, 1 copies, 1 failed" in result.output
    assert tables(out) == before
    (recordings / "broken.mp4").rename(tmp_path / "broken.mp4")
    try:
        result = read(recordings, "--out", out, "--no-camera", "--again")
        assert result.exit_code == 0, result.output
        # Read in one process and with no examiner: the tables are the same.
        for name, content in tables(out).items():
            if not name.endswith("session.json"):
                assert content == before[name], name
    finally:
        (tmp_path / "broken.mp4").rename(recordings / "broken.mp4")


@pytest.mark.model
def test_cluster_reads_the_same_tables_as_one_process(recordings: Path, tmp_path: Path) -> None:
    """A local cluster of Dask, one worker; session.json too is the same to the byte."""
    distributed = pytest.importorskip("distributed")
    named = [recordings / "a.m4a", recordings / "b.m4a"]
    assert read(*named, "--out", tmp_path / "one", "--no-camera", "--quiet").exit_code == 0
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, dashboard_address=None, local_directory=str(tmp_path)
    ) as cluster:
        address = cluster.scheduler_address
        result = read(*named, "--out", tmp_path / "two", "--no-camera", "--scheduler", address)
    assert result.exit_code == 0, result.output
    assert "2 read" in result.output
    assert tables(tmp_path / "two") == tables(tmp_path / "one")


def test_one_wrong_option_is_one_sentence_and_not_one_a_recording(
    recordings: Path, tmp_path: Path
) -> None:
    result = read(recordings, "--out", tmp_path / "out", "--engine", "parrot")
    assert result.exit_code == 2
    assert result.output.count("Unknown engine") == 1
    result = read(recordings, "--out", tmp_path / "out", "--patient-code", "P1")
    assert (result.exit_code, "of one patient" in result.output) == (2, True)
    result = read(recordings, "--out", tmp_path / "o", "--jobs", 2, "--scheduler", "tcp://x:1")
    assert (result.exit_code, "both say who reads" in result.output) == (2, True)
