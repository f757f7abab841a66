"""The eye on a live camera, on a body of dots: the angles of a recording's watcher, in one pass."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from dots import DotBody, DotFinder

from logger.seeing.live import LiveEye
from logger.seeing.settings import WatchSettings

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    from logger.seeing.live import Look

EMPTY = np.full((480, 640, 3), 90, np.uint8)
STEP_S = 0.1


class Camera:
    """Shows an eye pictures ten times a second, and counts the runs of the model."""

    def __init__(self) -> None:
        """Start at time 0 with a fresh eye."""
        self.finder = DotFinder()
        self.eye = LiveEye(WatchSettings(), self.finder)
        self.looks: list[Look] = []
        self.most_runs = 0

    def show(self, pictures: Iterable[NDArray[np.uint8]]) -> Look:
        """Show one picture after the other; return the last look."""
        for rgb in pictures:
            before = self.finder.looked_at
            self.looks.append(self.eye.look(STEP_S * len(self.looks), rgb))
            self.most_runs = max(self.most_runs, self.finder.looked_at - before)
        return self.looks[-1]

    def hold(self, body: DotBody, seconds: float) -> Look:
        """Show one body for a while."""
        return self.show([body.frame()] * round(seconds / STEP_S))


def visible(look: Look) -> dict[str, float | None]:
    """Return the angles that count."""
    return {angle.side: angle.angle_deg for angle in look.angles if angle.visible}


@pytest.mark.parametrize("heading_deg", [0, 37, 90, -90])
def test_both_arms_are_read_once_the_patient_is_found(heading_deg: float) -> None:
    camera = Camera()
    look = camera.hold(DotBody(20, 50, heading_deg), 8)
    assert visible(look) == {
        "left": pytest.approx(20, abs=1.5),
        "right": pytest.approx(50, abs=1.5),
    }
    assert look.found
    assert look.advice == ""
    assert look.body is not None
    first = next(look for look in camera.looks if look.found)
    assert first.angles[0].time_s < 6
    assert not any(visible(look) for look in camera.looks if not look.found)


def test_no_look_takes_more_than_three_runs_of_the_model() -> None:
    camera = Camera()
    camera.show(DotBody(right_deg=20 + 0.5 * i).frame() for i in range(150))
    assert camera.most_runs <= 3


def test_an_arm_that_moves_is_followed_with_one_run_a_look() -> None:
    camera = Camera()
    camera.hold(DotBody(right_deg=30), 8)
    camera.most_runs = 0
    for degrees in range(31, 91):
        look = camera.show([DotBody(right_deg=degrees).frame()])
        if degrees > 31:
            assert visible(look)["right"] == pytest.approx(degrees, abs=2)
    assert camera.most_runs == 1


def test_nobody_gives_advice_and_no_angle() -> None:
    look = Camera().show([EMPTY] * 80)
    assert (visible(look), look.found, look.body, look.azimuth_deg) == ({}, False, None, None)
    assert look.advice == "Nobody lying still was found in the picture."
    assert {angle.reason for angle in look.angles} == {"no patient lying still in view"}


def test_a_patient_who_comes_late_is_found() -> None:
    camera = Camera()
    camera.show([EMPTY] * 200)
    assert set(visible(camera.hold(DotBody(), 12))) == {"left", "right"}


def test_a_patient_who_moved_is_found_again_and_blank_meanwhile() -> None:
    camera = Camera()
    camera.hold(DotBody(20, 50), 8)
    moved = DotBody(20, 80, heading_deg=50, centre=(250, 300))
    camera.hold(moved, 2)
    assert not any(visible(look) for look in camera.looks[-20:])
    look = camera.hold(moved, 10)
    assert visible(look) == {
        "left": pytest.approx(20, abs=1.5),
        "right": pytest.approx(80, abs=1.5),
    }


def test_somebody_much_smaller_is_not_taken_for_the_patient_until_asked() -> None:
    camera = Camera()
    camera.hold(DotBody(20, 50), 8)
    small = np.full((480, 640, 3), 90, np.uint8)
    small[100:340, 100:420] = DotBody(20, 80).frame()[::2, ::2]
    look = camera.show([small] * 120)
    assert visible(look) == {}
    assert look.advice == "The patient is hidden or has moved."
    camera.eye.forget()
    assert set(visible(camera.show([small] * 100))) == {"left", "right"}


def test_hands_on_a_shoulder_blank_that_arm_only() -> None:
    camera = Camera()
    camera.hold(DotBody(), 8)
    covered = DotBody().frame()
    covered[196:250, 264:314] = 230
    look = camera.show([covered] * 10)
    assert set(visible(look)) == {"left"}
    assert look.angles[1].reason == "hands cover the arm"


def _covered() -> NDArray[np.uint8]:
    rgb = DotBody().frame()
    rgb[196:250, 264:314] = 230
    return rgb


def test_hands_that_come_on_while_the_patient_is_looked_for_are_not_taken_for_the_bare_look() -> (
    None
):
    camera = Camera()
    camera.hold(DotBody(), 2)
    look = camera.show([_covered()] * 80)
    assert look.found
    assert set(visible(look)) == {"left"}
    assert look.angles[1].reason == "it cannot be told whether hands cover the arm"
    assert not any("right" in visible(look) for look in camera.looks)
    assert set(visible(camera.hold(DotBody(), 12))) == {"left", "right"}
    assert set(visible(camera.show([_covered()] * 10))) == {"left"}
    assert camera.most_runs <= 3


def test_an_empty_table_before_is_no_earlier_look() -> None:
    camera = Camera()
    camera.show([EMPTY] * 25)
    assert set(visible(camera.hold(DotBody(), 10))) == {"left", "right"}


def test_a_shoulder_is_watched_before_it_counts_as_bare() -> None:
    camera = Camera()
    camera.hold(DotBody(), 8)
    found_s = next(look.angles[0].time_s for look in camera.looks if look.found)
    counted_s = next(look.angles[0].time_s for look in camera.looks if visible(look))
    assert counted_s - found_s >= 1.9
    between = [a for look in camera.looks for a in look.angles if found_s <= a.time_s < counted_s]
    assert {a.reason for a in between[2:]} == {"it cannot be told whether hands cover the arm"}


def test_another_size_of_picture_starts_afresh() -> None:
    camera = Camera()
    camera.hold(DotBody(20, 50), 8)
    large = np.kron(DotBody(20, 50).frame(), np.ones((3, 3, 1), np.uint8)).astype(np.uint8)
    assert not camera.show([large]).found
    look = camera.show([large] * 80)
    assert visible(look) == {
        "left": pytest.approx(20, abs=1.5),
        "right": pytest.approx(50, abs=1.5),
    }


def test_a_patient_who_left_is_not_seen_on_in_pictures_that_keep_changing() -> None:
    camera = Camera()
    camera.hold(DotBody(), 8)
    gone = [np.full((480, 640, 3), 80 + 15 * (i % 2), np.uint8) for i in range(50)]
    looks = [camera.show([rgb]) for rgb in gone]
    assert not any(visible(look) for look in looks)
    assert all(look.body is None for look in looks[1:])
    assert not looks[-1].found
    assert looks[-1].advice == "The patient is hidden or has moved."
