"""A class at a glance."""

from __future__ import annotations

from pathlib import Path

from sessions import EDUCATOR, folder_of

from logger.core.events import RowStatus
from logger.review.class_table import COLUMNS, class_frame, class_table
from logger.review.criteria import SHIPPED


def test_a_line_follows_what_the_educator_does(tmp_path: Path) -> None:
    folder = folder_of(tmp_path, "a", "b")
    folder.settle("a", 2, RowStatus.LOGGED, EDUCATOR)
    folder.judge("a", 2, ("pain", 4), EDUCATOR)
    folder.judge("a", 1, ("mobility", "normal"), EDUCATOR)
    folder.judge("a", 1, ("grade", "2"), EDUCATOR)
    folder.mark_reviewed("a", EDUCATOR)
    table = class_table(folder, SHIPPED)
    first, second = table.lines
    assert (first.session, first.state, first.to_check) == ("a", "reviewed", 0)
    assert (second.session, second.state, second.to_check) == ("b", "to check", 1)
    assert (first.rows, first.withdrawn) == (2, 1)
    # The student gave no grade to row 1: there is nothing to agree with.
    assert (first.judged, first.judged_alike) == (2, 1)
    assert table.problems == ()


def test_a_broken_session_is_named_and_the_others_stand(tmp_path: Path) -> None:
    folder = folder_of(tmp_path, "a", "b")
    (tmp_path / "b" / "session.json").write_text("{")
    table = class_table(folder, SHIPPED)
    assert [line.session for line in table.lines] == ["a"]
    assert len(table.problems) == 1
    assert "no JSON file" in table.problems[0]


def test_the_frame_has_a_column_for_each_criterion(tmp_path: Path) -> None:
    frame = class_frame(class_table(folder_of(tmp_path, "a", "b"), SHIPPED).lines)
    assert tuple(frame.columns[: len(COLUMNS)]) == COLUMNS
    assert frame[["met", "not_met", "cannot_be_told"]].sum(axis=1).tolist() == [8, 8]
    assert set(frame.iloc[0, len(COLUMNS) :]) <= {"met", "not met", "cannot be told"}


def test_an_empty_folder_has_an_empty_table(tmp_path: Path) -> None:
    table = class_table(folder_of(tmp_path), SHIPPED)
    assert table.lines == ()
    assert table.problems == ()
    assert class_frame(table.lines).empty
