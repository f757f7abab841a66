"""The whole way: a recording with strips and speech, through `read`, to a row with its angle."""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path
from typing import Final

import av
import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from logger.bench.marker_scenes import Scene, render, still
from logger.cli import main
from logger.core.events import ArmAngle, Side, Watched
from logger.seeing.markers.camera import CameraChoice, camera_of_focal_35mm
from logger.seeing.markers.using import MarkerOptions, MarkerScout, with_markers

DEMO: Final = Path(__file__).parent.parent.parent / "demo_media" / "session.mp4"
SPOKEN_S: Final = (16.5, 23.5)
"""Of the demonstration's sound: "check position", then "right lateral distraction, normal, no
pain"."""
RATE_HZ: Final = 5
SCENE: Final = Scene(
    camera_of_focal_35mm(28, 640, 480),
    1150,
    azimuth_deg=20,
    roll_deg=-80,
    plane_deg=25,
    slope_deg=12,
    rough=0.5,
    wearer=2,
)


def elevation_deg(time_s: float) -> float:
    """Return the true angle: along the trunk for a second, then raised to 50 and held."""
    return float(np.interp(time_s, (1.2, 2.0), (0, 50)))


def sound() -> np.ndarray[tuple[int, ...], np.dtype[np.float32]]:
    """Return the demonstration's sound of `SPOKEN_S`, mono, 16 kHz."""
    pieces = []
    with av.open(str(DEMO)) as container:
        resampler = av.AudioResampler(format="fltp", layout="mono", rate=16_000)
        for frame in container.decode(audio=0):
            pieces += [part.to_ndarray()[0] for part in resampler.resample(frame)]
    whole = np.concatenate(pieces)
    return whole[round(SPOKEN_S[0] * 16_000) : round(SPOKEN_S[1] * 16_000)].astype(np.float32)


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a film of rendered strips (H.264) with that sound."""
    path = tmp_path_factory.mktemp("film") / "worn.mp4"
    samples = sound()
    with av.open(str(path), "w") as container:
        picture = container.add_stream("libx264", rate=RATE_HZ, options={"crf": "26"})
        picture.width, picture.height, picture.pix_fmt = 640, 480, "yuv420p"
        voice = container.add_stream("aac", rate=16_000, layout="mono")
        for number in range(round((SPOKEN_S[1] - SPOKEN_S[0]) * RATE_HZ)):
            scene = Scene(
                **{name: getattr(SCENE, name) for name in SCENE.__slots__}
                | {"elevation_deg": elevation_deg(number / RATE_HZ)}
            )
            frame = av.VideoFrame.from_ndarray(render(still(scene, number)), format="rgb24")
            frame.pts, frame.time_base = number, Fraction(1, RATE_HZ)
            container.mux(picture.encode(frame))
        container.mux(picture.encode(None))
        block = av.AudioFrame.from_ndarray(samples[None], format="fltp", layout="mono")
        block.sample_rate, block.pts = 16_000, 0
        container.mux(voice.encode(block))
        container.mux(voice.encode(None))
    return path


def read(recording: Path, out: Path, *options: str) -> tuple[pd.DataFrame, pd.DataFrame, str]:
    args = ["read", str(recording), "--out", str(out), *options]
    result = CliRunner().invoke(main, args)
    assert result.exit_code == 0, result.output
    folder = out / recording.stem
    return (
        pd.read_csv(folder / "findings.csv"),
        pd.read_csv(folder / "arm_angle.csv"),
        result.output,
    )


@pytest.mark.model
def test_row_has_the_angle_of_the_markers(recording: Path, tmp_path: Path) -> None:
    table, angles, shown = read(
        recording, tmp_path, "--markers", "only", "--focal-35mm", "28", "--neutral", "0.5"
    )
    (row,) = table[table["test"] == "lateral_distraction"].to_dict("records")
    assert row["side"] == "right"
    assert row["arm_angle_deg"] == pytest.approx(50, abs=2)
    assert row["arm_angle_source"] == "markers"
    assert 2.5 <= row["arm_angle_error_deg"] < 4
    assert row["setup"] == "in_range"
    right = angles[angles["side"] == "right"]
    assert right["visible"].mean() > 0.8
    held = right[(right["time_s"] > 2.2) & right["visible"]]
    truth = [elevation_deg(time_s) for time_s in held["time_s"]]
    assert np.abs(held["angle_deg"] - truth).max() < 3
    assert held["plane_deg"].median() == pytest.approx(25, abs=5)
    assert not angles[angles["side"] == "left"]["visible"].any()
    assert "by markers" in shown
    assert "zero is where the arm lay at 0.5 s" in " ".join(shown.split())
    session = json.loads((tmp_path / "worn" / "session.json").read_text(encoding="utf-8"))
    assert session["options"]["neutral_s"] == "0.5"
    assert session["options"]["markers"] == "only"


@pytest.mark.model
def test_markers_are_noticed_without_being_told(recording: Path, tmp_path: Path) -> None:
    table, angles, _ = read(recording, tmp_path)
    (row,) = table[table["test"] == "lateral_distraction"].to_dict("records")
    assert row["arm_angle_source"] == "markers"
    assert set(angles[angles["side"] == "right"]["source"]) == {"markers"}
    assert set(angles[angles["side"] == "left"]["source"]) == {"pose"}


def film(*scenes: Scene) -> list[tuple[float, np.ndarray[tuple[int, ...], np.dtype[np.uint8]]]]:
    return [(float(number), render(scene)) for number, scene in enumerate(scenes)]


def test_scout_wants_trunk_and_arm_more_than_once() -> None:
    empty = np.full((480, 640, 3), 90, np.uint8)
    for frames, sides in (
        (film(SCENE, SCENE), ("right",)),
        ([*film(SCENE), (1.0, empty), (2.0, empty)], ()),
        ([(0.0, empty)], ()),
    ):
        scout = MarkerScout()
        assert [time_s for time_s, _ in scout.through(frames)] == [t for t, _ in frames]
        assert scout.sides == sides
    idle = MarkerScout(active=False)
    assert len(list(idle.through(film(SCENE, SCENE)))) == 2
    assert idle.sides == ()


def test_nothing_is_mixed_within_one_arm() -> None:
    def watched(source: str, times: tuple[float, ...]) -> Watched:
        sides: tuple[Side, Side] = ("left", "right")
        return Watched(
            tuple(
                ArmAngle(t, side, 10.0, visible=True, source=source)  # type: ignore[arg-type]
                for t in times
                for side in sides
            ),
            warnings=(source,),
        )

    both = with_markers(watched("pose", (0, 1, 2)), watched("markers", (0.5, 1.5)), ("left",))
    assert {s.source for s in both.angles if s.side == "left"} == {"markers"}
    assert {s.source for s in both.angles if s.side == "right"} == {"pose"}
    assert [s.time_s for s in both.angles] == sorted(s.time_s for s in both.angles)
    assert both.warnings == ("pose", "markers")


def test_user_is_told_when_the_markers_were_not_found() -> None:
    seen = Watched((), warnings=("before",))
    assert MarkerOptions().unused(seen) == seen
    told = MarkerOptions(camera=CameraChoice(focal_35mm=26), neutral_s=3.0)
    assert told.unused(seen).warnings[0] == "before"
    assert "No strips of markers" in told.unused(seen).warnings[1]
    assert told.in_session()["neutral_s"] == "3"
