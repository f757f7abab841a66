"""Watching rendered strips: the angle where it can be had, and a reason where it cannot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from logger.bench.marker_scenes import Scene, project, render, still, trunk_in_camera
from logger.core.errors import UsageError
from logger.core.events import ArmAngle, Side, Watched
from logger.seeing.markers.camera import Camera, CameraChoice, camera_of_focal_35mm
from logger.seeing.markers.watching import MarkerSettings, MarkerWatcher

HD = camera_of_focal_35mm(28, 1280, 720)
KNOWN = CameraChoice(HD)
SCENE = Scene(HD, 1500, azimuth_deg=15, plane_deg=30, elevation_deg=50)
Picture = NDArray[np.uint8]


def watch(pictures: Sequence[Picture], choice: CameraChoice = KNOWN, **more: float) -> Watched:
    """Watch pictures, five a second."""
    watcher = MarkerWatcher(choice, more.get("neutral_s"))
    return watcher.watch([(0.2 * number, picture) for number, picture in enumerate(pictures)])


def of_side(watched: Watched, side: Side = "right") -> list[ArmAngle]:
    return [sample for sample in watched.angles if sample.side == side]


def only(scene: Scene, choice: CameraChoice = KNOWN) -> ArmAngle:
    (sample,) = of_side(watch([render(scene)], choice), scene.side)
    return sample


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("elevation_deg", [0, 20, 45, 70, 100, 130, 150])
def test_angle_and_plane_of_strips_folded_well(side: Side, elevation_deg: float) -> None:
    scene = replace(SCENE, side=side, elevation_deg=elevation_deg, rough=0.0, roll_deg=-75)
    sample = only(scene)
    assert sample.visible, sample.reason
    assert sample.source == "markers"
    assert sample.angle_deg == pytest.approx(elevation_deg, abs=1.0)
    if 45 <= elevation_deg <= 150:
        assert sample.plane_deg == pytest.approx(30, abs=4.0)


@pytest.mark.parametrize("azimuth_deg", [-50, -25, 0, 25, 50])
@pytest.mark.parametrize("height_deg", [-20, 20])
def test_view_from_aside_changes_nothing(azimuth_deg: float, height_deg: float) -> None:
    scene = replace(SCENE, azimuth_deg=azimuth_deg, height_deg=height_deg, rough=0.5, twist_deg=-10)
    sample = only(scene)
    if sample.visible:
        assert sample.angle_deg == pytest.approx(50, abs=3.0)
    else:
        assert sample.reason.startswith(("too little", "no strip"))


def test_most_views_from_aside_are_given() -> None:
    views = [replace(SCENE, azimuth_deg=aside) for aside in (-40, -20, 0, 20, 40)]
    assert sum(only(view).visible for view in views) >= 4


@pytest.mark.parametrize("roll_deg", [0, 90, 180, 270])
def test_picture_turned_by_quarters_gives_the_same_angle(roll_deg: int) -> None:
    picture = render(replace(SCENE, rough=1.0))
    turned = np.ascontiguousarray(np.rot90(picture, roll_deg // 90))
    height, width = turned.shape[:2]
    choice = CameraChoice(camera_of_focal_35mm(28, width, height))
    straight, after = of_side(watch([picture]))[0], of_side(watch([turned], choice))[0]
    assert straight.angle_deg is not None
    assert after.angle_deg == pytest.approx(straight.angle_deg, abs=0.3)


def test_hands_on_the_shoulder_do_not_change_what_the_strips_say() -> None:
    seen = []
    for wearer in range(8):
        scene = replace(SCENE, wearer=wearer, hands=True, rough=0.5)
        sample = only(scene)
        if sample.visible:
            seen.append(sample.angle_deg)
        else:
            assert sample.reason
    assert seen
    assert seen == pytest.approx([50] * len(seen), abs=3.0)


def test_face_down_the_back_strip_serves() -> None:
    for side in ("left", "right"):
        sample = only(replace(SCENE, trunk="back", side=side, plane_deg=10, rough=0.5))
        assert sample.visible, sample.reason
        assert sample.angle_deg == pytest.approx(50, abs=3.0)


def test_strip_on_the_wrong_arm_is_noticed() -> None:
    watched = watch([render(replace(SCENE, arm_strip="left_arm"))])
    (sample,) = of_side(watched, "left")
    assert sample.angle_deg is None
    assert "other arm" in sample.reason
    assert any("other arm" in warning for warning in watched.warnings)
    assert not any(sample.visible for sample in watched.angles)


def test_arm_strip_that_hangs_flat_on_a_wall_is_no_arm() -> None:
    assert "flat" in only(replace(SCENE, fold_deg=(35, 0), rough=0.0)).reason


def test_trunk_strip_taped_down_flat_is_right_or_blank() -> None:
    for azimuth_deg in (0, 20, 40):
        sample = only(replace(SCENE, fold_deg=(0, 57), rough=0.5, azimuth_deg=azimuth_deg))
        assert not sample.visible or sample.angle_deg == pytest.approx(50, abs=3)


def test_copy_of_a_strip_in_the_room_is_not_guessed_at() -> None:
    picture = render(SCENE)
    place = trunk_in_camera(SCENE)[1]
    x, y = project(place[None], HD)[0].astype(int)
    # A poster in the corner that shows the trunk's strip once more.
    picture[10:170, 10:170] = picture[y - 80 : y + 80, x - 80 : x + 80]
    (sample,) = of_side(watch([picture]))
    assert not sample.visible
    assert "same markers" in sample.reason


def test_copy_elsewhere_counts_also_when_only_the_strips_are_looked_at() -> None:
    picture = render(SCENE)
    x, y = project(trunk_in_camera(SCENE)[1][None], HD)[0].astype(int)
    picture[10:170, 10:170] = picture[y - 80 : y + 80, x - 80 : x + 80]
    assert not any(sample.visible for sample in watch([picture] * 4).angles)


def test_mirror_image_gives_nothing() -> None:
    mirrored = np.ascontiguousarray(render(SCENE)[:, ::-1])
    assert not any(sample.visible for sample in watch([mirrored]).angles)


def test_nothing_to_see_gives_blanks_and_no_frames_nothing() -> None:
    watched = watch([np.full((480, 640, 3), 90, np.uint8)] * 3, CameraChoice())
    assert len(watched.angles) == 6
    assert all(s.angle_deg is None and not s.visible and s.reason for s in watched.angles)
    assert any("No strip" in warning for warning in watched.warnings)
    assert watch([]) == Watched()


def test_far_away_is_left_blank_not_guessed() -> None:
    small = camera_of_focal_35mm(28, 640, 480)
    scenes = [replace(SCENE, camera=small, distance_mm=d) for d in (1000, 2500, 4000)]
    near, far, farther = (only(scene, CameraChoice(small)) for scene in scenes)
    assert near.visible
    assert not far.visible or far.angle_deg == pytest.approx(50, abs=4)
    assert not farther.visible


def test_strips_that_move_are_followed() -> None:
    angles = [10 + 6 * number for number in range(12)]
    scenes = [replace(SCENE, elevation_deg=angle, rough=0.0) for angle in angles]
    found = of_side(watch([render(scene) for scene in scenes]))
    assert sum(sample.visible for sample in found) >= 10
    for sample, angle in zip(found, angles, strict=True):
        if sample.visible:
            assert sample.angle_deg == pytest.approx(angle, abs=1.5)


def test_breastbone_slope_and_skewed_strap_go_with_neutral() -> None:
    sloped = replace(SCENE, slope_deg=15, skew_deg=6, rough=0.5)
    beside = [render(still(replace(sloped, elevation_deg=0), n)) for n in range(5)]
    raised = [render(still(sloped, 10 + n)) for n in range(4)]
    without = of_side(watch(beside + raised))[-1]
    zeroed = watch(beside + raised, neutral_s=0.3)
    sample = of_side(zeroed)[-1]
    assert without.angle_deg is not None
    assert abs(without.angle_deg - 50) > 5
    assert sample.angle_deg == pytest.approx(50, abs=2.0)
    assert any("0.3 s" in warning for warning in zeroed.warnings)


def test_neutral_while_the_arm_moves_is_refused() -> None:
    moving = [render(replace(SCENE, elevation_deg=10 * n, rough=0.0)) for n in range(6)]
    with pytest.raises(UsageError, match=r"right arm moves around 0\.5 s"):
        watch(moving, neutral_s=0.5)


def test_neutral_without_markers_is_refused() -> None:
    empty = np.full((720, 1280, 3), 90, np.uint8)
    with pytest.raises(UsageError, match="--neutral"):
        watch([empty] * 4 + [render(SCENE)] * 4, neutral_s=0.2)


def test_calibration_of_another_shape_is_refused() -> None:
    with pytest.raises(UsageError, match="does not fit"):
        watch([render(SCENE)], CameraChoice(Camera(640, 480, (500, 500), (320, 240))))


def test_error_says_what_is_not_known_of_the_camera() -> None:
    picture = render(SCENE)
    errors = []
    for choice in (KNOWN, CameraChoice(focal_35mm=28), CameraChoice()):
        watched = watch([picture], choice)
        (sample,) = of_side(watched)
        assert sample.error_deg is not None
        errors.append(sample.error_deg)
        assert any(choice.in_words in warning for warning in watched.warnings)
    assert errors[0] == MarkerSettings().error_deg
    assert errors[0] < errors[1] < errors[2] < 8


def test_wrong_focal_length_stays_within_the_stated_error() -> None:
    for focal_mm in (22, 25, 31, 34):
        scene = replace(SCENE, camera=camera_of_focal_35mm(focal_mm, 1280, 720), azimuth_deg=30)
        sample = only(scene, CameraChoice())
        assert sample.visible
        assert sample.angle_deg is not None
        assert sample.error_deg is not None
        assert abs(sample.angle_deg - 50) <= sample.error_deg
