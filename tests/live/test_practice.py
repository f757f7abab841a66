"""Practice without speech: attempts as they are found in a recording, told as they happen."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from arms import RATE_HZ, led
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.core.errors import UsageError
from logger.core.events import ArmAngle, SetupStatus
from logger.core.holds import Fit
from logger.core.statements import SetupWindow
from logger.findings.holds import find_holds
from logger.findings.pieces import HoldRules
from logger.grammar.loading import load_pack
from logger.live.practice import PracticeView, SetupPractice

WINDOW = SetupWindow(30, 60, "invented for the tests")
PACK = load_pack("glenohumeral")
WAY = [(3.0, 5.0), (2.0, 75.0), (4.0, 75.0), (1.5, 45.0), (5.0, 45.0), (2.0, 5.0), (3.0, 5.0)]


def practised(
    way: Sequence[tuple[float, float | None]],
) -> tuple[SetupPractice, list[PracticeView]]:
    practice = SetupPractice(WINDOW, "right", 0.0)
    return practice, [practice.see([sample]) for sample in led(way)]


def test_the_score_sheet_of_two_attempts() -> None:
    practice, views = practised(WAY)
    over, right = practice.finish()
    assert (over.number, over.fit, over.steady) == (1, Fit.OUT_OF_RANGE, True)
    assert over.angle_deg == pytest.approx(75, abs=0.5)
    assert over.off_deg == pytest.approx(15, abs=0.5)
    assert over.got_there_s == pytest.approx(2.0, abs=0.5)
    assert (right.number, right.fit, right.off_deg) == (2, Fit.IN_RANGE, 0.0)
    assert right.angle_deg == pytest.approx(45, abs=0.5)
    assert right.got_there_s == pytest.approx(1.5, abs=0.5)
    assert right.held_s == pytest.approx(5.0, abs=0.6)
    # Each was told once, soon after it was over.
    told = [(view.done, i / RATE_HZ) for i, view in enumerate(views) if view.done]
    assert [attempt.number for attempt, _ in told if attempt] == [1, 2]
    assert told[0][1] == pytest.approx(9.0 + 1.5, abs=1.2)
    assert practice.finish() == (over, right)


def test_in_place_is_said_while_it_is_so() -> None:
    _, views = practised(WAY)
    in_place = [i / RATE_HZ for i, view in enumerate(views) if view.in_place]
    # Steady after half a second of the hold that begins at 10.5 s and ends at 15.5 s.
    assert in_place[0] == pytest.approx(11.0, abs=0.4)
    assert in_place[-1] == pytest.approx(15.5, abs=0.4)
    steady = views[140]
    assert steady.words == f"{steady.gauge.angle_deg:.0f}\u00b0, in range, steady"
    assert steady.got_there_s == pytest.approx(1.5, abs=0.7)
    assert steady.steady_s == pytest.approx(14.0 - 10.5, abs=0.5)
    assert views[70].words.endswith("15\u00b0 above, steady") or "above" in views[70].words
    assert views[40].words.endswith("moving")
    assert views[40].got_there_s is None


def test_rest_is_no_attempt_and_a_hidden_arm_has_no_time() -> None:
    way = [(3.0, 5.0), (1.0, None), (3.0, 45.0), (4.0, 45.0)]
    practice, views = practised(way)
    assert views[35].gauge.status is SetupStatus.NOT_SEEN
    assert views[35].words == "hidden"
    attempt = practice.finish()[-1]
    assert attempt.fit is Fit.IN_RANGE
    practice, _ = practised([(5.0, 5.0)])
    assert practice.finish() == ()
    # It came out of hiding in its place: how it got there was not seen.
    hidden = [(3.0, 5.0), (1.0, 5.0), (2.0, None), (0.1, 45.0), (4.0, 45.0)]
    assert practised([*WAY, *hidden])[0].finish()[-1].got_there_s is None


def test_a_drift_is_not_steady() -> None:
    practice, _ = practised([(2.0, 5.0), (2.0, 35.0), (10.0, 55.0), (1.0, 5.0), (2.0, 5.0)])
    assert [attempt.steady for attempt in practice.finish()] == [False]


LEGS = st.lists(
    st.tuples(st.floats(1.0, 3.0), st.floats(2.5, 9.0), st.floats(0, 140)), min_size=1, max_size=6
)


@settings(max_examples=25)
@given(LEGS)
def test_live_attempts_are_those_of_a_recording(legs: list[tuple[float, float, float]]) -> None:
    """Told as they happen or found afterwards in the whole: the same holds."""
    way: list[tuple[float, float | None]] = [(3.0, 5.0)]
    level = 5.0
    for move_s, hold_s, deg in legs:
        # Places nearer than the rules' least step are one.
        target = deg if abs(deg - level) > 12 else level + 20
        way += [(move_s, target), (hold_s, target)]
        level = target
    practice, _ = practised(way)
    found = find_holds(list(led(way)), HoldRules())
    whole = [h for h in found if not (h.angle_deg <= 20)]
    live = practice.finish()
    assert len(live) == len(whole)
    for attempt, hold in zip(live, whole, strict=True):
        assert attempt.angle_deg == pytest.approx(hold.angle_deg, abs=1.0)
        assert attempt.start_s == pytest.approx(hold.start_s, abs=0.5)
        assert attempt.held_s == pytest.approx(hold.duration_s, abs=0.8)


def test_the_plane_of_the_test_counts() -> None:
    """An arm 30 degrees forward that looks 52 up is at 55.9: tan(true) = tan(seen) / cos(30)."""
    practice = SetupPractice.of_test(PACK, "posterior_glide", "right", 0.0)
    for i in range(60):
        view = practice.see([ArmAngle(i / 10, "right", 52.0, visible=True)])
    assert view.gauge.angle_deg == pytest.approx(55.9, abs=0.05)
    (attempt,) = practice.finish()
    assert attempt.angle_deg == pytest.approx(55.9, abs=0.05)


def test_only_the_arm_and_the_time_that_were_asked_for_count() -> None:
    practice = SetupPractice(WINDOW, "left", 5.0)
    for sample in led([(10.0, 45.0)]):
        practice.see([sample])
    assert practice.finish() == ()
    practice = SetupPractice(WINDOW, "right", 5.0)
    for sample in led([(10.0, 45.0)]):
        practice.see([sample])
    (attempt,) = practice.finish()
    assert attempt.start_s >= 5.0
    assert attempt.got_there_s == pytest.approx(0.0, abs=0.2)


def test_what_cannot_be_practised_is_refused() -> None:
    with pytest.raises(UsageError, match="has no window"):
        SetupPractice.of_test(PACK, "flexion", "left", 0.0)
    for low, high in ((60, 30), (-5, 30), (30, 190)):
        with pytest.raises(UsageError, match="No arm can be held"):
            SetupPractice(SetupWindow(low, high, ""), "left", 0.0)


def test_memory_does_not_grow() -> None:
    practice = SetupPractice(WINDOW, "right", 0.0)
    for sample in led([(90.0, 45.0), (1.0, 5.0), (90.0, 5.0), (1.0, 45.0), (90.0, 45.0)]):
        practice.see([sample])
        assert len(practice._past.angles) <= 61 * RATE_HZ
