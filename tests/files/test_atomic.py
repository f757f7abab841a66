"""Results that are there whole, or as they were before, whatever goes wrong."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from pathlib import Path

import pytest

from logger.core.errors import OutputError
from logger.files.atomic import replace_folder

NAMES = ("a.txt", "b.txt")


def put(folder: Path, text: str) -> None:
    """Put both files in place."""

    def write(new: Path) -> None:
        for name in NAMES:
            (new / name).write_text(text, encoding="utf-8")

    replace_folder(folder, NAMES, write)


def content(folder: Path) -> dict[str, str]:
    return {path.name: path.read_text(encoding="utf-8") for path in folder.iterdir()}


def test_new_and_renewed_folder_hold_all_files_and_nothing_is_left_beside(tmp_path: Path) -> None:
    folder = tmp_path / "deep" / "Sitzung 1"
    put(folder, "old")
    put(folder, "new")
    assert content(folder) == dict.fromkeys(NAMES, "new")
    assert list(folder.parent.iterdir()) == [folder]


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EACCES, errno.EIO])
@pytest.mark.parametrize("existed", [True, False])
def test_failure_midway_leaves_what_was_there(tmp_path: Path, number: int, existed: bool) -> None:
    """A disk that fills up after half of the second file."""
    folder = tmp_path / "s"
    if existed:
        put(folder, "old")

    def write(new: Path) -> None:
        (new / "a.txt").write_text("new", encoding="utf-8")
        (new / "b.txt").write_text("ne", encoding="utf-8")
        raise OSError(number, os.strerror(number))

    with pytest.raises(OutputError, match=os.strerror(number)) as caught:
        replace_folder(folder, NAMES, write)
    assert str(folder) in str(caught.value)
    assert list(tmp_path.iterdir()) == ([folder] if existed else [])
    if existed:
        assert content(folder) == dict.fromkeys(NAMES, "old")


def test_interruption_by_the_user_leaves_what_was_there(tmp_path: Path) -> None:
    put(tmp_path / "s", "old")

    def write(new: Path) -> None:
        (new / "a.txt").write_text("new", encoding="utf-8")
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        replace_folder(tmp_path / "s", NAMES, write)
    assert content(tmp_path / "s") == dict.fromkeys(NAMES, "old")
    assert [path.name for path in tmp_path.iterdir()] == ["s"]


def test_failed_renaming_is_undone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The second of the two: the old folder is already out of the way."""
    folder = tmp_path / "s"
    put(folder, "old")
    rename = Path.rename

    def fails(self: Path, target: Path) -> Path:
        if self.name.endswith(".new"):
            raise OSError(errno.EACCES, "in use")
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", fails)
    with pytest.raises(OutputError, match="in use"):
        put(folder, "new")
    assert content(folder) == dict.fromkeys(NAMES, "old")
    assert list(tmp_path.iterdir()) == [folder]


DYING = """
import os, sys
from pathlib import Path
from test_atomic import put

steps = iter(range(1000))

def dying(name, target):
    real = getattr(target, name)
    def step(*args, **kwargs):
        if next(steps) == int(sys.argv[2]):
            os._exit(9)
        return real(*args, **kwargs)
    setattr(target, name, step)

dying("rename", Path)
dying("fsync", os)
put(Path(sys.argv[1]), "new")
"""


@pytest.mark.parametrize("dies_at", range(7))
def test_killed_at_any_step_the_next_run_finds_old_or_new_whole(
    tmp_path: Path, dies_at: int
) -> None:
    """A process that ends without a word before its n-th renaming or forcing to disk."""
    folder = tmp_path / "s"
    put(folder, "old")
    paths = os.pathsep.join([str(Path(__file__).parent), *sys.path])
    ended = subprocess.run(  # noqa: S603 - our own interpreter and script
        [sys.executable, "-c", DYING, str(folder), str(dies_at)],
        env={**os.environ, "PYTHONPATH": paths},
        check=False,
    )
    # Two files and their folder forced, two renamings, the parent forced: then it is done.
    assert ended.returncode == (9 if dies_at < 6 else 0)
    if folder.exists():
        assert content(folder) in (dict.fromkeys(NAMES, "old"), dict.fromkeys(NAMES, "new"))
    else:
        assert content(tmp_path / ".s.old") == dict.fromkeys(NAMES, "old")

    def fails(_: Path) -> None:
        raise OSError(errno.ENOSPC, "full")

    with pytest.raises(OutputError):
        replace_folder(folder, NAMES, fails)
    assert content(folder) in (dict.fromkeys(NAMES, "old"), dict.fromkeys(NAMES, "new"))
    put(folder, "newest")
    assert content(folder) == dict.fromkeys(NAMES, "newest")
    assert list(tmp_path.iterdir()) == [folder]


def test_file_in_the_way_stays(tmp_path: Path) -> None:
    (tmp_path / "s").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="is a file"):
        put(tmp_path / "s", "new")
    assert (tmp_path / "s").read_text(encoding="utf-8") == "mine"
    with pytest.raises(OutputError, match="cannot be written") as caught:
        put(tmp_path / "s" / "below", "new")
    assert "\n" not in str(caught.value)


def test_folder_with_other_things_in_it_is_not_replaced(tmp_path: Path) -> None:
    """A letter beside the results, or a folder that never held any."""
    put(tmp_path / "s", "old")
    (tmp_path / "s" / "letter.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match=r"holds letter\.txt"):
        put(tmp_path / "s", "new")
    assert content(tmp_path / "s") == {**dict.fromkeys(NAMES, "old"), "letter.txt": "mine"}


def test_droppings_of_the_system_are_in_nobodys_way(tmp_path: Path) -> None:
    put(tmp_path / "s", "old")
    (tmp_path / "s" / ".DS_Store").write_text("", encoding="utf-8")
    put(tmp_path / "s", "new")
    assert content(tmp_path / "s") == dict.fromkeys(NAMES, "new")


def test_link_to_a_folder_stays_a_link(tmp_path: Path) -> None:
    put(tmp_path / "real", "old")
    (tmp_path / "link").symlink_to(tmp_path / "real")
    put(tmp_path / "link", "new")
    assert (tmp_path / "link").is_symlink()
    assert content(tmp_path / "real") == dict.fromkeys(NAMES, "new")


def test_renewed_folder_keeps_its_permissions(tmp_path: Path) -> None:
    put(tmp_path / "s", "old")
    (tmp_path / "s").chmod(0o750)
    before = (tmp_path / "s").stat().st_mode
    put(tmp_path / "s", "new")
    assert (tmp_path / "s").stat().st_mode == before
