"""The camera's place and the correction for it, against closed forms and SciPy's rotations."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from logger.core.events import Side
from logger.seeing.angles import seen_angle_deg
from logger.seeing.pose import Joint, Person
from logger.seeing.view import Camera, Facing, ViewModel, camera_of, elevation_deg, outward_deg

PLAIN = replace(
    ViewModel(),
    front=Facing(0.0, (0.0, -1.0, 0.0), 5.0),
    back=Facing(0.0, (0.0, -1.0, 0.0), 5.0),
    joint_out_trunks=0.0,
    joint_down_trunks=0.0,
)
"""Without what was fitted to the model's points: geometry alone."""
SQUARE = Camera(0.0, 0.0, prone=False)


def picture_of(
    points: np.ndarray[tuple[int, int], np.dtype[np.float64]], camera: Camera
) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """Return what a distant camera sees of (n, 3) points of the trunk frame: x, y, depth.

    By SciPy: the body is turned about its long axis, then about the picture's horizontal one.
    """
    around = camera.azimuth_deg + (180.0 if camera.prone else 0.0)
    turn = Rotation.from_euler("zx", [around, camera.elevation_deg], degrees=True)
    seen = turn.apply(points)
    # The camera looks along -y: the patient's left is on the picture's right, down is down.
    return np.column_stack([seen[:, 0], seen[:, 2], -seen[:, 1]])


def arm(elevation: float, plane: float, side: Side) -> list[float]:
    """Return the direction of an upper arm in the trunk frame (ISB: Wu 2005).

    By the formula of the project's reference values, section 9b.
    """
    level, turned = math.radians(elevation), math.radians(plane)
    out = math.sin(level) * math.cos(turned) * (1 if side == "left" else -1)
    return [out, math.sin(level) * math.sin(turned), math.cos(level)]


@pytest.mark.parametrize(("true", "seen"), [(30, 26.6), (55, 51.0), (90, 90.0), (120, 123.7)])
def test_a_square_camera_reads_the_published_projection_back(true: float, seen: float) -> None:
    # The apparent angles at 30 degrees out of the picture's plane, reference values, section 9b.
    for side in ("left", "right"):
        found = elevation_deg(seen, "left" if side == "left" else "right", SQUARE, 30.0, PLAIN)
        assert found == pytest.approx(true, abs=0.3)


@given(
    st.floats(12, 130),
    st.sampled_from([0.0, 30.0]),
    st.builds(Camera, st.floats(-35, 35), st.floats(-40, 30), st.booleans()),
    st.sampled_from(["left", "right"]),
)
def test_the_true_elevation_comes_back_from_anywhere(
    true: float, plane: float, camera: Camera, side: Side
) -> None:
    shoulder = 1.0 if side == "left" else -1.0
    seen = picture_of(np.array([arm(true, plane, side), [0, 0, 1], [shoulder, 0, 0]]), camera)
    measured = outward_deg(*seen[:, :2])
    assert measured is not None
    found = elevation_deg(measured, side, camera, plane, PLAIN)
    # Where two elevations look the same, either is as good: it must at least look as measured.
    assert found is not None
    again = picture_of(np.array([arm(found, plane, side), [0, 0, 1], [shoulder, 0, 0]]), camera)
    assert outward_deg(*again[:, :2]) == pytest.approx(measured, abs=0.6)


@pytest.mark.parametrize("prone", [False, True])
@pytest.mark.parametrize(("azimuth", "elevation"), [(0, 0), (20, 10), (-25, -15), (10, -30)])
def test_the_camera_is_found_from_a_body_in_space(
    azimuth: float, elevation: float, prone: bool
) -> None:
    # With depth that is exact and no habit assumed, the camera's place must come out.
    sure = replace(PLAIN, usual_azimuth_deg=1e3, usual_elevation_deg=1e3, azimuth_error_deg=3.0)
    body = np.zeros((33, 3))
    body[Joint.LEFT_SHOULDER], body[Joint.RIGHT_SHOULDER] = (0.35, 0, 0), (-0.35, 0, 0)
    body[Joint.LEFT_HIP], body[Joint.RIGHT_HIP] = (0.2, 0, 1), (-0.2, 0, 1)
    seen = picture_of(body, Camera(azimuth, elevation, prone))
    found = camera_of(Person(300 + 100 * seen[:, :2], np.ones(33), seen), sure)
    assert found is not None
    assert found.prone is prone
    assert found.azimuth_deg == pytest.approx(azimuth, abs=1.5)
    assert found.elevation_deg == pytest.approx(elevation, abs=1.5)


def test_without_depth_there_is_no_camera() -> None:
    assert camera_of(Person(np.ones((33, 2)), np.ones(33)), PLAIN) is None


def test_the_square_camera_and_frontal_plane_change_nothing() -> None:
    for seen in (10.0, 45.0, 90.0, 150.0):
        assert elevation_deg(seen, "right", SQUARE, 0.0, PLAIN) == pytest.approx(seen, abs=0.01)
        assert seen_angle_deg(seen, 0.0) == pytest.approx(seen)


def test_an_arm_across_the_body_has_no_elevation() -> None:
    assert elevation_deg(-60.0, "left", SQUARE, 0.0, PLAIN) is None


def test_what_was_fitted_stays_small_on_a_square_view() -> None:
    # The fitted places of the points move a reading by a few degrees, never by more.
    for seen in range(10, 120, 10):
        found = elevation_deg(float(seen), "left", SQUARE, 0.0, ViewModel())
        assert found is not None
        assert abs(found - seen) < 5


def test_lines_without_length_have_no_angle() -> None:
    assert outward_deg((0, 0), (0, 1), (1, 0)) is None
    assert outward_deg((1, 0), (0, math.nan), (1, 0)) is None
