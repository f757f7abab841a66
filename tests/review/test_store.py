"""What an educator changes is on the disk, beside what was heard."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
import pytest
from sessions import EDUCATOR, ROWS, folder_of, record

from logger.core.errors import OutputError, SessionError, UsageError
from logger.core.events import RowStatus, SetupStatus
from logger.files.saving import save_session
from logger.review import store
from logger.review.scoring import Practised
from logger.review.store import judgements_in_force, kept_rows, practised, to_check


def test_a_correction_stands_beside_what_was_heard(tmp_path: Path) -> None:
    folder = folder_of(tmp_path, "a")
    folder.correct("a", 2, ("grade", "3"), EDUCATOR)
    changed = folder.read("a")
    row = kept_rows(changed)[1]
    assert (row.heard.grade, row.finding.grade) == ("2", "3")
    (edit,) = row.edits
    assert (edit.before, edit.after, edit.by) == ("2", "3", "tutor-1")
    assert edit.at == "2026-11-25T10:00:00+00:00"
    assert changed.findings == ROWS
    assert pd.read_csv(tmp_path / "a" / "findings.csv")["grade"].tolist()[1] == 3
    assert pd.read_parquet(tmp_path / "a" / "findings.parquet")["grade"].tolist()[1] == "3"


def test_a_score_brings_its_mobility_and_a_mobility_takes_a_score_away(tmp_path: Path) -> None:
    folder = folder_of(tmp_path, "a")
    record = folder.correct("a", 2, ("mobility_score", 5), EDUCATOR)
    assert kept_rows(record)[1].finding.mobility == "hypermobile"
    record = folder.correct("a", 2, ("mobility", "normal"), EDUCATOR)
    row = kept_rows(record)[1].finding
    assert (row.mobility, row.mobility_score) == ("normal", None)
    assert [(e.slot, e.before, e.after) for e in record.edits] == [
        ("mobility_score", 2, 5),
        ("mobility", "hypomobile", "hypermobile"),
        ("mobility", "hypermobile", "normal"),
        ("mobility_score", 5, None),
    ]


def test_another_side_had_another_setup(tmp_path: Path) -> None:
    folder = folder_of(tmp_path, "a")
    row = kept_rows(folder.correct("a", 1, ("side", "right"), EDUCATOR))[0].finding
    assert row.setup.status is SetupStatus.NOT_SEEN
    assert row.setup.angle_deg is None
    assert row.cautions == ("the setup was read for the row as it was heard",)


def test_a_session_is_reviewed_once_every_check_is_settled(tmp_path: Path) -> None:
    folder = folder_of(tmp_path, "a")
    with pytest.raises(UsageError, match="Settle row 2 first"):
        folder.mark_reviewed("a", EDUCATOR)
    settled = kept_rows(folder.settle("a", 2, RowStatus.LOGGED, EDUCATOR))[1]
    assert settled.settled
    assert settled.finding.reasons == ()
    assert settled.heard.reasons == ("pain: 5 or 9?",)
    (seen,) = folder.mark_reviewed("a", EDUCATOR).reviews
    assert seen.by == "tutor-1"
    assert to_check(kept_rows(folder.read("a"))) == ()


def test_the_last_judgement_of_a_rater_counts_and_can_be_taken_back(tmp_path: Path) -> None:
    folder = folder_of(tmp_path, "a")
    folder.judge("a", 2, ("pain", 4), EDUCATOR)
    folder.judge("a", 2, ("pain", 6), EDUCATOR)
    folder.judge("a", 1, ("mobility", "hypermobile"), EDUCATOR)
    record = folder.judge("a", 1, ("mobility", None), EDUCATOR)
    assert [(j.row, j.slot, j.value) for j in judgements_in_force(record)] == [(2, "pain", 6)]
    assert len(record.judgements) == 4
    assert kept_rows(record)[1].finding.pain == 5


@pytest.mark.parametrize("row", [0, 4, -1])
def test_a_row_that_is_not_there(tmp_path: Path, row: int) -> None:
    folder = folder_of(tmp_path, "a")
    with pytest.raises(UsageError, match="There is no row"):
        folder.correct("a", row, ("pain", 1), EDUCATOR)
    with pytest.raises(UsageError, match="There is no row"):
        folder.judge("a", row, ("pain", 1), EDUCATOR)


def test_what_cannot_be_changed(tmp_path: Path) -> None:
    folder = folder_of(tmp_path, "a")
    before = (tmp_path / "a" / "session.json").read_bytes()
    with pytest.raises(UsageError, match="it is one of 0, 1"):
        folder.correct("a", 1, ("pain", 99), EDUCATOR)
    with pytest.raises(UsageError, match="no slot said"):
        folder.correct("a", 1, ("said", "x"), EDUCATOR)
    with pytest.raises(UsageError, match="not put back to check"):
        folder.settle("a", 1, RowStatus.CHECK, EDUCATOR)
    with pytest.raises(UsageError, match="shorten it"):
        folder.correct("a", 1, ("note", "x" * 2001), EDUCATOR)
    assert (tmp_path / "a" / "session.json").read_bytes() == before


@pytest.mark.parametrize("name", ["../b", "/etc", "b/..", "", "none"])
def test_only_sessions_of_the_folder_can_be_named(tmp_path: Path, name: str) -> None:
    folder = folder_of(tmp_path / "class", "a")
    folder_of(tmp_path, "b")
    with pytest.raises(UsageError, match="There is no session"):
        folder.read(name)


def test_two_educators_one_after_the_other_lose_nothing(tmp_path: Path) -> None:
    ours, theirs = folder_of(tmp_path, "a"), store.ReviewFolder(tmp_path, lambda _: _PACK)
    ours.correct("a", 1, ("pain", 1), EDUCATOR)
    theirs.correct("a", 2, ("pain", 2), EDUCATOR)
    record = ours.correct("a", 1, ("note", "  <b>stiff</b> =1+1 "), EDUCATOR)
    assert [(e.row, e.after) for e in record.edits] == [(1, 1), (2, 2), (1, "<b>stiff</b> =1+1")]


def test_a_full_disk_leaves_the_session_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = folder_of(tmp_path, "a")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(OutputError, match="No space left"):
        folder.correct("a", 1, ("pain", 1), EDUCATOR)
    monkeypatch.undo()
    assert folder.read("a").edits == ()


def test_reading_the_recording_again_does_not_write_over_a_review(tmp_path: Path) -> None:
    folder = folder_of(tmp_path, "a")
    folder.judge("a", 1, ("pain", 1), EDUCATOR)
    with pytest.raises(OutputError, match="holds judgements by tutor-1 that would be lost"):
        save_session(tmp_path / "a", record(), ())
    judged = folder.read("a")
    save_session(tmp_path / "a", judged, ())
    assert folder.read("a") == judged


def test_a_damaged_session_is_named(tmp_path: Path) -> None:
    folder = folder_of(tmp_path, "a")
    path = tmp_path / "a" / "session.json"
    data = json.loads(path.read_text())
    data["edits"] = [{"row": 1, "slot": "colour", "before": None, "after": 1, "by": "x", "at": "y"}]
    path.write_text(json.dumps(data))
    with pytest.raises(SessionError, match="'colour' cannot be edited"):
        kept_rows(folder.read("a"))


def test_notes_without_a_row_count_for_the_sheet(tmp_path: Path) -> None:
    folder = folder_of(tmp_path, "a")
    record = folder.read("a")
    seen = practised(record, folder.pack_of(record))
    assert isinstance(seen, Practised)
    assert seen.notes == ((5.0, "note elbow wrist and hand cleared"),)


_PACK = folder_of(Path("unused")).packs("glenohumeral")
