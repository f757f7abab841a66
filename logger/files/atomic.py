"""Puts a folder of results in place whole, or leaves the old one as it was.

The new folder is written beside the old one and forced to disk. Then the old one is renamed to a
backup, the new one takes its name, and the backup goes. A crash at any point leaves either folder
whole; if it falls between the two renamings, the next run puts the backup back first.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Collection
from pathlib import Path
from typing import Final

from logger.core.errors import OutputError

_OF_THE_SYSTEM: Final = frozenset({".DS_Store", "Thumbs.db", "desktop.ini"})
"""Files that systems drop into folders by themselves."""


def replace_folder(folder: Path, names: Collection[str], write: Callable[[Path], None]) -> None:
    """Let `write` fill a new folder with the files `names` and put it in the place of `folder`.

    Raises:
        OutputError: if that cannot be done, or if `folder` holds anything but `names`, which
            would be lost. What was in `folder` is then untouched.

    """
    try:
        _replace(Path(os.path.realpath(folder)), names, write)
    except OSError as error:
        why = error.strerror or str(error)
        raise OutputError(
            f"The results cannot be written to {folder}: {why}. Free space, mend the permissions "
            "or give another --out."
        ) from error


def add_file(folder: Path, name: str, write: Callable[[Path], None]) -> None:
    """Let `write` make a file and put it into the existing `folder` as `name`, whole or not at all.

    Raises:
        OutputError: if that cannot be done; a file of that name is then untouched.

    """
    real = Path(os.path.realpath(folder))
    # Named like a folder of new results, so that the next run clears what a crash leaves.
    new = real.with_name(f".{real.name}.{os.getpid()}.new")
    try:
        try:
            new.mkdir()
            write(new / name)
            _force(new / name)
            (new / name).replace(real / name)
            _force(real)
        finally:
            shutil.rmtree(new, ignore_errors=True)
    except OSError as error:
        why = error.strerror or str(error)
        raise OutputError(
            f"{name} cannot be written to {folder}: {why}. Free space, mend the permissions or "
            "give another --out."
        ) from error


def write_file(path: Path, content: bytes) -> None:
    """Put a file in place whole, or leave the one of that name as it was.

    Raises:
        OutputError: if that cannot be done.

    """
    real = Path(os.path.realpath(path))
    new = real.with_name(f".{real.name}.{os.getpid()}.new")
    try:
        try:
            new.write_bytes(content)
            _force(new)
            new.replace(real)
            _force(real.parent)
        finally:
            new.unlink(missing_ok=True)
    except OSError as error:
        why = error.strerror or str(error)
        raise OutputError(
            f"{path} cannot be written: {why}. Free space, mend the permissions or give another "
            "--out."
        ) from error


def _replace(folder: Path, names: Collection[str], write: Callable[[Path], None]) -> None:
    backup = folder.with_name(f".{folder.name}.old")
    folder.parent.mkdir(parents=True, exist_ok=True)
    _mend(folder, backup)
    _check(folder, names)
    # The process number keeps two programs from writing into one another's folder.
    new = folder.with_name(f".{folder.name}.{os.getpid()}.new")
    try:
        new.mkdir()
        write(new)
        for path in (*new.iterdir(), new):
            _force(path)
        _swap(new, folder, backup)
    finally:
        shutil.rmtree(new, ignore_errors=True)


def _mend(folder: Path, backup: Path) -> None:
    """Finish or undo what a crash left behind."""
    for left in folder.parent.iterdir():
        if left.name.startswith(f".{folder.name}.") and left.name.endswith(".new"):
            shutil.rmtree(left, ignore_errors=True)
    if backup.is_dir() and not folder.exists():
        backup.rename(folder)
    elif backup.is_dir():
        shutil.rmtree(backup)


def _check(folder: Path, names: Collection[str]) -> None:
    if not folder.exists():
        return
    if not folder.is_dir():
        raise OutputError(f"{folder} is a file: move it, or give another --out.")
    known = {*names, *_OF_THE_SYSTEM}
    other = sorted(path.name for path in folder.iterdir() if path.name not in known)
    if other:
        raise OutputError(
            f"{folder} holds {other[0]}, which is none of the results and would be lost: move it, "
            "or give another --out."
        )


def _swap(new: Path, folder: Path, backup: Path) -> None:
    if not folder.exists():
        new.rename(folder)
        _force(folder.parent)
        return
    shutil.copymode(folder, new)
    folder.rename(backup)
    try:
        new.rename(folder)
    except OSError:
        backup.rename(folder)
        raise
    _force(folder.parent)
    # The results are in place: a backup that will not go is mended by the next run.
    shutil.rmtree(backup, ignore_errors=True)


def _force(path: Path) -> None:
    """Make sure that a file, or the names in a folder, are on the disk and not only on the way."""
    if os.name == "nt" and path.is_dir():
        return  # Windows opens no folders and writes their names by itself.
    number = os.open(path, os.O_RDWR if os.name == "nt" else os.O_RDONLY)
    try:
        os.fsync(number)
    finally:
        os.close(number)
