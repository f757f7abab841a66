"""The eye's benchmark: on bodies of dots, whose angles are known."""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
import pytest
from click.testing import CliRunner
from dots import DotBody, DotFinder

from logger.bench.seeing.measure import ArmResult, Cost, Measured
from logger.bench.seeing.report import as_object, as_text, figures, wrong_sides
from logger.bench.seeing.truth import session_in, stills_in
from logger.cli import main
from logger.core.errors import UsageError
from logger.core.events import Side
from logger.core.statements import SetupWindow
from logger.seeing.settings import WatchSettings

DATA = Path(__file__).parent / "data"
KEYS = {"n", "given", "mean_abs_error_deg", "p95_abs_error_deg", "within_5", "within_10"}


def stills(folder: Path) -> Path:
    """Write three pictures of dots with their truth: one person, one "prone", one of "two"."""
    for name, body in (("a.png", DotBody(20, 50)), ("b.png", DotBody(30, 80, 90))):
        cv2.imwrite(str(folder / name), body.frame()[:, :, ::-1])
    one = {"group": "front", "left_elevation": 20.0, "right_elevation": 57.0}
    two = {"side": "R", "left_elevation": 30.0, "right_elevation": 80.0, "azimuth": 3.0}
    (folder / "one_truth.json").write_text(json.dumps({"a.png": one}), encoding="utf-8")
    (folder / "two_truth.json").write_text(json.dumps({"b.png": two}), encoding="utf-8")
    return folder


def session(folder: Path) -> Path:
    """Write four seconds of a body of dots with its arm at 50, and a truth of 52."""
    with av.open(str(folder / "session.mp4"), "w") as container:
        stream = container.add_stream("libx264", rate=5, options={"crf": "0"})
        stream.width, stream.height, stream.pix_fmt = 640, 480, "yuv444p"
        stream.codec_context.time_base = Fraction(1, 5)
        for i in range(20):
            frame = av.VideoFrame.from_ndarray(DotBody(20, 50).frame(), format="rgb24")
            frame.pts, frame.time_base = i, Fraction(1, 5)
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    columns = ["time_s", "right_elevation_deg", "right_plane_deg", "left_elevation_deg"]
    spoken = {"side": "right", "test": "inferior_glide"}
    truth = {
        "columns": columns,
        "frames": [[0.2 * i, 52.0, 0.0, 20.0] for i in range(20)],
        "events": [
            {"start": 3.5, "end": 4.0, "expect": spoken},
            {"start": 0.1, "end": 0.2, "expect": spoken},
            {"start": 1.0, "end": 1.5, "expect": None},
        ],
    }
    (folder / "truth.json").write_text(json.dumps(truth), encoding="utf-8")
    return folder


def test_stills_and_sessions_are_measured_against_their_truth(tmp_path: Path) -> None:
    measured = Measured(WatchSettings(), DotFinder())
    results = [r for still in stills_in(stills(tmp_path)) for r in measured.still(still)]
    errors = {(r.what, r.side): r.error_deg for r in results}
    assert errors == {
        ("a.png", "left"): pytest.approx(0, abs=1.5),
        ("a.png", "right"): pytest.approx(-7, abs=1.5),
        ("b.png", "right"): pytest.approx(0, abs=1.5),
    }
    window = SetupWindow(30, 90, "invented for the tests")
    spoken = measured.session(session_in(session(tmp_path)), {"inferior_glide": window})
    assert [r.error_deg for r in spoken] == [pytest.approx(-2, abs=1.5), None]
    made = as_object([*results, *spoken], measured.cost)
    assert isinstance(made["session"], dict)
    assert made["session"]["n"] == 2
    assert made["session"]["given"] == 1
    for condition in ("front", "oblique", "two", "prone", "session"):
        row = made[condition]
        assert isinstance(row, dict)
        assert row.keys() >= KEYS
    assert made["prone"] == made["oblique"]
    text = as_text([*results, *spoken], measured.cost)
    assert "setups without an angle: 1 of 2" in text
    assert max(len(line) for line in text.splitlines()) <= 100


