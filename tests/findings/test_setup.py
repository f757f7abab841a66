"""The setup window on traces whose answer is known in closed form."""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from logger.core.events import ArmAngle, SetupReading, SetupStatus, Side
from logger.core.statements import SetupWindow
from logger.findings.setup import SetupRules, read_setup

RULES = SetupRules()
WINDOW = SetupWindow(30, 60, "invented for the tests")
RATES = st.sampled_from([5.0, 10.0, 24.0, 29.97, 60.0])


def trace(
    angle_at: Callable[[float], float | None],
    until_s: float,
    rate_hz: float = 10.0,
    side: Side = "right",
) -> list[ArmAngle]:
    """Sample a closed form; None is an arm out of sight."""
    times = [i / rate_hz for i in range(int(until_s * rate_hz) + 1)]
    return [ArmAngle(t, side, angle_at(t), visible=angle_at(t) is not None) for t in times]


def read(samples: list[ArmAngle], before_s: float) -> SetupReading:
    """Read the right arm against 30 to 60 degrees."""
    return read_setup(samples, "right", before_s, WINDOW, RULES)


@given(RATES, st.floats(0, 180), st.floats(0.7, 20))
def test_held_arm_reads_its_angle_at_any_rate(rate_hz: float, angle: float, held_s: float) -> None:
    reading = read(trace(lambda _: angle, held_s, rate_hz), held_s)
    assert (reading.angle_deg, reading.spread_deg) == (angle, 0.0)
    assert reading.at_s == pytest.approx(held_s, abs=1 / rate_hz)


@given(st.lists(st.floats(0.01, 0.19), min_size=60, max_size=120), st.integers(0, 2**32 - 1))
def test_irregular_times_in_any_order(steps: list[float], seed: int) -> None:
    """An arm that moves from 20 to 50 and stays there for the last 0.8 s or more."""
    times = np.cumsum(steps)
    end_s = float(times[-1])
    moved_s = max(end_s / 2, end_s - 3)
    assume(end_s - moved_s > 0.8)
    samples = [ArmAngle(t, "right", 50.0 if t > moved_s else 20.0, visible=True) for t in times]
    order = np.random.default_rng(seed).permutation(len(samples))
    reading = read([samples[i] for i in order], end_s)
    assert (reading.angle_deg, reading.status) == (50.0, SetupStatus.IN_RANGE)


@given(
    RATES,
    st.integers(1, 1000),
    st.floats(0, 180),
    st.integers(0, 2**32 - 1),
)
def test_one_outlier_anywhere_changes_nothing(
    rate_hz: float, place: int, wrong: float, seed: int
) -> None:
    """Noise of 1.2 degrees about 45, held for two seconds, one frame anywhere read wrongly."""
    rng = np.random.default_rng(seed)
    samples = trace(lambda _: 45 + float(rng.uniform(-1.2, 1.2)), 2.0, rate_hz)
    i = place % len(samples)
    samples[i] = ArmAngle(samples[i].time_s, "right", wrong, visible=True)
    reading = read(samples, 2.0)
    assert reading.angle_deg is not None
    assert reading.angle_deg == pytest.approx(45, abs=1.2)
    assert reading.spread_deg is not None
    assert reading.spread_deg <= RULES.most_spread_deg


def test_angle_that_goes_to_and_fro_is_not_steady() -> None:
    """Every second frame wrong is not one outlier."""
    samples = [ArmAngle(i / 30, "right", 45.0 + 30 * (i % 2), visible=True) for i in range(90)]
    assert read(samples, 3.0).status is SetupStatus.NOT_SEEN


def test_outliers_close_together_end_the_window() -> None:
    """Right, wrong, right, wrong, with 0.4 s of rest on either side."""
    samples = trace(lambda t: 80.0 if round(t * 10) in {5, 7} else 45.0, 1.2)
    assert read(samples, 1.2).status is SetupStatus.NOT_SEEN


def test_time_across_one_outlier_was_seen() -> None:
    """Half a second in all, its middle sample wrong."""
    samples = trace(lambda t: 80.0 if round(t * 10) == 3 else 45.0, 0.5)
    assert read(samples, 0.5).angle_deg == 45.0


