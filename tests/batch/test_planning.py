"""Which recordings are read, which are not, and why."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import pytest
from work import WANTED, read, record_of, write

from logger.batch.planning import find_recordings, plan
from logger.batch.tasks import Task
from logger.core.errors import UsageError
from logger.core.session import Edit, SessionFacts
from logger.files.saving import save_session

WHEN = "2026-11-25T10:00:00+01:00"


def places(folder: Path, *paths: Path) -> list[tuple[str, str]]:
    tasks = find_recordings(paths or (folder,), folder / "out")
    return [
        (str(t.recording.relative_to(folder)), str(t.folder.relative_to(folder / "out")))
        for t in tasks
    ]


def test_recordings_of_a_folder_keep_their_places(tmp_path: Path) -> None:
    write(tmp_path, {"b.mp4": "1", "week 1/a.MOV": "2", "notes.txt": "3", ".c.mp4": "4"})
    assert places(tmp_path) == [("b.mp4", "b"), ("week 1/a.MOV", "week 1/a")]


def test_results_among_the_recordings_are_no_recordings(tmp_path: Path) -> None:
    """annotated.mp4 lies beside the tables, and --out may be within the folder."""
    write(tmp_path, {"a.mp4": "1", "out/a/annotated.mp4": "x", "old/s/annotated.mp4": "x"})
    write(tmp_path, {"old/s/session.json": "{}"})
    assert places(tmp_path) == [("a.mp4", "a")]


def test_names_that_differ_only_by_their_ending_keep_it(tmp_path: Path) -> None:
    write(tmp_path, {"a.mp4": "1", "A.mov": "2", "b.wav": "3"})
    assert places(tmp_path) == [("A.mov", "A.mov"), ("a.mp4", "a.mp4"), ("b.wav", "b")]


def test_same_name_in_two_places_named_outright_is_refused(tmp_path: Path) -> None:
    write(tmp_path, {"x/a.mp4": "1", "y/a.mp4": "2"})
    with pytest.raises(UsageError, match="have the same name"):
        places(tmp_path, tmp_path / "x" / "a.mp4", tmp_path / "y" / "a.mp4")
    assert places(tmp_path, tmp_path / "x" / "a.mp4", tmp_path / "x" / "a.mp4") == [
        ("x/a.mp4", "a")
    ]
    (tmp_path / "empty").mkdir()
    with pytest.raises(UsageError, match="no recording in"):
        places(tmp_path, tmp_path / "empty")


def tasks(folder: Path) -> list[Task]:
    return find_recordings([folder / "in"], folder / "out")


def test_what_is_read_the_same_way_is_done(tmp_path: Path) -> None:
    write(tmp_path / "in", {"a.mp4": "1", "b.mp4": "2"})
    first = plan(tasks(tmp_path), WANTED)
    assert [t.recording.name for t in first.tasks] == ["a.mp4", "b.mp4"]
    read(first.tasks[0])
    then = plan(tasks(tmp_path), WANTED)
    assert [t.recording.name for t in then.tasks] == ["b.mp4"]
    assert [t.recording.name for t in then.done] == ["a.mp4"]
    assert len(plan(tasks(tmp_path), WANTED, again=True).tasks) == 2


@pytest.mark.parametrize(
    "other",
    [
        replace(WANTED, tool_version="0.2.0"),
        replace(WANTED, pack_digest="p2"),
        replace(WANTED, engine="vosk"),
        replace(WANTED, options={"camera": False}),
        replace(WANTED, facts=SessionFacts(examiner_code="E1")),
        replace(WANTED, beside=("annotated.mp4",)),
    ],
)
def test_what_was_read_otherwise_is_read_anew(tmp_path: Path, other: object) -> None:
    write(tmp_path / "in", {"a.mp4": "1"})
    read(tasks(tmp_path)[0])
    assert isinstance(other, type(WANTED))
    assert len(plan(tasks(tmp_path), other).tasks) == 1


def test_another_content_under_the_same_name_is_read(tmp_path: Path) -> None:
    write(tmp_path / "in", {"a.mp4": "1"})
    read(tasks(tmp_path)[0])
    write(tmp_path / "in", {"a.mp4": "1 more"})
    assert len(plan(tasks(tmp_path), WANTED).tasks) == 1


def test_copies_are_named_and_read_once(tmp_path: Path) -> None:
    write(tmp_path / "in", {"a.mp4": "1", "b.mp4": "1", "c/d.mov": "1"})
    made = plan(tasks(tmp_path), WANTED)
    assert [t.recording.name for t in made.tasks] == ["a.mp4"]
    assert [(copy.name, first.name) for copy, first in made.copies] == [
        ("b.mp4", "a.mp4"),
        ("d.mov", "a.mp4"),
    ]
    read(made.tasks[0])
    then = plan(tasks(tmp_path), WANTED)
    assert (len(then.tasks), len(then.done), len(then.copies)) == (0, 1, 2)


def test_what_people_changed_is_not_read_over(tmp_path: Path) -> None:
    write(tmp_path / "in", {"a.mp4": "1"})
    (task,) = tasks(tmp_path)
    changed = replace(record_of(task.recording), edits=(Edit(1, "pain", None, 2, "E1", WHEN),))
    save_session(task.folder, changed, ())
    assert len(plan(tasks(tmp_path), WANTED).done) == 1
    for made in (
        plan(tasks(tmp_path), WANTED, again=True),
        plan(tasks(tmp_path), replace(WANTED, tool_version="0.2.0")),
    ):
        assert made.tasks == []
        assert "changed in a review" in made.failures[0].sentence


def test_damaged_results_are_not_written_over(tmp_path: Path) -> None:
    """Nobody knows what people had changed in them."""
    write(tmp_path, {"in/a.mp4": "1", "out/a/session.json": "{"})
    made = plan(tasks(tmp_path), WANTED)
    assert (made.tasks, made.failures[0].exit_code) == ([], 7)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes here")
def test_what_cannot_be_looked_at_is_a_failure_of_its_own(tmp_path: Path) -> None:
    """A pipe would be waited for without end."""
    write(tmp_path / "in", {"a.mp4": "1"})
    os.mkfifo(tmp_path / "in" / "b.mp4")
    named = [tmp_path / "in", tmp_path / "gone.mp4"]
    made = plan(find_recordings(named, tmp_path / "out"), WANTED)
    assert [t.recording.name for t in made.tasks] == ["a.mp4"]
    assert [o.exit_code for o in made.failures] == [3, 3]
