"""The arm-to-trunk angle against closed forms and SciPy's rotations."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from logger.seeing.angles import (
    arm_to_trunk_deg,
    line_angle_deg,
    seen_angle_deg,
    skew_deg,
    squared_angle_deg,
)

# The apparent angles of an orthographic camera, computed from tan(seen) = tan(true) * cos(phi)
# in the project's reference values, section 9b: (true, phi, seen), all in degrees.
PROJECTED = [
    (30, 30, 26.6),
    (45, 20, 43.2),
    (55, 30, 51.0),
    (60, 45, 50.8),
    (90, 60, 90.0),
    (120, 60, 139.1),
]


@pytest.mark.parametrize(("true_deg", "phi_deg", "seen_deg"), PROJECTED)
def test_seen_angle_is_the_published_projection(
    true_deg: float, phi_deg: float, seen_deg: float
) -> None:
    assert seen_angle_deg(true_deg, phi_deg) == pytest.approx(seen_deg, abs=0.05)


@given(st.floats(1, 179), st.floats(-60, 60), st.floats(-180, 180))
def test_a_projected_3d_arm_reads_as_the_closed_form(
    true_deg: float, phi_deg: float, roll_deg: float
) -> None:
    # SciPy's rotations make the 3-D arm and roll the camera; dropping depth is the camera.
    raised = Rotation.from_euler("y", -true_deg, degrees=True).apply([0, 0, 1])
    arm = Rotation.from_euler("z", phi_deg, degrees=True).apply(-raised * [1, 1, -1])
    picture = Rotation.from_euler("z", roll_deg, degrees=True)
    arm_px = picture.apply([arm[0], arm[2], 0])[:2]
    trunk_px = picture.apply([0, 1, 0])[:2]
    found = line_angle_deg(arm_px, trunk_px)
    assert found == pytest.approx(seen_angle_deg(true_deg, phi_deg), abs=1e-6)


@given(st.floats(0, 180), st.floats(-180, 180), st.floats(0.1, 50), st.booleans())
def test_turning_scaling_and_mirroring_the_picture_change_nothing(
    angle_deg: float, turn_deg: float, scale: float, mirrored: bool
) -> None:
    radians = math.radians(angle_deg)
    points = np.array([[2, 0], [2 + math.sin(radians), math.cos(radians)], [0, 0], [0, 3]])
    turn = Rotation.from_euler("z", turn_deg, degrees=True).as_matrix()[:2, :2] * scale
    moved = points @ turn.T * ([-1, 1] if mirrored else [1, 1]) + [7, -4]
    assert arm_to_trunk_deg(*moved) == pytest.approx(angle_deg, abs=1e-5)


@given(st.floats(5, 175), st.floats(-20, 20), st.floats(-180, 180))
def test_skew_of_the_view_is_taken_out(angle_deg: float, skew: float, turn_deg: float) -> None:
    # Closed form: a map that keeps lengths along trunk and shoulders but tilts the shoulder line.
    radians, tilt = math.radians(angle_deg), math.radians(skew)
    tilted = np.array([math.cos(tilt), math.sin(tilt)])
    arm = math.cos(radians) * np.array([0.0, 1.0]) + math.sin(radians) * tilted
    turn = Rotation.from_euler("z", turn_deg, degrees=True).as_matrix()[:2, :2]
    found = squared_angle_deg(turn @ arm, turn @ [0, 90], turn @ (60 * tilted))
    assert found == pytest.approx(angle_deg, abs=1e-6)
    assert skew_deg(turn @ (60 * tilted), turn @ [0, 90]) == pytest.approx(abs(skew), abs=1e-6)


def test_without_skew_both_angles_are_the_same() -> None:
    arm, trunk, outward = (3.0, 4.0), (0.0, 9.0), (5.0, 0.0)
    assert squared_angle_deg(arm, trunk, outward) == pytest.approx(line_angle_deg(arm, trunk))


def test_degenerate_points_have_no_angle() -> None:
    assert arm_to_trunk_deg((1, 1), (1, 1), (0, 0), (0, 2)) is None
    assert arm_to_trunk_deg((1, 1), (2, 2), (0, 0), (0, 0)) is None
    assert arm_to_trunk_deg((1, 1), (math.nan, 2), (0, 0), (0, 1)) is None
    assert squared_angle_deg((1, 1), (0, 2), (0, 1)) is None
    assert squared_angle_deg((0, 0), (0, 2), (1, 0)) is None
    assert squared_angle_deg((1, 0), (0, math.inf), (1, 0)) is None
    assert skew_deg((0, 0), (0, 1)) is None
