"""Bad recordings and bad options through the command: a sentence, a code, nothing lost."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

import av
import cv2
import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner, Result

from logger.cli import main

if TYPE_CHECKING:
    from numpy.typing import NDArray

ROOT = Path(__file__).parent.parent.parent
STILLS = ROOT / "tests" / "seeing" / "data"
DEMO = ROOT / "demo_media" / "session.mp4"
SAID = json.loads((ROOT / "demo_media" / "session_said.json").read_text(encoding="utf-8"))
TRUE = json.loads((STILLS / "truth.json").read_text(encoding="utf-8"))
pytestmark = pytest.mark.model


def read(*args: object) -> Result:
    return CliRunner().invoke(main, ["read", *map(str, args)])


def film(path: Path, picture: NDArray[np.uint8] | None, sound_s: float) -> Path:
    """Write a picture held for 3 s, or none, with silence of `sound_s`, or none."""
    with av.open(str(path), "w") as container:
        video = container.add_stream("mpeg4", rate=5) if picture is not None else None
        audio = container.add_stream("aac", rate=16_000, layout="mono") if sound_s else None
        if video is not None and picture is not None:
            video.height, video.width, video.pix_fmt = *picture.shape[:2], "yuv420p"
            video.bit_rate = 2_000_000
            for number in range(15):
                frame = av.VideoFrame.from_ndarray(picture, format="rgb24")
                frame.pts, frame.time_base = number, Fraction(1, 5)
                container.mux(video.encode(frame))
            container.mux(video.encode(None))
        if audio is not None:
            silence = np.zeros((1, round(sound_s * 16_000)), np.float32)
            sound = av.AudioFrame.from_ndarray(silence, format="fltp", layout="mono")
            sound.sample_rate = 16_000
            container.mux(audio.encode(sound))
            container.mux(audio.encode(None))
    return path


def still(name: str) -> NDArray[np.uint8]:
    picture = cv2.imread(str(STILLS / name))
    assert picture is not None
    return cv2.cvtColor(picture, cv2.COLOR_BGR2RGB).astype(np.uint8)


def angles_of(folder: Path) -> pd.DataFrame:
    return pd.read_csv(folder / "arm_angle.csv")


@pytest.mark.parametrize(
    ("content", "sentence"),
    [(b"", "empty"), (b"these are notes, not a film\n" * 40, "not"), (None, "No such file")],
)
def test_what_is_no_recording_is_named_with_code_3(
    tmp_path: Path, content: bytes | None, sentence: str
) -> None:
    path = tmp_path / "Prüfung eins.mp4"
    if content is not None:
        path.write_bytes(content)
    result = read(path, "--out", tmp_path / "out")
    assert result.exit_code == 3
    assert "Prüfung eins.mp4" in result.output
    assert sentence in result.output
    assert not (tmp_path / "out").exists()


def test_a_bad_recording_does_not_keep_the_good_ones_from_being_read(tmp_path: Path) -> None:
    good = film(tmp_path / "good.mp4", None, 2.0)
    result = read(tmp_path / "gone.mp4", good, "--out", tmp_path / "out", "--quiet")
    assert result.exit_code == 3
    assert (tmp_path / "out" / "good" / "findings.csv").is_file()
    assert not (tmp_path / "out" / "gone").exists()


def test_no_sound_gives_an_empty_table_and_says_so(tmp_path: Path) -> None:
    path = film(tmp_path / "still film.mp4", np.full((240, 320, 3), 90, np.uint8), 0.0)
    result = read(path, "--out", tmp_path / "out")
    assert result.exit_code == 0, result.output
    assert "no sound" in result.output
    assert "0 findings" in result.output
    assert angles_of(tmp_path / "out" / "still film")["angle_deg"].isna().all()


def test_no_picture_gives_a_table_without_angles_and_says_so(tmp_path: Path) -> None:
    result = read(film(tmp_path / "a.m4a", None, 2.0), "--out", tmp_path / "out")
    assert result.exit_code == 0, result.output
    assert "no picture" in result.output
    assert angles_of(tmp_path / "out" / "a").empty


@pytest.mark.parametrize("name", ["nobody", "two_002.jpg", "two_004.jpg"])
def test_nobody_or_two_people_in_view_give_no_wrong_angle(tmp_path: Path, name: str) -> None:
    """Two people: an angle within 10 degrees of the truth of the patient's arm, or none."""
    picture = np.full((480, 640, 3), 128, np.uint8) if name == "nobody" else still(name)
    result = read(film(tmp_path / "view.mp4", picture, 1.0), "--out", tmp_path / "out")
    assert result.exit_code == 0, result.output
    table = angles_of(tmp_path / "out" / "view")
    assert len(table) == 30
    assert table.loc[~table["visible"], "reason"].notna().all()
    true = TRUE.get(name, {})
    for side, angle in table.loc[table["visible"], ["side", "angle_deg"]].itertuples(index=False):
        assert abs(angle - true[f"{side}_elevation"]) <= 10


