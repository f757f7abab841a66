"""Agreement from saved sessions, as an educator asks for it."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from saved import START, record_of, rows_of, saved

from logger.cli import main
from logger.core.events import RowStatus
from logger.core.session import Edit, Judgement
from logger.files.session_json import PackFacts

FIRST, SECOND = (2, 3, 2, 3, 3, 4, 1, 3, 2, 3, 4, 3), (2, 3, 3, 3, 3, 4, 2, 3, 2, 2, 4, 3)


def agreement(*args: object) -> Result:
    result = CliRunner().invoke(main, ["agreement", *map(str, args)])
    assert all(len(line) <= 80 for line in result.stdout.splitlines())
    return result


def two_examiners(folder: Path) -> Path:
    saved(folder / "one", record_of(rows_of(FIRST)))
    saved(folder / "two", record_of(rows_of(SECOND), "E2"))
    return folder


def test_two_examiners_of_one_recording(tmp_path: Path) -> None:
    """9 of 12 agree; the linear kappa of this table is computed by hand in the second test."""
    result = agreement(two_examiners(tmp_path))
    assert result.exit_code == 0, result.output
    assert "E1 and E2" in result.output
    assert "mobility score: 12 findings" in result.output
    assert "same value          75 %  [47 % to 91 %]" in result.output
    assert "ICC(2,1)" in result.output
    assert "mean difference" in result.output


def test_csv_has_the_same_figures_and_one_line_a_measure(tmp_path: Path) -> None:
    """Linear kappa of 3 one-step differences in 12 against those expected by chance."""
    result = CliRunner().invoke(main, ["agreement", str(two_examiners(tmp_path)), "--csv"])
    lines = list(csv.DictReader(io.StringIO(result.stdout)))
    found = {(line["slot"], line["measure"]): line for line in lines}
    chance = sum(abs(a - b) for a in FIRST for b in SECOND) / 12**2
    kappa = float(found["mobility_score", "kappa, linear"]["value"])
    assert kappa == pytest.approx(1 - (3 / 12) / chance)
    assert {line["findings"] for line in lines if line["slot"] == "pain"} == {"12"}


def test_judgements_are_a_rater_and_edits_are_in_force(tmp_path: Path) -> None:
    record = record_of(rows_of(FIRST))
    judgements = tuple(
        Judgement(i, "mobility_score", score, "T", START) for i, score in enumerate(SECOND, 1)
    )
    edits = (Edit(1, "mobility_score", 2, 6, "E1", START),)
    saved(tmp_path / "a", replace(record, judgements=judgements, edits=edits))
    result = agreement(tmp_path)
    assert "E1 and T" in result.output
    assert "same value          67 %" in result.output


def test_rows_to_check_and_those_without_a_match_are_told(tmp_path: Path) -> None:
    rows = list(rows_of(FIRST))
    rows[0] = replace(rows[0], status=RowStatus.CHECK, reasons=("pain: 2 or 5?",))
    saved(tmp_path / "a", record_of(rows))
    saved(tmp_path / "b", record_of(rows_of(SECOND[:-2]), "E2"))
    output = " ".join(agreement(tmp_path).output.split())
    assert "1 rows are still to check" in output
    assert "2 findings have no match" in output
    assert "too few: 9 in common, at least 10 needed" in output


def test_examiners_as_one_are_set_against_their_educator(tmp_path: Path) -> None:
    for number in range(4):
        judged = (Judgement(i + 1, "mobility_score", FIRST[i], "T", START) for i in range(3))
        record = record_of(rows_of(FIRST[:3]), f"S{number}", f"{number}.mp4")
        saved(tmp_path / str(number), replace(record, judgements=tuple(judged)))
    assert "too few: 3 in common" in agreement(tmp_path).output
    assert "mobility score: 12 findings" in agreement(tmp_path, "--examiners-as-one").output


def test_raters_who_share_no_session_are_named(tmp_path: Path) -> None:
    saved(tmp_path / "a", record_of(rows_of(FIRST), "E1", "a.mp4"))
    saved(tmp_path / "b", record_of(rows_of(FIRST), "E2", "b.mp4"))
    output = agreement(tmp_path).output
    assert "No two raters rated the same finding." in output
    assert "raters who share no session: E1 and E2" in output


def test_one_rater_alone_is_a_sentence(tmp_path: Path) -> None:
    saved(tmp_path / "a", record_of(rows_of(FIRST)))
    result = agreement(tmp_path)
    assert result.exit_code == 2
    assert "only one rater" in result.output


def test_two_packs_in_one_folder_ask_for_a_choice(tmp_path: Path) -> None:
    two_examiners(tmp_path)
    saved(tmp_path / "k", record_of((), "E3", "k.mp4", pack=PackFacts("knee", "1")))
    result = agreement(tmp_path)
    assert result.exit_code == 2
    assert "of the packs glenohumeral, knee" in result.output
    result = agreement(tmp_path, "--pack", "glenohumeral")
    assert result.exit_code == 0
    assert "1 sessions of other packs are left out" in result.output


def test_same_name_is_not_the_same_recording_and_another_name_may_be(tmp_path: Path) -> None:
    one, two = record_of(rows_of(FIRST)), record_of(rows_of(SECOND), "E2")
    other = replace(two, recording=replace(two.recording, sha256="f" * 64))
    saved(tmp_path / "one", one)
    saved(tmp_path / "two", other)
    output = agreement(tmp_path).output
    assert "2 different recordings are named a.mp4" in output
    assert "share no session" in output
    renamed = replace(two, recording=replace(two.recording, name="b.mp4"))
    saved(tmp_path / "two", renamed)
    assert "mobility score: 12 findings" in agreement(tmp_path).output


def test_without_a_digest_name_and_length_decide(tmp_path: Path) -> None:
    for name, examiner, length in (("one", "E1", 90.0), ("two", "E2", 90.0), ("three", "E3", 80.0)):
        record = record_of(rows_of(FIRST), examiner)
        facts = replace(record.recording, sha256=None, duration_s=length)
        saved(tmp_path / name, replace(record, recording=facts))
    output = " ".join(agreement(tmp_path).output.split())
    assert "E1 and E2" in output
    assert "share no session: E1 and E3; E2 and E3" in output


def test_clocks_that_disagree_are_told(tmp_path: Path) -> None:
    record = record_of(rows_of(FIRST))
    early = Judgement(1, "pain", 1, "T", "2026-11-25T08:00:00+00:00")
    later = replace(record.facts, started_at="2026-11-25T11:00:00+01:00", examiner_code="E2")
    saved(tmp_path / "a", replace(record, judgements=(early,)))
    saved(tmp_path / "b", replace(record, facts=later))
    output = " ".join(agreement(tmp_path).output.split())
    assert "changes by T are dated before the session began: the clocks disagree" in output
    assert "sessions of a.mp4 give it different starts: the clocks disagree" in output


def test_damaged_session_is_named_and_the_others_are_compared(tmp_path: Path) -> None:
    two_examiners(tmp_path)
    (tmp_path / "bad").mkdir()
    (tmp_path / "bad" / "session.json").write_text("{", encoding="utf-8")
    result = agreement(tmp_path)
    assert result.exit_code == 7
    assert "left out: " in result.output
    assert "mobility score: 12 findings" in result.output
    (tmp_path / "empty").mkdir()
    result = agreement(tmp_path / "empty")
    assert result.exit_code == 7
    assert "There is no session" in result.output


def test_code_that_a_spreadsheet_would_run_is_marked_in_the_table(tmp_path: Path) -> None:
    saved(tmp_path / "a", record_of(rows_of(FIRST), "=1+1"))
    saved(tmp_path / "b", record_of(rows_of(SECOND), "E2"))
    result = CliRunner().invoke(main, ["agreement", str(tmp_path), "--csv"])
    assert all(
        line["raters"] == "'=1+1 and E2" for line in csv.DictReader(io.StringIO(result.stdout))
    )
