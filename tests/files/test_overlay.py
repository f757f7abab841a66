"""Where arcs, windows and bodies are drawn, against closed forms."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.core.events import SIDES, SeenBody, SetupStatus, Side
from logger.files.overlay import ArmNote, body_at, joint_of, note_at
from logger.seeing.angles import arm_to_trunk_deg

Body = Mapping[str, tuple[float, float]]


def body(angles: Mapping[Side, float], turn_deg: float = 0.0, *, mirrored: bool = False) -> Body:
    """Return a body of known arm angles: trunk 100 long, shoulders 80 apart, arms 50 long.

    Seen from the front, the patient's right is at the left of the picture; `turn_deg` turns the
    picture, `mirrored` shows the patient from the back.
    """
    points = {
        "right_shoulder": (-40.0, -50.0),
        "left_shoulder": (40.0, -50.0),
        "right_hip": (-25.0, 50.0),
        "left_hip": (25.0, 50.0),
    }
    for side, angle in angles.items():
        x, y = points[f"{side}_shoulder"]
        out = -1 if side == "right" else 1
        away = math.radians(angle)
        points[f"{side}_elbow"] = (x + out * 50 * math.sin(away), y + 50 * math.cos(away))
    turn = math.radians(turn_deg)
    cos, sin = math.cos(turn), math.sin(turn)
    flip = -1 if mirrored else 1
    return {
        name: (300 + flip * (cos * x - sin * y), 250 + sin * x + cos * y)
        for name, (x, y) in points.items()
    }


@given(st.floats(1, 170), st.floats(-180, 180), st.booleans(), st.sampled_from(SIDES))
def test_joint_has_the_arms_angle_however_the_body_lies(
    angle: float, turn: float, mirrored: bool, side: Side
) -> None:
    """Against the body's own closed form, and against the angle that the eye computes."""
    points = body({side: angle}, turn, mirrored=mirrored)
    joint = joint_of(points, side)
    assert joint is not None
    assert joint.angle_deg == pytest.approx(angle)
    assert joint.arm_px == pytest.approx(50)
    middle = np.mean([points["left_shoulder"], points["right_shoulder"]], axis=0)
    hips = np.mean([points["left_hip"], points["right_hip"]], axis=0)
    elbow = points[f"{side}_elbow"]
    assert arm_to_trunk_deg(joint.shoulder, elbow, middle, hips) == pytest.approx(angle)


@given(st.floats(1, 170), st.floats(-180, 180), st.booleans(), st.sampled_from(SIDES))
def test_arc_leads_from_the_trunks_axis_to_the_arm(
    angle: float, turn: float, mirrored: bool, side: Side
) -> None:
    """On a circle; its first point down the trunk, its last on the upper arm."""
    joint = joint_of(body({side: angle}, turn, mirrored=mirrored), side)
    assert joint is not None
    arc = joint.arc(0, joint.angle_deg, 30)
    assert np.linalg.norm(arc - joint.shoulder, axis=1) == pytest.approx(30)
    assert arc[0] == pytest.approx(joint.shoulder + 30 * joint.trunk)
    assert arc[-1] == pytest.approx(joint.shoulder + 0.6 * (joint.elbow - joint.shoulder))
    steps = np.linalg.norm(np.diff(arc, axis=0), axis=1)
    assert steps.max() <= 30 * math.radians(2.001)


def test_points_of_a_body_seen_square_from_the_front() -> None:
    """90 degrees at the right shoulder points to the left edge of the picture, and back."""
    points = body({"right": 45, "left": 45})
    right, left = joint_of(points, "right"), joint_of(points, "left")
    assert right is not None
    assert left is not None
    assert right.at(90, 50) == pytest.approx((260 - 50, 200))
    assert left.at(90, 50) == pytest.approx((340 + 50, 200))
    assert right.at(0, 50) == pytest.approx((260, 250))
    assert left.at(180, 50) == pytest.approx((340, 150))


def test_without_an_elbow_or_with_all_joints_in_one_place_there_is_no_joint() -> None:
    assert joint_of(body({"left": 45}), "right") is None
    assert joint_of(dict.fromkeys(body({"left": 45}), (5.0, 5.0)), "left") is None
    assert joint_of({}, "left") is None


def at(time_s: float, x: float, *more: str) -> SeenBody:
    """Return a sighting with one joint or more, all in one place."""
    return SeenBody(time_s, dict.fromkeys(("left_hip", *more), (x, 2 * x)))


def test_body_moves_evenly_between_near_sightings() -> None:
    bodies = [at(1.0, 100), at(1.2, 110, "left_elbow")]
    assert body_at(bodies, 1.05) == {"left_hip": pytest.approx((102.5, 205))}
    assert body_at(bodies, 1.2) == {"left_hip": (110, 220), "left_elbow": (110, 220)}


@pytest.mark.parametrize(
    ("time_s", "x"), [(0.7, None), (0.8, 100), (1.2, 100), (1.5, None), (2.9, 200), (3.3, None)]
)
def test_body_is_not_made_up_far_from_a_sighting(time_s: float, x: float | None) -> None:
    found = body_at([at(1.0, 100), at(3.0, 200)], time_s)
    assert found == ({} if x is None else {"left_hip": (x, 2 * x)})
    assert body_at([], time_s) == {}


def test_note_is_the_nearest_and_never_a_far_one() -> None:
    notes = [ArmNote(t, t, SetupStatus.IN_RANGE, None, ()) for t in (1.0, 1.2, 5.0)]
    found = [note_at(notes, t) for t in (0.9, 1.09, 1.11, 1.3, 2.0, 5.2, 5.3)]
    assert [n and n.time_s for n in found] == [1.0, 1.0, 1.2, 1.2, None, 5.0, None]