def test_two_looks_are_no_window() -> None:
    assert read(trace(lambda _: 45.0, 0.5, 2), 0.5).status is SetupStatus.NOT_SEEN


def test_two_wrong_frames_in_a_row_end_the_window() -> None:
    samples = trace(lambda t: 80.0 if 1.55 < t < 1.75 else 45.0, 2.0)
    assert read(samples, 2.0).status is SetupStatus.NOT_SEEN


@pytest.mark.parametrize("speed", [12.0, 45.0, 90.0])
def test_arm_that_moves_is_never_steady(speed: float) -> None:
    """Half a second at more than 10 degrees a second is more than the 5 allowed."""
    assert read(trace(lambda t: speed * t, 2.0, 30), 2.0).status is SetupStatus.NOT_SEEN


def test_quick_drift_reads_the_end_within_half_the_spread() -> None:
    """At 2 degrees a second the window holds the last 5 degrees and 2.5 s.

    A quarter at each end is set aside, and what is left moves by less than the drift allowed
    between its thirds: the median is that of the middle.
    """
    reading = read(trace(lambda t: 20 + 2 * t, 15.0, 20), 15.0)
    assert reading.angle_deg == pytest.approx(47.5, abs=0.11)
    assert reading.spread_deg == pytest.approx(2.5, abs=0.11)


def test_slow_drift_reads_where_the_arm_came_to() -> None:
    """At 0.25 degrees a second the window holds 20 s and 5 degrees: only its last third counts."""
    reading = read(trace(lambda t: 40 + 0.25 * t, 20.0, 20), 20.0)
    # Without 1 s at each end 18 s are left; the middle of their last third is 16 s.
    assert reading.angle_deg == pytest.approx(44.0, abs=0.05)
    assert reading.spread_deg == pytest.approx(1.5, abs=0.05)


def test_quick_reposition_reads_the_new_place_only() -> None:
    """From 45 to 55 within 0.3 s: the hold before it is another one."""
    samples = trace(lambda t: 45.0 if t < 4 else min(45 + 33 * (t - 4), 55.0), 8.0)
    reading = read(samples, 8.0)
    assert (reading.angle_deg, reading.spread_deg) == (55.0, 0.0)


def test_first_and_last_second_of_a_hold_do_not_count() -> None:
    """The arm settles by 3 degrees in the first second; a hand pushes it by 3 in the last."""
    samples = trace(lambda t: 45 - 3 * max(1 - t, 0) + 2 * max(t - 7, 0), 8.0)
    reading = read(samples, 8.0)
    assert (reading.angle_deg, reading.spread_deg, reading.at_s) == (45.0, 0.0, 8.0)


@pytest.mark.parametrize(("seen", "true"), [(26.6, 30), (36.0, 40), (51.0, 55), (56.3, 60)])
def test_a_scapular_setup_is_corrected_as_published(seen: float, true: float) -> None:
    """Reference values, section 9b: what a square camera sees of an arm 30 degrees forward."""
    window = SetupWindow(30, 60, "invented for the tests", plane_deg=30.0)
    reading = read_setup(trace(lambda _: seen, 2.0), "right", 2.0, window, RULES)
    assert reading.angle_deg == pytest.approx(true, abs=0.1)
    assert reading.corrected_by_deg == pytest.approx(true - seen, abs=0.1)
    assert "30 deg forward" in reading.correction


def test_a_corrected_view_says_what_was_corrected_and_by_how_much() -> None:
    samples = [
        ArmAngle(t / 10, "right", 50.0, visible=True, seen_deg=47.0, scapular_deg=56.0)
        for t in range(21)
    ]
    plain = read_setup(samples, "right", 2.0, WINDOW, RULES)
    assert (plain.angle_deg, plain.corrected_by_deg) == (50.0, 3.0)
    assert "frontal" in plain.correction
    scapular = SetupWindow(30, 60, "invented for the tests", plane_deg=30.0)
    forward = read_setup(samples, "right", 2.0, scapular, RULES)
    assert (forward.angle_deg, forward.corrected_by_deg) == (56.0, 9.0)
    uncorrected = read(trace(lambda _: 45.0, 2.0), 2.0)
    assert (uncorrected.corrected_by_deg, uncorrected.correction) == (0.0, "")


