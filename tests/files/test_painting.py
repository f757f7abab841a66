"""What is painted where, on plain grey pictures."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from logger.core.events import RowStatus, SeenBody, SetupStatus
from logger.files.lettering import Lettering, Look, blend, darken
from logger.files.overlay import ArmNote, Caption, Overlay
from logger.files.painting import ARC_RADIUS, STATUS_COLOUR, WINDOW_RADII, Painter

Picture = NDArray[np.uint8]
SHOULDER = np.array([440.0, 200.0])
ARM_PX = 60.0


def grey(width: int = 640, height: int = 480) -> Picture:
    return np.full((height, width, 3), 128, np.uint8)


def overlay(
    angle_deg: float,
    status: SetupStatus = SetupStatus.IN_RANGE,
    window: tuple[float, float] | None = (30, 60),
    *,
    seen: bool = True,
) -> Overlay:
    """Return an upright body whose left arm, at the picture's right, has a known angle."""
    away = math.radians(angle_deg)
    elbow = SHOULDER + ARM_PX * np.array([math.sin(away), math.cos(away)])
    points = {
        "left_shoulder": (440.0, 200.0),
        "right_shoulder": (360.0, 200.0),
        "left_hip": (430.0, 320.0),
        "right_hip": (370.0, 320.0),
        "left_elbow": (float(elbow[0]), float(elbow[1])),
    }
    note = ArmNote(1.0, angle_deg if seen else None, status, window, ("left 45°",))
    return Overlay((SeenBody(1.0, points),), {"left": (note,)})


def ray(angle_deg: float, arms: float) -> tuple[int, int]:
    """Return the pixel at an angle from straight down, towards the picture's right."""
    away = math.radians(angle_deg)
    x, y = SHOULDER + arms * ARM_PX * np.array([math.sin(away), math.cos(away)])
    return round(float(x)), round(float(y))


def near(picture: Picture, at: tuple[int, int], colour: tuple[int, int, int]) -> bool:
    """Whether the colour, or nearly, is within a pixel of a place."""
    x, y = at
    part = picture[y - 1 : y + 2, x - 1 : x + 2].astype(int)
    return bool((np.abs(part - np.array(colour)).max(axis=-1) <= 25).any())


@pytest.mark.parametrize("angle", [25, 45, 80, 120])
@pytest.mark.parametrize(
    "status", [SetupStatus.IN_RANGE, SetupStatus.BORDERLINE, SetupStatus.OUT_OF_RANGE]
)
def test_arc_lies_between_trunk_and_arm_in_the_colour_of_its_status(
    angle: float, status: SetupStatus
) -> None:
    """Closed form: on the circle at 0.6 arm lengths from 0 degrees to the angle, and no further."""
    painted = Painter(overlay(angle, status, None)).paint(grey(), 1.0)
    colour = STATUS_COLOUR[status]
    for share in (0.25, 0.5, 0.75):
        assert near(painted, ray(share * angle, ARC_RADIUS), colour)
    assert not near(painted, ray(angle + 25, ARC_RADIUS), colour)
    assert not near(painted, ray(-25, ARC_RADIUS), colour)


@pytest.mark.parametrize("window", [(30.0, 60.0), (30.0, 90.0), (70.0, 110.0)])
def test_window_is_a_band_between_its_limits(window: tuple[float, float]) -> None:
    """Tinted inside the limits, untouched beyond them, at both limits a line."""
    painted = Painter(overlay(10, window=window)).paint(grey(), 1.0)
    low, high = window
    middle = sum(WINDOW_RADII) / 2
    tint = (0.55 * 128 + 0.45 * np.array(STATUS_COLOUR[SetupStatus.IN_RANGE])).round()
    x, y = ray((low + high) / 2, middle)
    assert np.abs(painted[y, x] - tint).max() <= 2
    for limit in window:
        assert near(painted, ray(limit, middle), STATUS_COLOUR[SetupStatus.IN_RANGE])
    for beyond in (low - 8, high + 8):
        x, y = ray(beyond, middle)
        assert (painted[y, x] == 128).all()


def test_statuses_differ_without_colour() -> None:
    """Of the window's edge more is drawn in range than borderline, and least out of range."""
    drawn = []
    for status in STATUS_COLOUR:
        painted = Painter(overlay(10, status)).paint(grey(), 1.0)
        edge = [ray(angle, WINDOW_RADII[1] + 0.05) for angle in np.arange(34, 56, 0.5)]
        drawn.append(sum(bool((painted[y, x] < 100).all()) for x, y in edge))
    assert drawn[0] > drawn[1] > drawn[2]


def test_arm_that_was_not_seen_has_no_arc_no_window_and_no_colour() -> None:
    unseen = Painter(overlay(45, seen=False)).paint(grey(), 1.0)
    for angle in (10, 20, 30):
        x, y = ray(angle, ARC_RADIUS)
        assert (unseen[y, x] == 128).all()
    x, y = ray(45, sum(WINDOW_RADII) / 2)
    assert (unseen[y, x] == 128).all()
    saturation = unseen.max(axis=-1).astype(int) - unseen.min(axis=-1)
    assert saturation[202:300, 442:520].max() < 30


