"""A video that is written whole or not at all, on a disk that fills up or refuses."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from logger.core.errors import OutputError
from logger.files.annotated_video import Shape, write_video
from logger.files.atomic import add_file

FULL_DISK = """
import signal, resource, sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
from test_annotated_video import put
from logger.core.errors import OutputError

signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[3]),) * 2)
try:
    put(Path(sys.argv[2]))
except OutputError as error:
    print(error.exit_code, error)
"""


def noise(count: int) -> Iterator[tuple[float, NDArray[np.uint8]]]:
    """Yield pictures that do not compress, one at a time, all from one small memory."""
    rng = np.random.default_rng(1)
    for i in range(count):
        yield i / 10, rng.integers(0, 256, (96, 128, 3), np.uint8)


def put(folder: Path, count: int = 60) -> None:
    """Put a video of noise into a folder."""
    shape = Shape(128, 96, 10.0, count / 10)
    add_file(folder, "annotated.mp4", lambda path: write_video(path, noise(count), shape, None))


@pytest.mark.skipif(sys.platform == "win32", reason="no limit on the size of a file")
@pytest.mark.parametrize(("existed", "room"), [(True, 40_000), (False, 0), (False, 300_000)])
def test_disk_that_fills_up_leaves_no_half_video(tmp_path: Path, existed: bool, room: int) -> None:
    """A real limit of the system on the size of a file, in a process of its own."""
    put(tmp_path)
    whole = (tmp_path / "annotated.mp4").stat().st_size
    assert room < whole, "the limit must be met before the end"
    out = tmp_path / "o"
    out.mkdir()
    if existed:
        (out / "annotated.mp4").write_text("old")
    args = [sys.executable, "-c", FULL_DISK, str(Path(__file__).parent), str(out), str(room)]
    ran = subprocess.run(args, capture_output=True, text=True, check=False)  # noqa: S603 - our own code
    assert ran.returncode == 0, ran.stderr
    assert ran.stdout.startswith("6 annotated.mp4 cannot be written to"), ran.stdout
    assert [path.name for path in tmp_path.iterdir() if ".new" in path.name] == []
    left = {path.name: path.read_bytes() for path in out.iterdir()}
    assert left == ({"annotated.mp4": b"old"} if existed else {})


def test_file_is_replaced_and_nothing_is_left_beside_it(tmp_path: Path) -> None:
    out = tmp_path / "o"
    out.mkdir()
    for _ in range(2):
        put(out, 5)
    assert [path.name for path in tmp_path.iterdir()] == ["o"]
    assert [path.name for path in out.iterdir()] == ["annotated.mp4"]


def test_failure_while_painting_leaves_nothing(tmp_path: Path) -> None:
    def broken() -> Iterator[tuple[float, NDArray[np.uint8]]]:
        yield from noise(3)
        raise MemoryError

    shape = Shape(128, 96, None, 1.0)
    with pytest.raises(MemoryError):
        add_file(tmp_path, "a.mp4", lambda path: write_video(path, broken(), shape, None))
    assert list(tmp_path.iterdir()) == []


def test_folder_that_is_none_is_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"annotated\.mp4 cannot be written to .*nowhere"):
        put(tmp_path / "nowhere")
