"""The commands for the report and the comparison, and what they say where they cannot help."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from invented import facts, first_session, later_session, record, row, save

from logger.cli import main
from logger.files.saving import save_session
from logger.files.session_json import PackFacts

PDF = b"%PDF-"
MINUS = "\N{MINUS SIGN}"


def run(*args: object) -> Result:
    return CliRunner().invoke(main, [str(arg) for arg in args])


def refused(*args: object) -> str:
    """Return the one sentence of a refusal."""
    result = run(*args)
    assert result.exit_code != 0, result.output
    assert "Traceback" not in result.output
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return " ".join(result.output.split())


@pytest.fixture(scope="module")
def sessions(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder of the invented sessions, which the tests leave as it is."""
    folder = tmp_path_factory.mktemp("sessions")
    save(first_session(), folder / "week-0")
    for week in (1, 2, 3):
        save(later_session(week), folder / f"week-{week}")
    return folder


@pytest.fixture
def session(sessions: Path, tmp_path: Path) -> Path:
    """Return a copy of the first session."""
    return Path(shutil.copytree(sessions / "week-0", tmp_path / "week-0"))


def test_report_puts_the_page_into_the_sessions_folder(session: Path) -> None:
    result = run("report", session)
    assert result.exit_code == 0, result.output
    text = (session / "report.html").read_text(encoding="utf-8")
    assert "P-014" in text
    assert not (session / "report.pdf").exists()
    assert b"\r" not in (session / "report.html").read_bytes()


def test_report_on_paper_into_another_folder(sessions: Path, tmp_path: Path) -> None:
    out = tmp_path / "new" / "reports"
    result = run("report", sessions / "week-0" / "session.json", "--pdf", "--out", out)
    assert result.exit_code == 0, result.output
    assert (out / "report.pdf").read_bytes().startswith(PDF)
    assert {path.name for path in out.iterdir()} == {"report.html", "report.pdf"}
    assert not (sessions / "week-0" / "report.html").exists()


def test_reading_again_takes_the_old_report_away(session: Path) -> None:
    """It shows what the tables said before."""
    run("report", session, "--pdf")
    save_session(session, first_session(), ())
    assert not (session / "report.html").exists()
    assert not (session / "report.pdf").exists()
    assert (session / "session.json").exists()


def test_report_without_an_angle_trace(session: Path) -> None:
    (session / "arm_angle.csv").unlink()
    result = run("report", session)
    assert result.exit_code == 0, result.output


def test_what_is_wrong_with_a_session_is_told_on_the_terminal_too(tmp_path: Path) -> None:
    first = first_session()
    cut = replace(first, recording=replace(first.recording, truncated_at_s=250.0))
    result = run("report", save(cut, tmp_path / "cut"))
    assert "note: The recording is cut short at 4:10.0" in result.output


def test_the_involved_side_can_be_given_and_not_contradicted(session: Path, tmp_path: Path) -> None:
    assert "right side is involved" in refused("report", session, "--involved-side", "left")
    plain = record([row(5, "left", "inferior_glide")], facts=facts(involved_side=None))
    other = save(plain, tmp_path / "plain")
    assert run("report", other, "--involved-side", "left").exit_code == 0
    assert "Involved: left" in (other / "report.html").read_text(encoding="utf-8")


def test_report_of_what_is_no_session(sessions: Path, tmp_path: Path) -> None:
    told = refused("report", sessions)
    assert "holds 4 sessions (week-0, week-1, week-2, week-3): name one of them" in told
    assert "no folder" in refused("report", tmp_path / "nothing")
    assert "cannot be read" in refused("report", tmp_path)
    (tmp_path / "session.json").write_text("{", encoding="utf-8")
    assert "no JSON" in refused("report", tmp_path)


