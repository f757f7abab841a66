"""Who is the patient: synthetic trunks."""

from __future__ import annotations

import numpy as np
import pytest
from dots import DotBody, DotFinder
from numpy.typing import NDArray

from logger.seeing.patient import TRUNK, Framing, choose_patient, quarter_view, sightings, view_of

Trunks = NDArray[np.float64]


def trunk_at(x: float, y: float) -> Trunks:
    """Return a (4, 2) trunk about a place."""
    return np.array([[35.0, -50], [-35, -50], [22, 60], [-22, 60]]) + [x, y]


def test_the_still_body_is_chosen_over_the_one_that_moves() -> None:
    rng = np.random.default_rng(3)
    seen = [
        [trunk_at(100 + 40 * i, 200), trunk_at(320, 240) + rng.normal(0, 2, (4, 2))]
        for i in range(12)
    ]
    chosen = choose_patient(seen)
    assert chosen is not None
    assert chosen.points == pytest.approx(trunk_at(320, 240), abs=3)
    assert chosen.support == 1.0
    assert chosen.sides_sure


def test_two_bodies_as_still_as_each_other_are_not_told_apart() -> None:
    assert choose_patient([[trunk_at(100, 200), trunk_at(500, 200)] for _ in range(8)]) is None


def test_a_body_seen_too_seldom_is_no_patient() -> None:
    seen: list[list[Trunks]] = [[] for _ in range(20)]
    seen[3] = [trunk_at(320, 240)]
    seen[9] = [trunk_at(320, 240)]
    assert choose_patient(seen) is None
    assert choose_patient([]) is None
    assert choose_patient([[], []]) is None


def test_sides_that_swap_are_not_sure() -> None:
    swapped = trunk_at(320, 240)[[1, 0, 3, 2]]
    chosen = choose_patient([[trunk_at(320, 240), swapped] for _ in range(8)])
    assert chosen is not None
    assert not chosen.sides_sure


@pytest.mark.parametrize("quarters", [0, 1, 2, 3])
def test_every_turn_of_the_frame_sees_the_same_trunk(quarters: int) -> None:
    body = DotBody(heading_deg=90)
    found = sightings(DotFinder(), body.frame(), [quarters])
    places = body.points()
    expected = np.array([places[joint] for joint in TRUNK])
    assert found[0] == pytest.approx(expected, abs=1.0)
    assert quarter_view((480, 640, 3), quarters).size_px == 640


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("heading_deg", [0, 90, 200])
def test_a_view_shows_the_trunk_upright_and_leads_back(heading_deg: float, mirrored: bool) -> None:
    body = DotBody(heading_deg=heading_deg)
    places = body.points()
    trunk = choose_patient([[np.array([places[joint] for joint in TRUNK])]])
    assert trunk is not None
    view = view_of(trunk, Framing(mirrored=mirrored))
    upright = DotFinder().people(view.cut(body.frame()))[0]
    middles = upright.points[list(TRUNK)].reshape(2, 2, 2).mean(axis=1)
    assert middles[0, 0] == pytest.approx(middles[1, 0], abs=3)
    assert middles[0, 1] < middles[1, 1]
    returned = view.back(upright).points[list(TRUNK)]
    assert returned == pytest.approx(trunk.points, abs=1.0)
