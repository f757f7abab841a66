"""The command for practice: its table, its files, and what it says where it cannot help."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from clips import Clip, write_clip
from fresh import loaded_by

from logger.cli import main
from logger.commands import setup as command
from logger.commands.setup import chosen_windows, summary
from logger.core.errors import UsageError
from logger.core.events import ArmAngle, Side, Watched
from logger.core.holds import Practice
from logger.grammar.loading import load_pack

EVEN = tuple(i / 5 for i in range(60))
FILES = {"holds.csv", "arm_angle.csv", "setup.png", "setup.svg"}
Put = Callable[[Watched], None]


def arm(angle_deg: Callable[[float], float | None], side: Side = "right") -> Watched:
    """Return 12 s of one arm at 5 samples a second; None is not seen."""
    return Watched(
        tuple(
            ArmAngle(t, side, angle_deg(t), visible=angle_deg(t) is not None,
                     reason="" if angle_deg(t) is not None else "hands cover the arm")
            for t in EVEN
        )
    )  # fmt: skip


@pytest.fixture
def eye(monkeypatch: pytest.MonkeyPatch) -> Put:
    """Let the eye see what a test says."""

    def put(watched: Watched) -> None:
        monkeypatch.setattr(command, "watch_recording", lambda *_: watched)

    return put


def run(path: Path, tmp_path: Path, *more: str) -> Result:
    return CliRunner().invoke(main, ["setup", str(path), "--out", str(tmp_path / "o"), *more])


def film(tmp_path: Path, times: tuple[float, ...] = EVEN) -> Path:
    return write_clip(tmp_path / "practice.mp4", Clip(times))


def test_table_of_two_holds(tmp_path: Path, eye: Put) -> None:
    eye(arm(lambda t: 12.0 if t < 4 else min(12 + 40 * (t - 4), 52)))
    result = run(film(tmp_path), tmp_path)
    assert result.exit_code == 0, result.output
    assert "practice.mp4: 2 holds: 1 in a window, 1 at rest." in result.output
    row = next(line for line in result.output.splitlines() if line.startswith(" 2 right"))
    assert "52°" in row
    assert row.endswith("A, C in")
    # tan(56) = tan(52) / cos(30): posterior glide is set up in the scapular plane.
    assert "B borderline, just inside, at 56°" in " ".join(result.output.split())
    there_s = float(row.split(" s ")[0].split()[-1])
    assert there_s == pytest.approx(1.0, abs=0.41), "within a sample at either end"
    assert "feedback on the setup angle only" in result.output
    assert max(len(line) for line in result.output.splitlines()) <= 80
    assert {path.name for path in (tmp_path / "o" / "practice").iterdir()} == FILES


def test_one_test_asked_for_is_judged_alone(tmp_path: Path, eye: Put) -> None:
    eye(arm(lambda _: 75.0))
    result = run(film(tmp_path), tmp_path, "--test", "inferior glide", "--side", "right")
    assert "window  30–90°  inferior glide" in result.output  # noqa: RUF001 - a range
    assert " in\n" in result.output
    result = run(film(tmp_path), tmp_path, "--test", "posterior_glide", "--side", "right")
    # tan(76.9) = tan(75) / cos(30)
    assert "out, 17° above, at 77°" in result.output
    csv = (tmp_path / "o" / "practice" / "holds.csv").read_text(encoding="utf-8").splitlines()
    assert len(csv) == 2
    assert csv[1].endswith("30.0,posterior_glide,76.9,out_of_range,16.9")


def test_side_asked_for_is_shown_alone(tmp_path: Path, eye: Put) -> None:
    both = (*arm(lambda _: 45.0).angles, *arm(lambda _: 80.0, "left").angles)
    eye(Watched(both))
    result = run(film(tmp_path), tmp_path, "--side", "left")
    assert "right" not in result.output
    assert "80°" in result.output
    svg = (tmp_path / "o" / "practice" / "setup.svg").read_text(encoding="utf-8")
    assert "Left arm" in svg
    assert "Right arm" not in svg


def test_drift_is_named_with_its_rate(tmp_path: Path, eye: Put) -> None:
    eye(arm(lambda t: 55 - t))
    result = run(film(tmp_path), tmp_path, "--test", "posterior_glide", "--side", "right")
    assert "drifts down by 1.0° a" in result.output.replace("\n", " ").replace("  ", "")


def test_unseen_stretch_is_told_and_has_no_angle(tmp_path: Path, eye: Put) -> None:
    eye(arm(lambda t: 45.0 if t < 3 or t > 8 else None))
    result = run(film(tmp_path), tmp_path, "--side", "right")
    assert "not seen, right arm: 0:02.8 to 0:08.2 (hands cover the arm)" in result.output
    assert len([line for line in result.output.splitlines() if "45°" in line]) == 2


@pytest.mark.parametrize(
    ("times", "watched", "sentence"),
    [
        (EVEN, arm(lambda _: None), "not seen in any picture (hands cover the arm)"),
        (EVEN, Watched(), "not seen in any picture"),
        (EVEN, arm(lambda t: 15 * t), "there is no hold to show"),
        (EVEN[:3], Watched(), "a hold lasts 1 s"),
        (tuple(float(i) for i in range(20)), arm(lambda _: None), "1.0 pictures a second"),
    ],
)
def test_no_hold_is_a_sentence_and_an_empty_table(
    tmp_path: Path, eye: Put, times: tuple[float, ...], watched: Watched, sentence: str
) -> None:
    eye(watched)
    result = run(film(tmp_path, times), tmp_path)
    assert result.exit_code == 0
    assert sentence in " ".join(result.output.split())
    csv = (tmp_path / "o" / "practice" / "holds.csv").read_text(encoding="utf-8").splitlines()
    assert len(csv) == 1
    assert {path.name for path in (tmp_path / "o" / "practice").iterdir()} == FILES


@pytest.mark.parametrize(
    ("args", "outcome"),
    [
        (["setup", "missing.mp4"], (3, "No such file")),
        (["setup", "sound.wav"], (3, "has no picture")),
        (["setup", "practice.mp4", "--test", "no such"], (2, "no setup window for 'no_such'")),
        (["setup", "practice.mp4", "--pack", "nowhere.toml"], (4, "nowhere")),
        (["setup", "practice.mp4", "--out", "practice.mp4"], (6, "practice.mp4")),
        (["setup", "practice.mp4", "--pose-model", "nowhere.task"], (5, "nowhere.task")),
    ],
)
def test_what_cannot_be_done_is_one_sentence_and_a_code(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    args: list[str],
    outcome: tuple[int, str],
) -> None:
    """Through the program's own entry: the code and the one sentence."""
    code, sentence = outcome
    film(tmp_path)
    write_clip(tmp_path / "sound.wav", Clip(sound_s=1.0, codecs=("", "pcm_s16le")))
    monkeypatch.chdir(tmp_path)
    if code == 6:
        monkeypatch.setattr(command, "watch_recording", lambda *_: Watched())
    monkeypatch.setattr(sys, "argv", ["spoken-findings", *args])
    with pytest.raises(SystemExit) as left:
        main()
    assert left.value.code == code
    told = capsys.readouterr().err
    assert sentence in told
    assert len(told.strip().splitlines()) == 1


def test_quiet_prints_nothing(tmp_path: Path, eye: Put) -> None:
    eye(arm(lambda _: 45.0))
    assert run(film(tmp_path), tmp_path, "--quiet").output == ""


def test_unknown_test_names_those_there_are() -> None:
    with pytest.raises(UsageError, match="inferior_glide"):
        chosen_windows(load_pack("glenohumeral"), ["flexion"])
    assert summary(Practice(1.0, (), (), ())) == "No hold was found."


def test_other_commands_do_not_load_what_draws() -> None:
    """The plot brings matplotlib along, the video its font and Pillow."""
    code = (
        "from importlib import import_module; from logger.cli import COMMANDS; "
        "[import_module(f'logger.commands.{module}') for module, _ in COMMANDS.values()]"
    )
    assert loaded_by(code, {"logger.files.angle_plot", "logger.files.lettering"}) == set()