def test_median_of_a_noisy_hold_is_that_of_the_standard_library() -> None:
    rng = np.random.default_rng(3)
    values = [45 + float(rng.uniform(-2, 2)) for _ in range(41)]
    samples = [ArmAngle(i / 20, "right", v, visible=True) for i, v in enumerate(values)]
    assert read(samples, 2.0).angle_deg == pytest.approx(statistics.median(values), abs=0.3)


def test_last_of_several_holds_counts() -> None:
    samples = trace(lambda t: (20.0, 50.0, 40.0)[min(int(t / 2), 2)], 5.9)
    assert read(samples, 3.9).angle_deg == 50.0
    assert read(samples, 5.9).angle_deg == 40.0


def test_samples_after_the_finding_do_not_count() -> None:
    samples = trace(lambda t: 45.0 if t <= 2 else 90.0, 10.0)
    assert read(samples, 2.0).angle_deg == 45.0


def test_hold_out_of_sight_since_still_counts_for_30_s() -> None:
    """The window may reach further back, but must end in time."""
    samples = trace(lambda t: 45.0 if t <= 5 else None, 60.0)
    assert read(samples, 35.0).angle_deg == 45.0
    assert read(samples, 35.11).status is SetupStatus.NOT_SEEN
    assert read(trace(lambda _: 45.0, 0.6), 30.5).angle_deg == 45.0


@pytest.mark.parametrize(
    ("later", "seen"),
    [
        (lambda t: 45 + 40 * (t - 2), False),  # moved on and never came to rest
        (lambda t: 45 + 40 * (t - 2) if t < 2.3 else None, False),  # seen leaving, then covered
        (lambda t: 80.0 if 4 < t <= 4.1 else None, False),  # one look, after a gap, elsewhere
        (lambda t: 46.0 if 4 < t <= 4.1 else None, True),  # one look, still there
        (lambda _: None, True),  # covered: nothing speaks against it
    ],
)
def test_window_that_the_arm_was_seen_to_leave_is_no_setup(
    later: Callable[[float], float | None], seen: bool
) -> None:
    samples = trace(lambda t: 45.0 if t <= 2 else later(t), 5.0)
    assert (read(samples, 5.0).angle_deg == 45.0) is seen
    assert (read(samples, 5.0).status is SetupStatus.IN_RANGE) is seen


@pytest.mark.parametrize(("blink_s", "seen"), [(0.2, True), (0.7, False)])
def test_gap_in_visibility_breaks_a_window_and_a_blink_does_not(blink_s: float, seen: bool) -> None:
    """0.4 s seen on each side: enough together across a blink, not across a gap."""
    end_s = 0.8 + blink_s
    samples = trace(lambda t: None if 0.4 < t < 0.4 + blink_s - 1e-9 else 45.0, end_s, 50)
    assert (read(samples, end_s).angle_deg == 45.0) is seen


def test_time_out_of_sight_is_not_time_seen() -> None:
    """Three looks with a blink between them are 0.8 s apart, none of it watched."""
    samples = trace(lambda t: 45.0 if round(t * 10) % 4 == 0 else None, 0.8)
    assert read(samples, 0.8).status is SetupStatus.NOT_SEEN


@pytest.mark.parametrize("bad", [None, math.nan, math.inf])
def test_angles_that_are_none_or_no_number_are_not_seen(bad: float | None) -> None:
    samples = [ArmAngle(i / 10, "right", bad, visible=True) for i in range(30)]
    assert read(samples, 3.0) == SetupReading(SetupStatus.NOT_SEEN)


def test_unseen_angles_and_the_other_arm_do_not_count() -> None:
    unseen = [ArmAngle(i / 10, "right", 45.0, visible=False) for i in range(30)]
    other = trace(lambda _: 45.0, 3.0, side="left")
    assert read(unseen + other, 3.0) == SetupReading(SetupStatus.NOT_SEEN)
    assert read([], 3.0) == SetupReading(SetupStatus.NOT_SEEN)


