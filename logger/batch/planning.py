"""Which recordings are to be read: each once, and none again that was read the same way."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from logger.batch.tasks import Outcome, Task
from logger.core.errors import SessionError, SpokenFindingsError, UsageError
from logger.core.session import SessionFacts
from logger.files.session_json import SessionRecord, plain
from logger.files.stored import SESSION, read_session
from logger.recording.digest import content_digest
from logger.recording.opening import check_file

ENDINGS: Final = frozenset(
    {".mp4", ".m4v", ".mov", ".3gp", ".mkv", ".webm", ".avi", ".mts", ".ts", ".mpg", ".mpeg"}
    | {".mxf", ".wmv", ".flv", ".wav", ".w64", ".flac", ".mp3", ".m4a", ".aac", ".ogg", ".opus"}
    | {".aiff", ".aif", ".caf", ".amr", ".wma"}
)
"""Of files that are taken for recordings in a folder; a file named outright may have any."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """How recordings are to be read; a session read otherwise is not the one that is wanted."""

    tool_version: str
    pack: str
    pack_digest: str
    engine: str
    options: Mapping[str, str | bool]
    facts: SessionFacts = field(default_factory=SessionFacts)
    """What is given of these must be in the session."""
    beside: tuple[str, ...] = ()
    """Files that must lie beside the session, such as a video."""


@dataclass(slots=True)
class Plan:
    """What to do with each recording."""

    tasks: list[Task] = field(default_factory=list)
    done: list[Task] = field(default_factory=list)
    copies: list[tuple[Path, Path]] = field(default_factory=list)
    """A recording that is left out, and the one of the same content that is read."""
    failures: list[Outcome] = field(default_factory=list)


def find_recordings(paths: Sequence[Path], out: Path) -> list[Task]:
    """Return the recordings named and those in the folders named, each with its place in `out`.

    A recording of a folder gets the same place in `out` as it has in the folder. Two that would
    share a place keep the endings of their names.

    Raises:
        UsageError: if two recordings of different folders would still share a place, or there is
            none at all.

    """
    found: dict[str, tuple[Path, Path]] = {}
    for path in paths:
        for recording, place in _with_places(path, out):
            found.setdefault(os.path.realpath(recording), (recording, place))
    if not found:
        raise UsageError(f"There is no recording in {paths[0]}: give a folder that holds some.")
    shared = Counter(_folded(place.with_suffix("")) for _, place in found.values())
    tasks = []
    for recording, place in found.values():
        bare = place.with_suffix("")
        tasks.append(Task(recording, out / (place if shared[_folded(bare)] > 1 else bare)))
    twice = Counter(_folded(task.folder) for task in tasks)
    if clash := [str(task.recording) for task in tasks if twice[_folded(task.folder)] > 1]:
        raise UsageError(
            f"{clash[0]} and {clash[1]} have the same name: read them into different --out."
        )
    return tasks


def _with_places(path: Path, out: Path) -> Iterator[tuple[Path, Path]]:
    if not path.is_dir():
        yield path, Path(path.name)
        return
    for recording in sorted(_below(path, out)):
        yield recording, recording.relative_to(path)


def _below(folder: Path, out: Path) -> Iterator[Path]:
    """Yield the recordings below a folder, without what `read` itself wrote there."""
    results = os.path.realpath(out)
    for place, names, files in os.walk(folder):
        if SESSION in files or os.path.realpath(place) == results:
            names.clear()
            continue
        names[:] = [name for name in names if not name.startswith(".")]
        for name in files:
            if Path(name).suffix.lower() in ENDINGS and not name.startswith("."):
                yield Path(place) / name


def _folded(place: Path) -> str:
    # Some file systems take "A" and "a" for one name.
    return str(place).casefold()


def plan(
    tasks: Iterable[Task],
    wanted: Wanted,
    *,
    again: bool = False,
    progress: Callable[[float], None] = lambda _done: None,
) -> Plan:
    """Return what is to be read, what is done, what is there twice and what cannot be read.

    Args:
        tasks: from `find_recordings`.
        wanted: how they are to be read.
        again: read also what is done; never what people have changed since.
        progress: told the share of the recordings looked at, 0 to 1.

    """
    made, first = Plan(), dict[str, Path]()
    listed = list(tasks)
    for number, task in enumerate(listed):
        progress(number / len(listed))
        try:
            check_file(task.recording)
            digest = content_digest(task.recording)
            before = first.setdefault(digest, task.recording)
            if before is not task.recording:
                made.copies.append((task.recording, before))
            elif _is_done(task.folder, digest, wanted) and not again:
                made.done.append(task)
            else:
                _refuse_changed(task.folder)
                made.tasks.append(task)
        except SpokenFindingsError as error:
            made.failures.append(Outcome(task, str(error), error.exit_code))
    progress(1.0)
    return made


def _stored(folder: Path) -> SessionRecord | None:
    return read_session(folder) if (folder / SESSION).exists() else None


def _is_done(folder: Path, digest: str, wanted: Wanted) -> bool:
    record = _stored(folder)
    if record is None or not all((folder / name).exists() for name in wanted.beside):
        return False
    given = {name: value for name, value in plain(wanted.facts).items() if value}
    return (
        record.recording.sha256 == digest
        and record.tool_version == wanted.tool_version
        and (record.pack.name, record.pack.version) == (wanted.pack, wanted.pack_digest)
        and record.engine == wanted.engine
        and record.options == plain(wanted.options)
        and given.items() <= plain(record.facts).items()
    )


def _refuse_changed(folder: Path) -> None:
    record = _stored(folder)
    if record is not None and (record.edits or record.judgements or record.reviews):
        raise SessionError(
            f"{folder} was changed in a review, which reading anew would lose: move it, or give "
            "another --out."
        )