def test_a_cut_off_recording_is_read_up_to_the_cut_and_says_so(tmp_path: Path) -> None:
    path = tmp_path / "cut off.mkv"
    with av.open(str(DEMO)) as whole, av.open(str(path), "w") as part:
        sound = part.add_stream_from_template(whole.streams.audio[0])
        for packet in whole.demux(audio=0):
            if packet.pts is not None:
                packet.stream = sound
                part.mux(packet)
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 4])
    result = read(path, "--out", tmp_path / "out")
    assert result.exit_code == 0, result.output
    assert "warning: " in result.output
    table = pd.read_csv(tmp_path / "out" / "cut off" / "findings.csv")
    tests = [e["expect"]["test"] for e in SAID if "test" in (e["expect"] or {})]
    assert 1 <= len(table) < len(tests)
    assert list(table["test"]) == tests[: len(table)]


@pytest.mark.parametrize(
    ("options", "code", "sentence"),
    [
        (("--engine", "parrot"), 2, "Unknown engine 'parrot'"),
        (("--speech-model", STILLS), 5, "is not a"),
        (("--engine", "vosk", "--speech-model", STILLS), 5, "is not a Vosk model folder"),
        (("--pose-model", STILLS / "truth.json"), 5, "truth.json is no pose model bundle"),
        (("--pack", "knee"), 4, "knee"),
    ],
)
def test_a_wrong_option_is_one_sentence(
    tmp_path: Path, options: tuple[object, ...], code: int, sentence: str
) -> None:
    path = film(tmp_path / "a.mp4", np.full((240, 320, 3), 90, np.uint8), 1.0)
    result = read(path, "--out", tmp_path / "out", *options)
    assert result.exit_code == code
    assert sentence in result.output
    assert not (tmp_path / "out").exists()


def test_a_typo_in_a_pack_is_named_with_its_line_and_key(tmp_path: Path) -> None:
    text = (ROOT / "grammars" / "glenohumeral.toml").read_text(encoding="utf-8")
    lines = text.replace("high_deg = 90", "hihg_deg = 90").splitlines()
    line = next(number for number, written in enumerate(lines, 1) if "hihg" in written)
    pack = tmp_path / "mine.toml"
    pack.write_text("\n".join(lines), encoding="utf-8")
    result = read(DEMO, "--out", tmp_path / "out", "--pack", pack)
    assert result.exit_code == 4
    assert f"mine.toml:{line}: setup.inferior_glide.hihg_deg" in result.output


def test_an_out_folder_that_cannot_be_made_is_code_6(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    path = film(tmp_path / "a.m4a", None, 1.0)
    result = read(path, "--out", tmp_path / "file" / "out")
    assert result.exit_code == 6
    assert "file" in result.output


_LIMITED = """
import resource, signal, sys
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (2000, 2000))
from logger.cli import main
sys.argv = ["spoken-findings", *sys.argv[1:]]
main()
"""


@pytest.mark.skipif(not hasattr(signal, "SIGXFSZ"), reason="no limit on file sizes here")
def test_a_full_disk_midway_leaves_the_earlier_results(tmp_path: Path) -> None:
    """The system is told to refuse files over 2 kB, as a full disk does."""
    path, out = film(tmp_path / "a.m4a", None, 1.0), tmp_path / "out"
    assert read(path, "--out", out, "--quiet").exit_code == 0
    before = {file.name: file.read_bytes() for file in (out / "a").iterdir()}
    assert any(len(content) > 2000 for content in before.values())
    done = subprocess.run(  # noqa: S603 - our own interpreter and arguments
        [sys.executable, "-c", _LIMITED, "read", str(path), "--again", "--out", str(out)],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1"},
    )
    assert done.returncode == 6, done.stderr
    assert "Traceback" not in done.stderr
    assert {file.name: file.read_bytes() for file in (out / "a").iterdir()} == before
    assert [entry.name for entry in out.iterdir()] == ["a"]
