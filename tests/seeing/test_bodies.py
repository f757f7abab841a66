"""Who is the patient: synthetic bodies."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from logger.seeing.bodies import (
    Body,
    ChoiceRules,
    bodies_of,
    choose,
    lies_stretched,
    painted_out,
)
from logger.seeing.patient import TRUNK
from logger.seeing.pose import Joint, Person

RULES = ChoiceRules()
Places = NDArray[np.float64]
UPRIGHT = {
    Joint.LEFT_SHOULDER: (35.0, -50.0),
    Joint.RIGHT_SHOULDER: (-35.0, -50.0),
    Joint.LEFT_HIP: (22.0, 60.0),
    Joint.RIGHT_HIP: (-22.0, 60.0),
    Joint.LEFT_KNEE: (26.0, 160.0),
    Joint.RIGHT_KNEE: (-26.0, 160.0),
}


def person_at(x: float, y: float, bend_px: float = 0.0, knees: float = 0.95) -> Person:
    """Return a body about a place; `bend_px` moves the knees aside, as of one who bends over."""
    points = np.zeros((33, 2))
    for joint, place in UPRIGHT.items():
        points[joint] = place
    points[[Joint.LEFT_KNEE, Joint.RIGHT_KNEE], 0] += bend_px
    sight = np.full(33, 0.95)
    sight[[Joint.LEFT_KNEE, Joint.RIGHT_KNEE]] = knees
    return Person(points + [x, y], sight)


def stooping_at(x: float, y: float) -> Person:
    """Return a body seen from the side, bent over."""
    return person_at(x, y, bend_px=120, knees=0.95)


def middle(body: Body | None) -> Places:
    """Return the middle of a body's trunk."""
    assert body is not None
    return np.asarray(body.trunk.points.mean(axis=0))


def test_the_still_body_is_chosen_over_the_one_that_moves() -> None:
    rng = np.random.default_rng(3)
    seen = []
    for i in range(12):
        still = person_at(320, 240)
        shaken = Person(still.points + rng.normal(0, 2, (33, 2)), still.visibility)
        seen.append([person_at(100 + 40 * i, 200), shaken])
    choice = choose(bodies_of(seen, RULES), RULES)
    assert middle(choice.patient) == pytest.approx([320, 245], abs=3)
    assert choice.warning == ""
    assert choice.patient is not None
    assert (choice.patient.support, choice.patient.sides_sure) == (1.0, True)


def test_two_bodies_as_still_and_as_stretched_are_not_told_apart() -> None:
    # A clinician who stands square on and still, a poster, a mirror: all look like this.
    seen = [[person_at(100, 200), person_at(500, 200)] for _ in range(8)]
    choice = choose(bodies_of(seen, RULES), RULES)
    assert choice.patient is None
    assert "--patient-region" in choice.warning


def test_of_two_still_bodies_the_one_that_lies_stretched_out_is_the_patient() -> None:
    seen = [[stooping_at(100, 200), person_at(500, 200)] for _ in range(8)]
    choice = choose(bodies_of(seen, RULES), RULES)
    assert middle(choice.patient)[0] == pytest.approx(500)
    assert [middle(body)[0] for body in choice.others] == pytest.approx([100])
    assert "check" in choice.warning


def test_a_region_settles_it_and_nobody_outside_is_taken() -> None:
    seen = [[person_at(100, 200), person_at(500, 200)] for _ in range(8)]
    bodies = bodies_of(seen, RULES)
    chosen = choose(bodies, RULES, (400, 100, 200, 200))
    assert middle(chosen.patient)[0] == pytest.approx(500)
    assert len(chosen.others) == 1
    empty = choose(bodies, RULES, (250, 100, 100, 200))
    assert empty.patient is None
    assert "--patient-region" in empty.warning


def test_three_people_of_whom_two_move() -> None:
    seen = [
        [person_at(100 + 30 * i, 150), person_at(320, 240), stooping_at(600 - 30 * i, 300)]
        for i in range(10)
    ]
    assert middle(choose(bodies_of(seen, RULES), RULES).patient)[0] == pytest.approx(320)


def test_only_a_stooping_person_in_view_is_no_patient() -> None:
    choice = choose(bodies_of([[stooping_at(200, 200)] for _ in range(6)], RULES), RULES)
    assert choice.patient is None
    assert choice.warning


def test_a_body_seen_too_seldom_is_no_patient() -> None:
    seen: list[list[Person]] = [[] for _ in range(20)]
    seen[3] = [person_at(320, 240)]
    seen[9] = [person_at(320, 240)]
    assert choose(bodies_of(seen, RULES), RULES).patient is None
    assert bodies_of([], RULES) == []
    assert choose([], RULES).warning == "Nobody lying still was found in the picture."


def test_a_knocked_camera_leaves_the_time_before() -> None:
    before = [[person_at(200, 240)] for _ in range(8)]
    after = [[person_at(420, 300)] for _ in range(8)]
    choice = choose(bodies_of(before + after, RULES), RULES)
    assert middle(choice.patient)[0] == pytest.approx(200)
    assert "moved" in choice.warning


def test_a_clinician_who_waits_for_a_late_patient_is_not_the_patient() -> None:
    waiting = [[stooping_at(150, 240)] for _ in range(6)]
    with_patient = [[person_at(420, 300)] for _ in range(8)]
    choice = choose(bodies_of(waiting + with_patient, RULES), RULES)
    assert middle(choice.patient)[0] == pytest.approx(420)


def test_bodies_of_two_sizes_at_two_times_are_not_one_that_moved() -> None:
    small = Person(person_at(0, 0).points * 0.6 + [150, 240], person_at(0, 0).visibility)
    seen = [[small] for _ in range(8)] + [[person_at(420, 300)] for _ in range(8)]
    choice = choose(bodies_of(seen, RULES), RULES)
    assert choice.patient is None
    assert "--patient-region" in choice.warning


def test_sides_that_swap_are_not_sure() -> None:
    body = person_at(320, 240)
    points = body.points.copy()
    points[list(TRUNK)] = points[[12, 11, 24, 23]]
    swapped = Person(points, body.visibility)
    (found,) = bodies_of([[body, swapped] for _ in range(8)], RULES)
    assert not found.sides_sure


@pytest.mark.parametrize(
    ("bend_px", "knees", "expected"), [(0, 0.9, True), (120, 0.9, False), (0, 0.1, None)]
)
def test_lying_needs_both_thighs_along_the_trunk(
    bend_px: float, knees: float, expected: bool | None
) -> None:
    (body,) = bodies_of([[person_at(300, 200, bend_px, knees)]], RULES)
    assert lies_stretched(body, RULES) is expected


def test_a_body_seen_edge_on_does_not_lie() -> None:
    points = person_at(0, 0).points * [0.3, 1.0]
    (body,) = bodies_of([[Person(points + 300, np.full(33, 0.9))]], RULES)
    assert lies_stretched(body, RULES) is False


def test_painting_out_leaves_the_rest_of_the_picture() -> None:
    rgb = np.full((480, 640, 3), 200, np.uint8)
    person = person_at(320, 240)
    rgb[190:300, 290:350] = 20
    hidden = painted_out(rgb, person)
    assert (hidden[200:290, 300:340] == 200).all()
    assert (hidden[:, :150] == 200).all()
    assert rgb[240, 320, 0] == 20