@pytest.mark.parametrize(
    ("angle", "status"),
    [
        (23.9, SetupStatus.OUT_OF_RANGE),
        (24.0, SetupStatus.BORDERLINE),
        (30.0, SetupStatus.BORDERLINE),
        (36.0, SetupStatus.BORDERLINE),
        (36.1, SetupStatus.IN_RANGE),
        (53.9, SetupStatus.IN_RANGE),
        (60.0, SetupStatus.BORDERLINE),
        (66.1, SetupStatus.OUT_OF_RANGE),
    ],
)
def test_nearer_to_a_limit_than_the_error_is_borderline(angle: float, status: SetupStatus) -> None:
    assert read(trace(lambda _: angle, 2.0), 2.0).status is status


def test_angles_that_state_their_own_error_are_judged_by_it() -> None:
    """2.5 degrees by markers: what is borderline by pose is not, and the reading says why."""
    for angle, status in ((27, "out_of_range"), (28, "borderline"), (33, "in_range")):
        samples = [
            replace(sample, source="markers", error_deg=2.5)
            for sample in trace(lambda _, angle=angle: angle, 2.0)  # type: ignore[misc]
        ]
        reading = read(samples, 2.0)
        assert reading.status is SetupStatus(status)
        assert (reading.source, reading.error_deg) == ("markers", 2.5)


def test_largest_error_in_a_window_counts() -> None:
    samples = trace(lambda _: 33.0, 2.0)
    stated = [replace(s, error_deg=1.0 + s.time_s) for s in samples]
    assert read(stated, 2.0).error_deg == 3.0
    assert read([*stated[:-1], samples[-1]], 2.0).error_deg == RULES.error_deg
    assert read(samples, 2.0).source == "pose"
    assert read([], 2.0).source is None
    assert read([], 2.0).error_deg is None


def test_ends_of_the_scale_are_no_limits() -> None:
    """An arm along the trunk cannot be below 0."""
    window = SetupWindow(0, 20, "invented for the tests")
    samples = trace(lambda _: 1.0, 2.0)
    assert read_setup(samples, "right", 2.0, window, RULES).status is SetupStatus.IN_RANGE


def test_without_a_window_the_angle_is_read_and_not_judged() -> None:
    reading = read_setup(trace(lambda _: 70.0, 2.0), "right", 2.0, None, RULES)
    assert (reading.angle_deg, reading.status) == (70.0, SetupStatus.NOT_REQUIRED)


@pytest.mark.parametrize(
    ("covered_s", "reads", "given"), [(1.5, 80.0, True), (6.0, 80.0, False), (6.0, 52.0, True)]
)
def test_an_arm_that_seems_moved_under_hands_is_blank(
    covered_s: float, reads: float, given: bool
) -> None:
    """Held at 45 for 2 s, then covered: poor readings count against it, but only over time."""
    held = trace(lambda _: 45.0, 2.0)
    times = [2.1 + i / 10 for i in range(int(covered_s * 10))]
    covered = [ArmAngle(t, "right", reads, visible=False, reason="hands") for t in times]
    reading = read([*held, *covered], times[-1])
    assert (reading.angle_deg == 45.0) is given


@pytest.mark.parametrize(("held_s", "given"), [(0.6, True), (1.6, False)])
def test_an_arm_that_held_still_elsewhere_unseen_is_not_where_it_was(
    held_s: float, given: bool
) -> None:
    """Seen at 20, then unsure at 43 for a while, then under hands at 25: the middle says 25."""
    seen = trace(lambda _: 20.0, 2.0)
    unsure = [
        ArmAngle(
            t / 10, "right", 43.0 if t < 20 + 10 * held_s else 25.0, visible=False, reason="hands"
        )
        for t in range(21, 75)
    ]
    reading = read_setup([*seen, *unsure], "right", 7.5, WINDOW, RULES)
    assert (reading.angle_deg is not None) is given
