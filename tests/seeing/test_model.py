"""The real pose model: its bundle, and stills whose angles are known (see data/README.md)."""

from __future__ import annotations

import json
import zipfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np
import pytest

from logger.core.errors import ModelError
from logger.core.events import SIDES
from logger.seeing.bundle import DETECTOR_NAME, LANDMARKS_NAME, check_bundle, pose_bundle
from logger.seeing.pose import PoseModel
from logger.seeing.settings import WatchSettings
from logger.seeing.watching import Watcher

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from logger.core.events import ArmAngle, Watched

pytestmark = pytest.mark.model
DATA = Path(__file__).parent / "data"
TRUTH: dict[str, dict[str, float]] = json.loads((DATA / "truth.json").read_text())
SEEN_WELL = [name for name in TRUTH if not name.startswith("two")]


@pytest.fixture(scope="module")
def bundle(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Put the bundle together in a fresh cache."""
    return pose_bundle(cache_dir=tmp_path_factory.mktemp("cache"))


@pytest.fixture(scope="module")
def model(bundle: Path) -> Iterator[PoseModel]:
    """Load the model once."""
    with PoseModel(bundle, max_people=2) as loaded:
        yield loaded


def still(name: str) -> NDArray[np.uint8]:
    """Read one still as RGB."""
    picture = cv2.imread(str(DATA / name))
    assert picture is not None
    return np.ascontiguousarray(picture[:, :, ::-1]).astype(np.uint8)


def watch(model: PoseModel, rgb: NDArray[np.uint8]) -> dict[str, ArmAngle]:
    """Watch a still held for four frames; return its last sample of each side."""
    return {s.side: s for s in watched(model, rgb).angles[-2:]}


def watched(
    model: PoseModel, rgb: NDArray[np.uint8], settings: WatchSettings | None = None
) -> Watched:
    """Watch a still held for four frames."""
    frames = [(0.2 * i, rgb) for i in range(4)]
    return Watcher(settings or WatchSettings(), model).watch(lambda: frames)


@pytest.mark.parametrize("name", SEEN_WELL)
def test_each_arm_of_a_still_is_near_its_true_elevation(model: PoseModel, name: str) -> None:
    # The true angles are the body model's; over all 36 stills of its kind the mean error was 2.4,
    # the largest 11.5.
    for side, sample in watch(model, still(name)).items():
        assert sample.visible, sample.reason
        assert sample.angle_deg == pytest.approx(TRUTH[name][f"{side}_elevation"], abs=8)


def test_left_and_right_are_not_swapped_from_front_or_back(model: PoseModel) -> None:
    for name in ("frontal_001.jpg", "frontal_050.jpg", "prone_41_004.jpg", "prone_41_008.jpg"):
        found, true = watch(model, still(name)), TRUTH[name]
        apart = (found["right"].angle_deg or 0) - (found["left"].angle_deg or 0)
        assert np.sign(apart) == np.sign(true["right_elevation"] - true["left_elevation"])


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_a_turned_picture_gives_the_same_angles(model: PoseModel, turns: int) -> None:
    name = "frontal_047.jpg"
    for side, sample in watch(model, np.rot90(still(name), turns)).items():
        assert sample.angle_deg == pytest.approx(TRUTH[name][f"{side}_elevation"], abs=8)


@pytest.mark.parametrize(
    ("name", "trunk_px", "given"),
    [
        ("two_002.jpg", (320, 200), False),
        ("two_004.jpg", (291, 238), False),
        ("two_009.jpg", (345, 240), True),
        ("two_024.jpg", (320, 200), False),
        ("two_037.jpg", (321, 219), True),
    ],
)
def test_beside_a_clinician_the_patients_arm_is_right_or_blank(
    model: PoseModel, name: str, trunk_px: tuple[float, float], given: bool
) -> None:
    # The arm under test is the left one in all of these; where the patient's trunk is was read
    # off the pictures.
    made = watched(model, still(name))
    for body in made.bodies:
        corners = [body.points[f"{side}_{part}"] for side in SIDES for part in ("shoulder", "hip")]
        assert np.mean(corners, axis=0) == pytest.approx(trunk_px, abs=40)
    left = made.angles[-2]
    assert left.side == "left"
    assert left.visible is given
    if given:
        assert left.angle_deg == pytest.approx(TRUTH[name]["left_elevation"], abs=10)


def test_a_mirror_or_poster_makes_the_patient_uncertain(model: PoseModel) -> None:
    half = still("frontal_050.jpg")[:, 160:480]
    both = np.ascontiguousarray(np.hstack([half, half[:, ::-1]]))
    made = watched(model, both)
    assert not any(sample.visible for sample in made.angles)
    assert any("--patient-region" in warning for warning in made.warnings)
    chosen = watched(model, both, WatchSettings(region=(60, 60, 200, 360)))
    assert chosen.angles[-1].angle_deg == pytest.approx(
        TRUTH["frontal_050.jpg"]["right_elevation"], abs=8
    )


def test_a_mirrored_picture_swaps_the_sides(model: PoseModel) -> None:
    name = "frontal_001.jpg"
    found = watch(model, np.ascontiguousarray(still(name)[:, ::-1]))
    assert found["left"].angle_deg == pytest.approx(TRUTH[name]["right_elevation"], abs=8)
    assert found["right"].angle_deg == pytest.approx(TRUTH[name]["left_elevation"], abs=8)


@pytest.mark.parametrize("change", ["half size", "dim", "grainy", "4K"])
def test_a_worse_or_larger_picture_gives_the_same_angle_or_none(
    model: PoseModel, change: str
) -> None:
    name = "frontal_047.jpg"
    rgb = still(name)
    grain = np.random.default_rng(2).normal(0, 12, rgb.shape)
    changed = {
        "half size": cv2.resize(rgb, (320, 240), interpolation=cv2.INTER_AREA),
        "dim": rgb // 3,
        "grainy": np.clip(rgb + grain, 0, 255),
        "4K": cv2.resize(rgb, (3840, 2880), interpolation=cv2.INTER_CUBIC),
    }[change].astype(np.uint8)
    for side, sample in watch(model, changed).items():
        if sample.visible:
            assert sample.angle_deg == pytest.approx(TRUTH[name][f"{side}_elevation"], abs=9)


@pytest.mark.parametrize("kind", ["plain", "noise", "dark"])
def test_nobody_in_view_gives_no_angle(model: PoseModel, kind: str) -> None:
    pictures = {
        "plain": np.full((480, 640, 3), 128, np.uint8),
        "noise": np.random.default_rng(5).integers(0, 256, (480, 640, 3)).astype(np.uint8),
        "dark": still("frontal_001.jpg") // 60,
    }
    assert all(not s.visible for s in watch(model, pictures[kind]).values())


def test_nothing_is_written_to_the_terminal(
    bundle: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    with PoseModel(bundle) as fresh:
        fresh.people(still("frontal_001.jpg"))
    assert capfd.readouterr() == ("", "")


def test_a_bundle_is_reused_and_mended(tmp_path: Path) -> None:
    with ThreadPoolExecutor(2) as pool:
        first, second = pool.map(lambda _: pose_bundle(cache_dir=tmp_path), range(2))
    assert first == second
    assert [path.name for path in tmp_path.iterdir()] == [first.name]
    whole = first.read_bytes()
    stamp = first.stat().st_mtime_ns
    assert pose_bundle(cache_dir=tmp_path).stat().st_mtime_ns == stamp
    first.write_bytes(whole[:1000])
    assert pose_bundle(cache_dir=tmp_path).read_bytes() == whole
    with zipfile.ZipFile(first) as parts:
        assert {part.compress_type for part in parts.infolist()} == {zipfile.ZIP_STORED}
        assert set(parts.namelist()) == {DETECTOR_NAME, LANDMARKS_NAME}


def test_a_cache_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    with pytest.raises(ModelError, match=str(blocked)):
        pose_bundle(cache_dir=blocked / "cache")


def test_files_that_are_no_bundle_are_named(tmp_path: Path) -> None:
    text, empty, broken = tmp_path / "a.task", tmp_path / "b.task", tmp_path / "c.task"
    text.write_text("no bundle")
    with zipfile.ZipFile(empty, "w") as parts:
        parts.writestr("other.txt", "x")
    with zipfile.ZipFile(broken, "w") as parts:
        parts.writestr(DETECTOR_NAME, b"no model")
        parts.writestr(LANDMARKS_NAME, b"no model")
    for path in (tmp_path / "none.task", tmp_path, text, empty):
        with pytest.raises(ModelError, match=str(path)):
            pose_bundle(path)
    check_bundle(broken)
    with pytest.raises(ModelError, match=str(broken)):
        PoseModel(broken)
