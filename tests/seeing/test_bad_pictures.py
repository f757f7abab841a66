"""The real pose model on what goes wrong in a room: a sentence each, and no wrong number.

The stills and their true angles: see data/README.md.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Final

import av
import cv2
import numpy as np
import pytest

from logger.core.events import SIDES, ArmAngle, SetupStatus, Watched
from logger.findings.setup import SetupRules, read_setup
from logger.recording.media import open_recording
from logger.seeing.bundle import pose_bundle
from logger.seeing.live import LiveEye
from logger.seeing.pose import PoseModel
from logger.seeing.settings import WatchSettings
from logger.seeing.watching import Watcher

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    Picture = NDArray[np.uint8]

pytestmark = pytest.mark.model
DATA: Final = Path(__file__).parent / "data"
TRUTH: Final[dict[str, dict[str, float]]] = json.loads((DATA / "truth.json").read_text())
NAME: Final = "frontal_047.jpg"
TRUE: Final = {side: TRUTH[NAME][f"{side}_elevation"] for side in SIDES}
SLACK_DEG: Final = 8.0


@pytest.fixture(scope="module")
def model(tmp_path_factory: pytest.TempPathFactory) -> Iterator[PoseModel]:
    """Load the model once."""
    bundle = pose_bundle(cache_dir=tmp_path_factory.mktemp("cache"))
    with PoseModel(bundle, max_people=2) as loaded:
        yield loaded


def still(name: str = NAME) -> Picture:
    picture = cv2.imread(str(DATA / name))
    assert picture is not None
    return np.ascontiguousarray(picture[:, :, ::-1]).astype(np.uint8)


def room() -> Picture:
    """Return an empty room, as bright as the stills."""
    return np.full_like(still(), round(float(still().mean())))


def watch(model: PoseModel, pictures: Sequence[Picture], rate_hz: float = 5.0) -> Watched:
    frames = [(i / rate_hz, rgb) for i, rgb in enumerate(pictures)]
    return Watcher(WatchSettings(), model).watch(lambda: frames)


def right_or_blank(angles: Sequence[ArmAngle]) -> int:
    """Check that every angle that counts is near the truth; return how many count."""
    counted = [angle for angle in angles if angle.visible]
    for angle in counted:
        assert angle.angle_deg == pytest.approx(TRUE[angle.side], abs=SLACK_DEG)
    return len(counted)


def turned(rgb: Picture, degrees: float, shift: tuple[float, float]) -> Picture:
    height, width = rgb.shape[:2]
    matrix = cv2.getRotationMatrix2D((width / 2, height / 2), degrees, 0.9)
    matrix[:, 2] = matrix[:, 2] + shift
    level = [round(float(rgb.mean()))] * 3
    return cv2.warpAffine(rgb, matrix, (width, height), borderValue=level).astype(np.uint8)


def test_a_portrait_video_with_a_rotation_tag_is_read_upright(
    model: PoseModel, tmp_path: Path
) -> None:
    stored = np.ascontiguousarray(np.rot90(still()))
    with av.open(str(tmp_path / "a.mp4"), "w") as container:
        stream = container.add_stream("mpeg4", rate=5, options={"qscale": "2"})
        assert isinstance(stream, av.VideoStream)
        stream.height, stream.width = stored.shape[:2]
        stream.bit_rate = 8_000_000
        stream.pix_fmt = "yuv420p"
        stream.set_display_rotation(-90)
        for _ in range(6):
            container.mux(stream.encode(av.VideoFrame.from_ndarray(stored, format="rgb24")))
        container.mux(stream.encode(None))
    recording = open_recording(tmp_path / "a.mp4")
    assert recording.rotation_deg in {90, 270}
    frames = [(frame.time_s, frame.rgb) for frame in recording.frames(None)]
    assert frames[0][1].shape == still().shape
    watched = Watcher(WatchSettings(), model).watch(lambda: frames)
    assert right_or_blank(watched.angles[-2:]) == 2
    body = watched.bodies[-1].points
    plain = watch(model, [still()] * 6).bodies[-1].points
    assert body["left_elbow"] == pytest.approx(plain["left_elbow"], abs=8)


def test_one_picture_a_second_gives_a_sentence_and_no_setup(model: PoseModel) -> None:
    watched = watch(model, [still()] * 12, rate_hz=1.0)
    assert any("1.0 pictures a second" in warning for warning in watched.warnings)
    right_or_blank(watched.angles)
    for side in SIDES:
        reading = read_setup(watched.angles, side, 11.0, None, SetupRules())
        assert reading.status is SetupStatus.NOT_SEEN


def test_a_camera_knocked_over_gives_a_sentence_and_blanks_from_then_on(model: PoseModel) -> None:
    fallen = turned(still(), 60, (60, -30))
    watched = watch(model, [still()] * 25 + [fallen] * 25)
    assert any("moved" in warning for warning in watched.warnings)
    assert not any(angle.visible for angle in watched.angles if angle.time_s >= 5)
    assert right_or_blank(watched.angles) >= 40


def test_a_picture_upside_down_keeps_the_sides(model: PoseModel) -> None:
    upside_down = np.ascontiguousarray(still()[::-1, ::-1])
    assert right_or_blank(watch(model, [upside_down] * 6).angles[-2:]) == 2


def test_the_night_gives_a_sentence_and_no_angle_that_is_wrong(model: PoseModel) -> None:
    for share in (8, 60):
        watched = watch(model, [still() // share] * 6)
        assert any("dark" in warning for warning in watched.warnings)
        right_or_blank(watched.angles)
    assert not any(angle.visible for angle in watched.angles)


def test_a_patient_who_comes_late_is_read_from_then_on(model: PoseModel) -> None:
    watched = watch(model, [room()] * 25 + [still()] * 25)
    assert not any(angle.visible for angle in watched.angles if angle.time_s < 5)
    assert right_or_blank(watched.angles) >= 40


def test_three_people_alike_give_a_sentence_and_no_angle(model: PoseModel) -> None:
    narrow = still("frontal_050.jpg")[:, 170:470]
    watched = watch(model, [np.ascontiguousarray(np.hstack([narrow] * 3))] * 6)
    assert not any(angle.visible for angle in watched.angles)
    assert any("--patient-region" in warning for warning in watched.warnings)


def test_a_poster_of_a_person_is_not_the_patient(model: PoseModel) -> None:
    """A small picture of somebody else with other angles hangs beside the patient."""
    scene = np.hstack([still(), room()[:, :240]])
    poster = cv2.resize(still("frontal_001.jpg"), None, fx=0.36, fy=0.36)
    scene[20 : 20 + poster.shape[0], 645 : 645 + poster.shape[1]] = poster
    watched = watch(model, [np.ascontiguousarray(scene)] * 8)
    given = right_or_blank(watched.angles[-2:])
    assert given == 2 or any("--patient-region" in warning for warning in watched.warnings)


@pytest.mark.slow
def test_live_the_same_holds(model: PoseModel) -> None:
    eye = LiveEye(WatchSettings(), model)
    fallen = turned(still(), 60, (60, -30))
    shown = [room()] * 60 + [still()] * 120 + [fallen] * 25 + [still() // 60] * 40
    looks = [eye.look(i / 10, rgb) for i, rgb in enumerate(shown)]
    assert not any(angle.visible for look in looks[:60] for angle in look.angles)
    assert right_or_blank([angle for look in looks[60:180] for angle in look.angles]) >= 40
    assert all(look.advice for look in looks[:60])
    assert not any(angle.visible for look in looks[180:] for angle in look.angles)
    assert looks[-1].advice == "The patient is hidden or has moved."
    assert not looks[-1].found