def test_sides_differ_in_shape() -> None:
    """A right joint is round and a left one square: only the square has corners."""
    points = {"left_shoulder": (400.0, 200.0), "right_shoulder": (200.0, 200.0),
              "left_elbow": (400.0, 300.0), "right_elbow": (200.0, 300.0)}  # fmt: skip
    painted = Painter(Overlay((SeenBody(1.0, points),))).paint(grey(), 1.0)
    assert (painted[300 + 5, 400 + 5] != 128).all()
    assert (painted[300 + 6, 200 + 6] == 128).all()


def test_nothing_is_painted_without_a_sighting_but_the_time() -> None:
    painted = Painter(overlay(45)).paint(grey(), 3.0)
    changed = np.argwhere((painted != 128).any(axis=-1))
    assert changed.size
    assert changed.max(axis=0).tolist() < [40, 100]


def test_the_picture_given_stays_as_it_is() -> None:
    picture = grey()
    Painter(overlay(45)).paint(picture, 1.0)
    assert (picture == 128).all()


CAPTIONS = (
    Caption(1.0, 3.0, ("right inferior glide: grade 2", "setup 52°"), RowStatus.LOGGED),
    Caption(2.0, 5.0, ("left posterior glide", "CHECK: side?"), RowStatus.CHECK),
    Caption(6.0, 7.0, ("left flexion", "WITHDRAWN"), RowStatus.WITHDRAWN),
)


def bottom(painter: Painter, time_s: float, size: tuple[int, int] = (640, 480)) -> Picture:
    """Return what is painted below the time code."""
    return painter.paint(grey(*size), time_s)[size[1] // 8 :]


@pytest.mark.parametrize("size", [(640, 480), (1920, 1080), (1080, 1920), (320, 240)])
def test_captions_are_there_at_their_times_and_only_then(size: tuple[int, int]) -> None:
    painter = Painter(Overlay(captions=CAPTIONS))
    heights = [
        np.count_nonzero((bottom(painter, t, size) != 128).any(axis=(1, 2)))
        for t in (0.99, 1.0, 2.5, 3.5, 5.5, 6.5, 7.0)
    ]
    none, first, both, second, gap, third, after = heights
    assert none == gap == after == 0
    assert min(first, second, third) > 0.04 * min(size)
    assert both > max(first, second)


def test_captions_have_a_mark_of_their_own() -> None:
    """Marks in grey: disc, triangle and cross fill different parts of the same square."""
    marks = []
    for status in RowStatus:
        caption = Caption(0, 1, ("left flexion",), status)
        painted = bottom(Painter(Overlay(captions=(caption,))), 0.5)
        rows = np.flatnonzero((painted != 128).any(axis=(1, 2)))
        marks.append((painted[rows[0] : rows[-1] + 1, 8:30].max(axis=-1) > 100).tobytes())
    assert len(set(marks)) == 3


def test_long_caption_stays_within_the_picture() -> None:
    words = ("note: " + "word " * 60, "CHECK: " + "reason " * 20)
    painted = Painter(Overlay(captions=(Caption(0, 1, words, RowStatus.CHECK),))).paint(grey(), 0.5)
    assert (painted[:, -5:] == 128).all()
    assert (painted[400:, :600] != 128).any()


def test_endless_note_leaves_the_picture_visible() -> None:
    caption = Caption(0, 1, ("note: " + "word " * 900,), RowStatus.LOGGED)
    assert (bottom(Painter(Overlay(captions=(caption,))), 0.5)[:180] == 128).all()


@pytest.mark.parametrize("size", [(16, 16), (64, 48), (3840, 2160), (2, 2)])
def test_any_size_can_be_painted(size: tuple[int, int]) -> None:
    shown = Overlay(overlay(45).bodies, overlay(45).arms, CAPTIONS)
    assert Painter(shown).paint(grey(*size), 1.0).shape == (size[1], size[0], 3)


def test_text_is_light_with_a_dark_edge_and_is_cut_off_at_the_edge() -> None:
    letters = Lettering()
    picture = grey()
    letters.write(picture, "52° 30–60", (20, 20), Look(20, (255, 255, 255)))  # noqa: RUF001 - a range
    assert (picture == 255).any()
    assert (picture == 0).any()
    for at in ((-30, -10), (630, 470), (-500, 0), (0, 900)):
        letters.write(picture, "52°", at, Look(20, (255, 255, 255)))
    blend(picture, np.zeros((4, 4, 4), np.uint8), (638, 478))
    darken(picture, (-5, -5), (2, 2))


def test_lines_are_no_wider_than_their_room() -> None:
    letters = Lettering()
    lines = letters.wrapped("one two three four five six seven", 16, 120)
    assert " ".join(lines) == "one two three four five six seven"
    assert all(letters.width_px(line, 16) <= 120 for line in lines)