def result(what: str, side: Side, true: float, given: float | None) -> ArmResult:
    """Return an arm with its outcome."""
    return ArmResult(what, "front", side, true, given)


def test_figures_are_those_of_numpy() -> None:
    errors = [1.0, -2.0, 4.0, -6.0, 12.0]
    row = figures(
        [*(result("p", "left", 50, 50 + e) for e in errors), result("p", "left", 50, None)]
    )
    assert (row.n, row.given) == (6, 5)
    assert row.mean_abs_error_deg == pytest.approx(np.mean(np.abs(errors)))
    assert row.p95_abs_error_deg == pytest.approx(np.percentile(np.abs(errors), 95))
    assert (row.within_5, row.within_10) == (0.6, 0.8)
    empty = figures([result("p", "left", 50, None)])
    assert (empty.given, empty.mean_abs_error_deg, empty.within_10) == (0, None, None)


def test_swapped_sides_are_counted() -> None:
    swapped = [result("p", "left", 20, 61), result("p", "right", 60, 19)]
    straight = [result("q", "left", 20, 22), result("q", "right", 60, 58)]
    assert wrong_sides([*swapped, *straight]) == 1
    assert as_object([], Cost())["wrong_side"] == 0


def test_what_is_missing_is_named(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="nowhere"):
        stills_in(tmp_path / "nowhere")
    with pytest.raises(UsageError, match=r"one_truth\.json"):
        stills_in(tmp_path)
    with pytest.raises(UsageError, match=r"session\.mp4"):
        session_in(tmp_path)
    (tmp_path / "one_truth.json").write_text('{"gone.jpg": {"group": "front"}}', encoding="utf-8")
    with pytest.raises(UsageError, match=r"gone\.jpg"):
        stills_in(tmp_path)
    (tmp_path / "one_truth.json").write_text("no json", encoding="utf-8")
    with pytest.raises(UsageError, match="JSON"):
        stills_in(tmp_path)


def test_the_command_wants_something_to_measure() -> None:
    outcome = CliRunner().invoke(main, ["bench", "seeing"])
    assert outcome.exit_code == UsageError.exit_code
    assert len(outcome.output.strip().splitlines()) == 1
    assert "Example" in CliRunner().invoke(main, ["bench", "seeing", "--help"]).output


@pytest.mark.parametrize("region", ["1,2,3", "a,b,c,d", "1,2,0,4", "1,2,nan,4"])
def test_a_region_that_is_none_is_refused(region: str) -> None:
    outcome = CliRunner().invoke(main, ["read", "a.mp4", "--out", "b", "--patient-region", region])
    assert outcome.exit_code == 2
    assert "--patient-region" in outcome.output


@pytest.mark.model
def test_the_command_prints_conditions_and_marker_scenes_as_one_object(tmp_path: Path) -> None:
    picture = cv2.imread(str(DATA / "frontal_047.jpg"))
    assert picture is not None
    cv2.imwrite(str(tmp_path / "a.png"), picture)
    truth = json.loads((DATA / "truth.json").read_text())["frontal_047.jpg"]
    one = {"a.png": {"group": "front", **truth}}
    (tmp_path / "one_truth.json").write_text(json.dumps(one), encoding="utf-8")
    command = ["bench", "seeing", "--stills", str(tmp_path), "--marker-scenes", "1", "--json"]
    outcome = CliRunner().invoke(main, command)
    assert outcome.exit_code == 0, outcome.output
    lines = outcome.output.strip().splitlines()
    told = json.loads(lines[-1])
    assert told["front"]["given"] == 2
    assert told["front"]["mean_abs_error_deg"] <= 8
    assert told["markers"]["n"] == 8
    assert told["markers"].keys() >= KEYS
    assert any(line.startswith("markers ") for line in lines[:-1])
