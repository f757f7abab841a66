"""Cut-outs in which the trunk stands upright, and who is found in a turned frame."""

from __future__ import annotations

import numpy as np
import pytest
from dots import DotBody, DotFinder
from scipy.spatial.transform import Rotation

from logger.seeing.bodies import people_in
from logger.seeing.patient import TRUNK, Framing, Trunk, quarter_view, view_of
from logger.seeing.pose import Person


@pytest.mark.parametrize("quarters", [0, 1, 2, 3])
def test_every_turn_of_the_frame_sees_the_same_trunk(quarters: int) -> None:
    body = DotBody(heading_deg=90)
    (found,) = people_in(DotFinder(), body.frame(), quarters)
    places = body.points()
    expected = np.array([places[joint] for joint in TRUNK])
    assert found.points[list(TRUNK)] == pytest.approx(expected, abs=1.0)
    assert quarter_view((480, 640, 3), quarters).size_px == 640


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("heading_deg", [0, 90, 200])
def test_a_view_shows_the_trunk_upright_and_leads_back(heading_deg: float, mirrored: bool) -> None:
    body = DotBody(heading_deg=heading_deg)
    places = body.points()
    trunk = Trunk(np.array([places[joint] for joint in TRUNK]), 1.0)
    view = view_of(trunk, Framing(mirrored=mirrored))
    upright = DotFinder().people(view.cut(body.frame()))[0]
    middles = upright.points[list(TRUNK)].reshape(2, 2, 2).mean(axis=1)
    assert middles[0, 0] == pytest.approx(middles[1, 0], abs=3)
    assert middles[0, 1] < middles[1, 1]
    returned = view.back(upright).points[list(TRUNK)]
    assert returned == pytest.approx(trunk.points, abs=1.0)


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("turn_deg", [0.0, 16.0, -75.0])
def test_a_body_in_space_turns_back_with_its_points(turn_deg: float, mirrored: bool) -> None:
    # A body in space and its orthographic picture, turned together by SciPy, must stay alike.
    space = np.random.default_rng(4).normal(size=(33, 3))
    trunk = Trunk(np.array([[1.0, 0], [-1, 0], [1, 3], [-1, 3]]) * 40 + 200, 1.0)
    view = view_of(trunk, Framing(turn_deg=turn_deg, mirrored=mirrored))
    frame_px = 40 * space[:, :2] + 200
    cut_px = frame_px @ view.matrix[:, :2].T + view.matrix[:, 2]
    # cv2 turns counter-clockwise in a picture whose y points down: about z by minus the turn.
    seen = Rotation.from_euler("z", -turn_deg, degrees=True).apply(space)
    if mirrored:
        seen = seen * [-1, 1, 1]
    swap = np.array(view.back(Person(np.arange(66.0).reshape(33, 2), np.arange(33.0))).visibility)
    order = swap.astype(int)
    back = view.back(Person(cut_px[order], np.ones(33), seen[order]))
    assert back.world is not None
    assert back.points == pytest.approx(frame_px, abs=1e-6)
    assert back.world == pytest.approx(space, abs=1e-6)