def test_report_with_another_pack(session: Path, tmp_path: Path) -> None:
    elbow = replace(first_session(), pack=PackFacts("elbow", "1"))
    other = save(elbow, tmp_path / "elbow")
    told = refused("report", other)
    assert "read with the pack elbow, which does not come with the program" in told
    pack = tmp_path / "wrist.toml"
    shipped = Path(__file__).resolve().parents[2] / "grammars" / "glenohumeral.toml"
    pack.write_bytes(shipped.read_bytes())
    assert "read with the pack glenohumeral, not wrist" in refused(
        "report", session, "--pack", pack
    )


def test_report_that_cannot_be_written(session: Path, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    told = refused("report", session, "--out", tmp_path / "file")
    assert "cannot be made" in told


def test_compare_prints_the_changes_within_80_columns(sessions: Path) -> None:
    result = run("compare", *(sessions / f"week-{week}" for week in range(4)))
    assert result.exit_code == 0, result.output
    lines = result.output.splitlines()
    assert max(map(len, lines)) <= 80
    text = " ".join(result.output.split())
    assert f"pain 6 → 5 → 3 → 1 {MINUS}5 important (2.17 or more)" in text
    assert "mobility score 1 → 2 → 2 → 3 +2 no limit published" in text
    assert "range 35° → 41° → 49° → 57° +22° beyond error (15°)" in text
    assert "in one session only: right lateral distraction; left lateral" in text
    assert "limit: pain: 2.17 or more, important difference (mean of three" in text


def test_compare_with_a_limit_of_ones_own(sessions: Path) -> None:
    two = sessions / "week-0", sessions / "week-3"
    text = " ".join(run("compare", *two, "--threshold", "pain=6").output.split())
    assert f"pain 6 → 1 {MINUS}5 below your 6" in text
    assert "limit: pain: 6 or more, your limit (set for this comparison)" in text
    for wrong in ("pain", "ache=2", "pain=0", "pain=-1", "pain=nan", "pain=two", "=2", "pain=inf"):
        assert "Invalid value for '--threshold'" in refused("compare", *two, "--threshold", wrong)


def test_compare_writes_the_page_the_picture_and_the_paper(sessions: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    two = sessions / "week-0", sessions / "week-2"
    assert run("compare", *two, "--out", out, "--pdf").exit_code == 0
    assert {p.name for p in out.iterdir()} == {
        "comparison.html", "comparison.pdf", "course.svg"}  # fmt: skip
    assert "<svg" in (out / "course.svg").read_text(encoding="utf-8")
    assert "needs a folder" in refused("compare", *two, "--pdf")


def test_compare_refuses_what_is_no_earlier_and_later(sessions: Path, tmp_path: Path) -> None:
    first, last = sessions / "week-0", sessions / "week-3"
    assert "named twice" in refused("compare", first, first)
    assert "named twice" in refused("compare", first, sessions / "." / "week-0")
    copy = shutil.copytree(first, tmp_path / "copy")
    assert "are the same session" in refused("compare", first, copy)
    told = refused("compare", last, first)
    assert "week-3 (2026-04-20) is later than week-0 (2026-03-02)" in told
    assert "only one session" in refused("compare", first)
    other = json.loads((copy / "session.json").read_text(encoding="utf-8"))
    other["facts"] |= {"patient_code": "P-9", "started_at": "2026-05-01T10:00:00+02:00"}
    (copy / "session.json").write_text(json.dumps(other), encoding="utf-8")
    assert "different patients (week-0: P-014; copy: P-9)" in refused("compare", first, copy)
    other["pack"]["name"] = "elbow"
    other["facts"]["patient_code"] = "P-014"
    (copy / "session.json").write_text(json.dumps(other), encoding="utf-8")
    assert "different packs (week-0: glenohumeral; copy: elbow)" in refused("compare", first, copy)


def test_compare_tells_sessions_of_one_name_apart(sessions: Path, tmp_path: Path) -> None:
    later = shutil.copytree(sessions / "week-3", tmp_path / "week-0")
    result = run("compare", sessions / "week-0", later)
    assert result.exit_code == 0, result.output
    assert str(later) in result.output
