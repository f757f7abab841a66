"""Elevation and its plane against SciPy's Euler angles in the ISB's order (Wu 2005, Y-X'-Y'')."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation
from seen import SQUARE_ON, fitted, seen_corners

from logger.core.events import Side
from logger.seeing.markers.elevation import along_trunk, elevation, misplaced
from logger.seeing.markers.fitting import Fit
from logger.seeing.markers.strips import StripName

# The ISB's x is forward, y up, z to the right; here x is left, y up, z forward.
FROM_ISB = Rotation.from_matrix([(0, 0, -1), (0, 1, 0), (1, 0, 0)])
FRAME = Rotation.from_euler("zxy", [70, 20, -30], degrees=True) * SQUARE_ON
FITS: dict[StripName, Fit] = {
    "chest": fitted("chest", seen_corners("chest", SQUARE_ON, (0, 0, 1500), (35, 35))),
    "back": fitted("back", seen_corners("back", SQUARE_ON, (0, 0, 1500), (35, 35))),
    "right_arm": fitted(
        "right_arm", seen_corners("right_arm", SQUARE_ON, (0, 0, 1500), (57, 57, 57, 57))
    ),
    "left_arm": fitted(
        "left_arm", seen_corners("left_arm", SQUARE_ON, (0, 0, 1500), (57, 57, 57, 57))
    ),
}


def right_arm(plane: float, elevated: float, axial: float) -> Rotation:
    """Return how a right humerus is turned in the trunk's axes (left, up, forward) by the ISB.

    There the plane of elevation is 0 for abduction and 90 for flexion; elevation, about the
    forward axis, is negative.
    """
    isb = Rotation.from_euler("YXY", [plane, -elevated, axial], degrees=True)
    return FROM_ISB * isb * FROM_ISB.inv()


def turned(name: StripName, turn: Rotation, place_mm: tuple[float, float, float]) -> Fit:
    return replace(FITS[name], rotation=turn.as_matrix(), place_mm=np.array(place_mm))


def chest(turn: Rotation = FRAME) -> Fit:
    return turned("chest", turn, (0, 0, 2000))


@given(st.floats(-60, 120), st.floats(21, 159), st.floats(-90, 90))
def test_elevation_and_plane_are_the_isbs(plane: float, elevated: float, axial: float) -> None:
    arm = turned("right_arm", FRAME * right_arm(plane, elevated, axial), (0, 0, 2000))
    found = elevation(chest(), arm, "right")
    assert found.angle_deg == pytest.approx(elevated, abs=1e-6)
    assert found.plane_deg == pytest.approx(plane, abs=1e-6)


@given(st.floats(-60, 120), st.floats(21, 159))
def test_left_arm_mirrors_the_right(plane: float, elevated: float) -> None:
    mirror = np.diag([-1.0, 1.0, 1.0])
    right = right_arm(plane, elevated, 0).as_matrix()
    left = Rotation.from_matrix(mirror @ right @ mirror)
    found = elevation(chest(), turned("left_arm", FRAME * left, (0, 0, 2000)), "left")
    assert found.angle_deg == pytest.approx(elevated, abs=1e-6)
    assert found.plane_deg == pytest.approx(plane, abs=1e-6)


@given(st.floats(-60, 120), st.floats(21, 159))
def test_back_strip_gives_the_same_angles(plane: float, elevated: float) -> None:
    """The strip on the back is turned half round the long axis; the body is the same."""
    back = FRAME * Rotation.from_euler("y", 180, degrees=True)
    arm = turned("right_arm", FRAME * right_arm(plane, elevated, 10), (0, 0, 2000))
    found = elevation(turned("back", back, (0, 0, 2000)), arm, "right")
    assert found.angle_deg == pytest.approx(elevated, abs=1e-6)
    assert found.plane_deg == pytest.approx(plane, abs=1e-6)


@given(st.floats(0, 180))
def test_angle_is_exact_at_both_ends_and_a_plane_needs_an_arm_out(elevated: float) -> None:
    arm = turned("right_arm", FRAME * right_arm(30, elevated, 0), (0, 0, 2000))
    found = elevation(chest(), arm, "right")
    assert found.angle_deg == pytest.approx(elevated, abs=1e-5)
    assert (found.plane_deg is None) == (not 20 < found.angle_deg < 160)


@settings(max_examples=40)
@given(st.floats(-20, 20), st.floats(-15, 15), st.floats(20, 140), st.floats(0, 60))
def test_neutral_takes_out_slope_and_skew(
    slope: float, skew: float, elevated: float, plane: float
) -> None:
    """An arrow that leans on the breastbone, and one that is off the bone, cost little then."""
    lean = Rotation.from_euler("x", slope, degrees=True)
    off = Rotation.from_euler("z", skew, degrees=True)
    trunk = turned("chest", FRAME * lean, (0, 0, 2000))
    beside = turned("right_arm", FRAME * right_arm(plane, 0, 0) * off, (0, 0, 2000))
    raised = turned("right_arm", FRAME * right_arm(plane, elevated, 0) * off, (0, 0, 2000))
    head, moved_deg = along_trunk([(trunk, beside), (trunk, beside)])
    assert moved_deg == pytest.approx(0, abs=1e-5)
    found = elevation(trunk, raised, "right", head)
    # What is left: the arrow turns on a cone about the joint's axis, cos e' = 1 - cos^2 d (1 - cos
    # e), for an arrow d off the plane of movement.
    one_less = 1 - np.cos(np.radians(elevated))
    least = np.degrees(np.arccos(1 - np.cos(np.radians(15)) ** 2 * one_less))
    assert least - 1e-6 <= found.angle_deg <= elevated + 1e-6


def test_error_grows_as_the_arrows_errors_add() -> None:
    arm = turned("right_arm", FRAME * right_arm(0, 90, 0), (0, 0, 2000))
    trunk = chest()
    sure = replace(arm, covariance=np.zeros_like(arm.covariance))
    both = elevation(trunk, arm, "right").sd_deg
    one = elevation(trunk, sure, "right").sd_deg
    other = elevation(replace(trunk, covariance=trunk.covariance * 0), arm, "right").sd_deg
    assert both == pytest.approx(np.hypot(one, other))
    assert elevation(replace(trunk, covariance=trunk.covariance * 0), sure, "right").sd_deg == 0


def worn(side: Side, elevated: float, plane: float) -> tuple[Rotation, tuple[float, float, float]]:
    """Return turn and place of an arm's strip on a body of ordinary size before the camera."""
    mirror = np.diag([-1.0 if side == "left" else 1.0, 1.0, 1.0])
    turn = Rotation.from_matrix(mirror @ right_arm(plane, elevated, 0).as_matrix() @ mirror)
    shoulder = np.array([185.0 if side == "left" else -185.0, 40.0, -30.0])
    x, y, z = FRAME.apply(shoulder - 170 * turn.apply([0, 1, 0])) + (0, 0, 2000)
    return FRAME * turn, (x, y, z)


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("elevated", [0, 30, 55, 90, 120, 150])
@pytest.mark.parametrize("plane", [-10, 0, 30, 60, 90])
def test_strips_worn_as_told_pass_and_mistakes_do_not(
    side: Side, elevated: float, plane: float
) -> None:
    turn, place = worn(side, elevated, plane)
    name: StripName = "left_arm" if side == "left" else "right_arm"
    other: StripName = "right_arm" if side == "left" else "left_arm"
    wrong: Side = "right" if side == "left" else "left"
    assert misplaced(chest(), turned(name, turn, place), side) == ""
    upside_down = turn * Rotation.from_euler("z", 180, degrees=True)
    assert "away from the shoulder" in misplaced(chest(), turned(name, upside_down, place), side)
    assert "other arm" in misplaced(chest(), turned(other, turn, place), wrong)
    to_feet = turned("chest", FRAME * Rotation.from_euler("z", 180, degrees=True), (0, 0, 2000))
    assert "feet" in misplaced(to_feet, turned(name, turn, place), side)
    x, y, z = place
    assert "too far" in misplaced(chest(), turned(name, turn, (x + 1000, y, z)), side)
