"""Which look of a shoulder is the bare one: by how readings agree under each."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from logger.seeing.covering import CoverSettings, CoverWatch
from logger.seeing.patient import Trunk

if TYPE_CHECKING:
    from collections.abc import Sequence

TRUNK = Trunk(np.array([(356.0, 190.0), (284.0, 190.0), (342.0, 300.0), (298.0, 300.0)]), 1.0)


def bare(*kinds: Sequence[float]) -> int | None:
    """Show one plain look after the other, with the disagreements of the readings under it."""
    watch = CoverWatch(TRUNK, "right", CoverSettings())
    for number, disagreements in enumerate(kinds):
        rgb = np.full((480, 640, 3), 40 + 80 * number, np.uint8)
        for apart_deg in disagreements:
            kind = watch.kind(rgb)
            assert kind == number
            watch.note(kind, apart_deg)
    return watch.bare()


def test_the_look_under_which_readings_agree_is_bare() -> None:
    assert bare([15.0] * 10, [1.0] * 20) == 1


def test_movement_under_the_bare_look_does_not_make_hands_the_bare_one() -> None:
    # A third of the readings were of a moving arm; under hands all differ, but by less.
    assert bare([4.0] * 20 + [30.0] * 10, [13.0] * 12) == 0


@pytest.mark.parametrize("apart_deg", [8.5, 20.0, 180.0])
def test_no_look_is_bare_where_readings_agree_under_none(apart_deg: float) -> None:
    assert bare([apart_deg] * 30, [apart_deg + 1] * 12) is None


def test_two_looks_that_read_as_well_leave_it_open_unless_the_first_is_the_usual_one() -> None:
    assert bare([1.0] * 30, [2.0] * 12) == 0
    assert bare([2.0] * 12, [1.0] * 30) is None


def test_nothing_seen_is_nothing_bare() -> None:
    assert bare() is None
