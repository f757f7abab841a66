"""Watching a body of dots: the right numbers, the right sides, and blanks where they belong."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from dots import DotBody, DotFinder

from logger.core.events import SetupStatus
from logger.findings.setup import SetupRules, read_setup
from logger.seeing.looks import distinct, paced, reduced, spread
from logger.seeing.pose import Joint
from logger.seeing.settings import WatchSettings
from logger.seeing.watching import Watcher

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from logger.core.events import ArmAngle

Recording = list[tuple[float, "NDArray[np.uint8]"]]


def watch(recording: Recording, finder: DotFinder | None = None) -> list[ArmAngle]:
    """Watch a recording held in memory."""
    return list(Watcher(WatchSettings(), finder or DotFinder()).watch(lambda: recording).angles)


def held(body: DotBody, start_s: float, count: int) -> Recording:
    """Return `count` frames of one body, five a second."""
    return [(start_s + 0.2 * i, body.frame()) for i in range(count)]


@pytest.mark.parametrize("heading_deg", [0, 37, 90, 180, -90])
def test_both_arms_are_read_however_the_body_lies(heading_deg: float) -> None:
    samples = watch(held(DotBody(20, 50, heading_deg), 0, 6))
    assert [s.side for s in samples[:2]] == ["left", "right"]
    for sample in samples:
        expected = 20 if sample.side == "left" else 50
        assert sample.visible
        assert sample.reason == ""
        # Dots are drawn on whole pixels: half a pixel on an arm of 55 is half a degree.
        assert sample.angle_deg == pytest.approx(expected, abs=1.5)


def test_an_arm_that_moves_is_followed() -> None:
    recording = [(0.2 * i, DotBody(right_deg=20 + 5 * i).frame()) for i in range(12)]
    found = [s.angle_deg for s in watch(recording) if s.side == "right"]
    # A picture that has changed is read together with the one before: half a frame late.
    assert found[:1] == pytest.approx([20], abs=1.5)
    assert found[1:] == pytest.approx([17.5 + 5 * i for i in range(1, 12)], abs=1.5)


def test_a_still_picture_is_not_read_again() -> None:
    finder = DotFinder()
    watch(held(DotBody(), 0, 100), finder)
    # One picture to look for the patient in: four turns and twice ten views; then ten to read.
    assert finder.looked_at == 4 + 2 * 10 + 10


def test_nobody_gives_no_angle() -> None:
    samples = watch([(0.2 * i, np.full((480, 640, 3), 90, np.uint8)) for i in range(5)])
    assert len(samples) == 10
    assert all(s.angle_deg is None and not s.visible and s.reason for s in samples)


def test_no_frames_give_no_samples() -> None:
    assert watch([]) == []


def test_a_patient_who_comes_late_is_read_only_from_then_on() -> None:
    empty = [(0.2 * i, np.full((480, 640, 3), 90, np.uint8)) for i in range(10)]
    samples = watch(empty + held(DotBody(), 2.0, 20))
    assert all(not s.visible and s.angle_deg is None for s in samples if s.time_s < 2)
    assert all(s.visible for s in samples if s.time_s >= 2)


def test_a_body_elsewhere_is_not_taken_for_the_patient() -> None:
    other = held(DotBody(right_deg=90, centre=(200, 300)), 4.0, 5)
    samples = watch(held(DotBody(), 0, 20) + other)
    assert all(not s.visible and s.angle_deg is None for s in samples if s.time_s >= 4)


def test_hands_on_one_shoulder_blank_that_side_only() -> None:
    covered = DotBody().frame()
    shoulder = (284, 190)
    covered[shoulder[1] + 6 : shoulder[1] + 60, shoulder[0] - 20 : shoulder[0] + 30] = 230
    recording = held(DotBody(), 0, 20) + [(4 + 0.2 * i, covered) for i in range(8)]
    late = [s for s in watch(recording) if s.time_s >= 4]
    assert all(s.visible for s in late if s.side == "left")
    assert {s.reason for s in late if s.side == "right"} == {"hands cover the arm"}


def test_a_body_too_small_gives_no_angle() -> None:
    small = [(t, np.ascontiguousarray(f[::3, ::3])) for t, f in held(DotBody(), 0, 5)]
    assert all(s.angle_deg is None for s in watch(small))


@pytest.mark.parametrize(("rate_fps", "kept"), [(5, 50), (25, 60), (30, 60), (60, 60)])
def test_frames_are_paced_by_the_clock(rate_fps: int, kept: int) -> None:
    picture = np.zeros((2, 2, 3), np.uint8)
    frames = [(i / rate_fps, picture) for i in range(10 * rate_fps)]
    assert len(list(paced(frames, 6.0))) == pytest.approx(kept, abs=2)


@pytest.mark.parametrize("count", [0, 1, 7, 24, 25, 500])
def test_looks_are_spread_over_the_whole_recording(count: int) -> None:
    frames = [(float(i), np.full((1, 1, 3), i % 256, np.uint8)) for i in range(min(count, 256))]
    looks = spread(frames, 24)
    assert len(looks) == min(len(frames), 24)
    if len(frames) > 24:
        places = [int(look[0, 0, 0]) for _, look in looks]
        assert places[0] == 0
        assert places[-1] > 0.85 * len(frames)


def test_large_pictures_are_held_small_and_repeated_ones_once() -> None:
    large = np.zeros((2160, 3840, 3), np.uint8)
    assert reduced(large, 1280).shape == (720, 1280, 3)
    assert reduced(large[:100, :200], 1280).shape == (100, 200, 3)
    bright = np.full((90, 120, 3), 200, np.uint8)
    kept, places = distinct([bright // 2, bright, bright // 2, bright])
    assert (len(kept), places) == (2, [0, 1, 0, 1])


def test_the_patients_joints_are_where_they_are_in_the_frame() -> None:
    body = DotBody(20, 50, 37)
    recording = held(body, 0, 6)
    watched = Watcher(WatchSettings(), DotFinder()).watch(lambda: recording)
    assert [seen.time_s for seen in watched.bodies] == [time_s for time_s, _ in recording]
    places = body.points()
    for joint, place in places.items():
        assert watched.bodies[-1].points[joint.name.lower()] == pytest.approx(place, abs=1.5)
    assert "left_wrist" not in watched.bodies[-1].points


def test_a_large_picture_reads_as_a_small_one() -> None:
    small = held(DotBody(20, 50, 37), 0, 3)
    large = [(t, np.kron(f, np.ones((4, 4, 1), np.uint8)).astype(np.uint8)) for t, f in small]
    watched = Watcher(WatchSettings(), DotFinder()).watch(lambda: large)
    assert [s.angle_deg for s in watched.angles[-2:]] == pytest.approx([20, 50], abs=1.5)
    elbow = DotBody(20, 50, 37).points()[Joint.LEFT_ELBOW]
    assert watched.bodies[-1].points["left_elbow"] == pytest.approx(4 * elbow + 1.5, abs=4)


@pytest.mark.parametrize("level", [0, 8])
def test_the_night_gives_a_sentence_and_no_angle(level: int) -> None:
    dark = [(0.2 * i, np.full((480, 640, 3), level, np.uint8)) for i in range(5)]
    watched = Watcher(WatchSettings(), DotFinder()).watch(lambda: dark)
    assert any("dark" in warning for warning in watched.warnings)
    assert not any(s.visible for s in watched.angles)


def test_one_picture_a_second_gives_a_sentence() -> None:
    slow = [(float(i), DotBody(right_deg=50 + i % 2).frame()) for i in range(12)]
    watched = Watcher(WatchSettings(), DotFinder()).watch(lambda: slow)
    assert any("1.0 pictures a second" in warning for warning in watched.warnings)
    reading = read_setup(watched.angles, "right", 11.5, None, SetupRules())
    assert reading.status is SetupStatus.NOT_SEEN


def test_pictures_at_uneven_times_are_read_each_at_its_own() -> None:
    times = np.cumsum(np.random.default_rng(1).uniform(0.02, 0.4, 60))
    recording = [(float(t), DotBody(right_deg=20 + 2 * float(t)).frame()) for t in times]
    watched = Watcher(WatchSettings(), DotFinder()).watch(lambda: recording)
    for sample in (s for s in watched.angles if s.side == "right"):
        assert sample.angle_deg == pytest.approx(20 + 2 * sample.time_s, abs=1.5)


def test_a_camera_that_is_knocked_over_gives_a_sentence_and_blanks() -> None:
    after = held(DotBody(right_deg=80, heading_deg=50, centre=(250, 300)), 6.0, 30)
    recording = held(DotBody(), 0, 30) + after
    watched = Watcher(WatchSettings(), DotFinder()).watch(lambda: recording)
    assert any("moved" in warning for warning in watched.warnings)
    assert not any(s.visible for s in watched.angles if s.time_s >= 6)
    assert all(s.visible for s in watched.angles if s.time_s < 6)


def test_nobody_gives_a_sentence() -> None:
    empty = [(0.2 * i, np.full((480, 640, 3), 90, np.uint8)) for i in range(5)]
    watched = Watcher(WatchSettings(), DotFinder()).watch(lambda: empty)
    assert watched.warnings == ("Nobody lying still was found in the picture.",)
    assert watched.bodies == ()


def test_a_region_without_the_patient_gives_no_angle() -> None:
    settings = WatchSettings(region=(0, 0, 100, 100))
    recording = held(DotBody(), 0, 5)
    watched = Watcher(settings, DotFinder()).watch(lambda: recording)
    assert not any(s.visible for s in watched.angles)
    assert any("--patient-region" in warning for warning in watched.warnings)
