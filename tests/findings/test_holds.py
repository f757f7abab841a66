"""Holds, drifts and movements on made traces whose holds are known."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import stats

from logger.core.events import ArmAngle, Side, Source
from logger.core.holds import Fit, Hold, HoldKind, Target
from logger.core.statements import SetupWindow
from logger.findings.holds import find_holds, find_unseen, judge, targets_of
from logger.findings.pieces import HoldRules, Run, best_cuts, jitter_deg
from logger.findings.setup import SetupRules, read_setup

RULES = HoldRules()
RATES = st.sampled_from([5.0, 6.0, 10.0, 24.0, 29.97, 60.0])
SEEDS = st.integers(0, 2**32 - 1)


@dataclass(frozen=True, slots=True)
class Part:
    """One part of a made trace: from the angle before it to `to_deg`, smoothly or in a line."""

    to_deg: float
    lasts_s: float
    smooth: bool = False


def angle_at(parts: list[Part], start_deg: float, time_s: float) -> float:
    """Return the closed form: lines, and half cosines for smooth movements."""
    angle = start_deg
    for part in parts:
        if time_s < part.lasts_s:
            share = time_s / part.lasts_s
            share = (1 - math.cos(math.pi * share)) / 2 if part.smooth else share
            return angle + (part.to_deg - angle) * share
        time_s -= part.lasts_s
        angle = part.to_deg
    return angle


def trace(
    parts: list[Part],
    start_deg: float,
    rate_hz: float = 10.0,
    *,
    noise_deg: float = 0.0,
    seed: int = 0,
    side: Side = "right",
) -> list[ArmAngle]:
    """Sample the parts at a rate, with normal noise."""
    until_s = sum(part.lasts_s for part in parts)
    times = np.arange(int(until_s * rate_hz) + 1) / rate_hz
    noise = np.random.default_rng(seed).normal(0, noise_deg, times.size)
    angles = [angle_at(parts, start_deg, t) for t in times.tolist()]
    return [
        ArmAngle(float(t), side, float(a + e), visible=True)
        for t, a, e in zip(times, angles, noise, strict=True)
    ]


def hidden(samples: list[ArmAngle], from_s: float, until_s: float) -> list[ArmAngle]:
    """Take the arm out of sight for a while."""
    return [
        ArmAngle(s.time_s, s.side, None, visible=False, reason="hands cover the arm")
        if from_s < s.time_s < until_s
        else s
        for s in samples
    ]


@st.composite
def practices(draw: st.DrawFn) -> tuple[float, list[Part]]:
    """Draw holds of 2 to 8 s at levels 8 degrees or more apart, with movements between."""
    start = draw(st.floats(5, 150))
    parts = [Part(start, draw(st.floats(2, 8)))]
    for _ in range(draw(st.integers(1, 5))):
        away = draw(st.floats(8, 60)) * draw(st.sampled_from([-1, 1]))
        level = parts[-1].to_deg + away
        if not 0 <= level <= 170:
            level = parts[-1].to_deg - away
        if not 0 <= level <= 170:
            continue
        # A movement is quicker than the quickest drift.
        moved_s = draw(st.floats(0.3, 1.0)) * abs(level - parts[-1].to_deg) / 8
        parts += [Part(level, moved_s, smooth=True), Part(level, draw(st.floats(2, 8)))]
    return start, parts


@settings(deadline=None)
@given(practices(), RATES, st.floats(0, 0.5), SEEDS)
def test_made_practice_gives_back_its_holds(
    made: tuple[float, list[Part]], rate_hz: float, noise_deg: float, seed: int
) -> None:
    """Every hold, none besides, its angle and its times, at any rate and with jitter."""
    start_deg, parts = made
    found = find_holds(trace(parts, start_deg, rate_hz, noise_deg=noise_deg, seed=seed), RULES)
    ends = np.cumsum([part.lasts_s for part in parts])
    kept = [(parts[i].to_deg, ends[i] - parts[i].lasts_s, ends[i]) for i in range(0, len(parts), 2)]
    assert [hold.kind for hold in found] == [HoldKind.HOLD] * len(kept)
    for i, (hold, (level, from_s, until_s)) in enumerate(zip(found, kept, strict=True)):
        assert hold.angle_deg == pytest.approx(level, abs=0.3 + 1.2 * noise_deg)
        # Gentle movements are level at their ends; the rest is the sampling and the jitter.
        before_s = level_s(parts[2 * i - 1], parts[2 * i - 2].to_deg) if i else 0.0
        after_s = level_s(parts[2 * i + 1], level) if 2 * i + 1 < len(parts) else 0.0
        slack_s = 0.15 + (1 + 3 * noise_deg) / min(rate_hz, 10)
        assert from_s - before_s - slack_s <= hold.start_s <= from_s + slack_s
        assert until_s - slack_s <= hold.end_s <= until_s + after_s + slack_s
    for before, hold in pairwise(found):
        assert hold.got_there_s == pytest.approx(hold.start_s - before.end_s)
        assert hold.moved_deg == pytest.approx(hold.angle_deg - before.angle_deg)


@settings(deadline=None)
@given(
    st.floats(0.7, 2.5) | st.floats(-2.5, -0.7),
    st.floats(4, 10),
    RATES,
    st.floats(0, 0.5),
    SEEDS,
)
def test_slow_drift_is_named_with_its_rate(
    rate: float, lasts_s: float, rate_hz: float, noise_deg: float, seed: int
) -> None:
    """The rate against the line that was drawn and against SciPy's own regression."""
    lasts_s = max(lasts_s, 7 / abs(rate))
    samples = trace(
        [Part(80 + rate * lasts_s, lasts_s)], 80, rate_hz, noise_deg=noise_deg, seed=seed
    )
    (drift,) = find_holds(samples, RULES)
    assert drift.kind is HoldKind.DRIFT
    # The standard error of a slope: with few and noisy samples it may be five of them off.
    error = noise_deg * math.sqrt(12 / (rate_hz * lasts_s)) / lasts_s
    assert drift.drift_deg_per_s == pytest.approx(rate, abs=0.05 + max(0.4 * noise_deg, 5 * error))
    line = stats.linregress([s.time_s for s in samples], [float(s.angle_deg or 0) for s in samples])
    # Samples that jump are set aside and those of a tenth of a second are one: hence the slack.
    assert drift.drift_deg_per_s == pytest.approx(
        line.slope, abs=0.02 + max(0.25 * noise_deg, 2.5 * error)
    )
    assert (drift.last_deg - drift.first_deg) * rate > 0


def test_drift_after_a_hold_is_told_from_the_hold() -> None:
    found = find_holds(trace([Part(50, 6), Part(38, 8)], 50, noise_deg=0.5), RULES)
    assert [hold.kind for hold in found] == [HoldKind.HOLD, HoldKind.DRIFT]
    assert found[0].angle_deg == pytest.approx(50, abs=0.5)
    assert found[0].end_s == pytest.approx(6, abs=1.0)
    assert found[1].drift_deg_per_s == pytest.approx(-1.5, abs=0.15)
    assert found[1].got_there_s is None, "a sag is no way of getting there"


@pytest.mark.parametrize("step_deg", [-8.0, 6.0, 20.0])
@pytest.mark.parametrize("lasts_s", [0.05, 0.5, 1.0])
def test_quick_reposition_splits_a_hold(step_deg: float, lasts_s: float) -> None:
    parts = [Part(50, 5), Part(50 + step_deg, lasts_s, smooth=True), Part(50 + step_deg, 5)]
    first, second = find_holds(trace(parts, 50, noise_deg=0.3), RULES)
    assert (first.kind, second.kind) == (HoldKind.HOLD, HoldKind.HOLD)
    assert first.angle_deg == pytest.approx(50, abs=0.5)
    assert second.moved_deg == pytest.approx(step_deg, abs=1)
    between_s = lasts_s - 2 * level_s(Part(step_deg, lasts_s), 0)
    assert second.got_there_s is not None
    assert between_s - 0.25 <= second.got_there_s <= lasts_s + 0.15


def level_s(part: Part, from_deg: float) -> float:
    """Return how long a smooth movement stays within the jitter of where it starts or ends."""
    share = RULES.jitter_deg[1] / abs(part.to_deg - from_deg)
    return part.lasts_s * math.acos(1 - 2 * share) / math.pi


def test_shift_within_the_jitter_does_not_split_a_hold() -> None:
    parts = [Part(50, 5), Part(52, 0.5), Part(52, 5)]
    (hold,) = find_holds(trace(parts, 50, noise_deg=0.5), RULES)
    assert (hold.start_s, hold.end_s) == (0.0, 10.5)


def test_first_and_last_second_do_not_count_for_the_angle() -> None:
    """A hold that settles from 3 degrees above and is let go 3 below reads its middle."""
    parts = [Part(53, 0.8), Part(50, 0.1), Part(50, 4), Part(47, 0.1), Part(47, 0.8)]
    (hold,) = find_holds(trace(parts, 53), RULES)
    assert (hold.first_deg, hold.angle_deg, hold.last_deg) == (53, 50, 47)


@pytest.mark.parametrize("samples", [1, 2, 5])
def test_one_jump_or_a_short_blip_does_not_split_a_hold(samples: int) -> None:
    made = trace([Part(50, 8)], 50, noise_deg=0.5)
    for i in range(40, 40 + samples):
        made[i] = ArmAngle(made[i].time_s, "right", 75.0, visible=True)
    (hold,) = find_holds(made, RULES)
    assert hold.angle_deg == pytest.approx(50, abs=0.5)
    assert (hold.start_s, hold.end_s) == (0.0, 8.0)


def test_unseen_stretch_ends_a_hold_and_leaves_the_way_there_unknown() -> None:
    made = hidden(trace([Part(50, 10)], 50), 4.0, 7.0)
    first, second = find_holds(made, RULES)
    assert (first.end_s, second.start_s) == (4.0, 7.0)
    assert (second.got_there_s, second.moved_deg) == (None, None)
    assert second.seen_share == pytest.approx(0.5), "3 of 6 s since the hold before"
    assert [(u.side, u.start_s, u.end_s, u.reason) for u in find_unseen(made, 10, RULES)] == [
        ("left", 0.0, 10.0, ""),
        ("right", 4.0, 7.0, "hands cover the arm"),
    ]


def test_arm_that_moves_out_of_sight_has_no_time_to_get_there() -> None:
    parts = [Part(20, 3), Part(60, 2, smooth=True), Part(60, 3)]
    first, second = find_holds(hidden(trace(parts, 20), 3.5, 4.5), RULES)
    assert second.got_there_s is None
    assert second.seen_share < 1
    assert first.seen_share == 1


@pytest.mark.parametrize("bad", [None, math.nan, math.inf])
def test_no_angle_is_no_hold(bad: float | None) -> None:
    made = [ArmAngle(i / 10, "left", bad, visible=True) for i in range(50)]
    assert find_holds(made, RULES) == ()


def test_angle_that_is_not_visible_does_not_count() -> None:
    made = [ArmAngle(i / 10, "left", 45.0, visible=False) for i in range(50)]
    assert find_holds(made, RULES) == ()
    assert find_holds([], RULES) == ()


def test_one_picture_a_second_shows_no_hold() -> None:
    """Where the arm was between two pictures is not known."""
    made = [ArmAngle(float(i), "left", 45.0, visible=True) for i in range(20)]
    assert find_holds(made, RULES) == ()


def test_too_short_a_standstill_is_a_pause() -> None:
    parts = [Part(40, 0.6), Part(70, 1), Part(70, 0.6), Part(100, 1), Part(100, 3)]
    (hold,) = find_holds(trace(parts, 40), RULES)
    assert hold.angle_deg == pytest.approx(100)


def test_order_of_samples_does_not_matter_and_arms_are_apart() -> None:
    right = trace([Part(20, 3), Part(60, 1, smooth=True), Part(60, 3)], 20)
    left = trace([Part(90, 7)], 90, side="left")
    mixed = np.random.default_rng(1).permutation(np.arange(len(right) + len(left)))
    together = [*right, *left]
    found = find_holds([together[i] for i in mixed], RULES)
    assert found == find_holds(together, RULES)
    assert [hold.side for hold in found] == ["left", "right", "right"]


@settings(deadline=None)
@given(st.lists(st.floats(0, 180), min_size=2, max_size=25), st.floats(1, 60))
def test_cuts_are_the_best_of_all(angles: list[float], penalty: float) -> None:
    """Against every way of cutting a short run, each line fitted by NumPy's polyfit."""
    rules = HoldRules(penalty=penalty)
    run = Run(np.arange(len(angles)) / 6, np.array(angles))
    cuts, scale = best_cuts(run, rules), jitter_deg(run, rules)
    assert cuts[0] == 0
    assert cuts[-1] == len(angles)
    given_cost = sum(
        misfit(run.time_s[a:b], run.angle_deg[a:b]) / scale**2 + penalty for a, b in pairwise(cuts)
    )
    best = np.full(len(angles) + 1, np.inf)
    best[0] = 0.0
    for stop in range(1, len(angles) + 1):
        best[stop] = min(
            best[a] + misfit(run.time_s[a:stop], run.angle_deg[a:stop]) / scale**2 + penalty
            for a in range(stop)
        )
    assert given_cost == pytest.approx(best[-1], rel=1e-6, abs=1e-6)


def misfit(time_s: NDArray[np.float64], angle_deg: NDArray[np.float64]) -> float:
    """Return the squared distances from NumPy's own line."""
    if time_s.size < 3:
        return 0.0
    line = np.polynomial.Polynomial.fit(time_s, angle_deg, 1)
    return float(((line(time_s) - angle_deg) ** 2).sum())


def hold_at(angle_deg: float, kind: HoldKind = HoldKind.HOLD, last_deg: float = 0) -> Hold:
    """Return a hold of the right arm of which only the angle matters."""
    last = last_deg if kind is HoldKind.DRIFT else angle_deg
    return Hold("right", kind, 1, 5, angle_deg, angle_deg, last, 1, 0, None, None, 1)


NARROW = Target(30, 60, ("a", "b"))
WIDE = Target(30, 90, ("c",))


@pytest.mark.parametrize(
    ("angle", "narrow", "off", "wide"),
    [
        (45, Fit.IN_RANGE, 0, Fit.IN_RANGE),
        (58, Fit.BORDERLINE, 0, Fit.IN_RANGE),
        (63, Fit.BORDERLINE, 3, Fit.IN_RANGE),
        (75, Fit.OUT_OF_RANGE, 15, Fit.IN_RANGE),
        (100, Fit.OUT_OF_RANGE, 40, Fit.OUT_OF_RANGE),
        (22, Fit.OUT_OF_RANGE, -8, Fit.OUT_OF_RANGE),
        (16, Fit.AT_REST, -14, Fit.AT_REST),
    ],
)
def test_hold_against_its_targets(angle: float, narrow: Fit, off: float, wide: Fit) -> None:
    (judged,) = judge([hold_at(angle)], [NARROW, WIDE], [], RULES)
    assert [c.fit for c in judged.comparisons] == [narrow, wide]
    assert judged.comparisons[0].off_deg == off


def test_arm_at_the_side_is_judged_where_a_test_asks_for_it() -> None:
    (judged,) = judge([hold_at(12)], [Target(0, 20, ("d",))], [], RULES)
    assert judged.comparisons[0].fit is Fit.IN_RANGE


def test_drift_is_judged_at_the_end_that_fits_worse() -> None:
    (judged,) = judge([hold_at(45, HoldKind.DRIFT, 20)], [NARROW], [], RULES)
    assert judged.comparisons[0].fit is Fit.OUT_OF_RANGE
    assert judged.comparisons[0].off_deg == -10


def test_tests_that_share_a_window_are_one_target() -> None:
    windows = {
        "wide": SetupWindow(30, 90, "invented"),
        "one": SetupWindow(30, 60, "invented"),
        "two": SetupWindow(30, 60, "invented"),
    }
    assert targets_of(windows) == (Target(30, 60, ("one", "two")), Target(30, 90, ("wide",)))


@pytest.mark.parametrize("plane_deg", [0.0, 30.0])
@pytest.mark.parametrize("scapular_deg", [None, 64.0])
@pytest.mark.parametrize("source", ["pose", "markers"])
def test_practice_judges_an_arm_as_the_findings_table_does(
    plane_deg: float, scapular_deg: float | None, source: Source
) -> None:
    window = SetupWindow(30, 60, "invented", plane_deg=plane_deg)
    samples = [
        ArmAngle(t / 10, "right", 55.0, visible=True, source=source, scapular_deg=scapular_deg)
        for t in range(50)
    ]
    reading = read_setup(samples, "right", 4.9, window, SetupRules())
    targets = targets_of({"one": window})
    (judged,) = judge(find_holds(samples, RULES), targets, samples, RULES)
    (comparison,) = judged.comparisons
    assert comparison.angle_deg == pytest.approx(reading.angle_deg)
    assert comparison.fit.value == reading.status.value


def test_windows_in_different_planes_are_different_targets() -> None:
    windows = {
        "side": SetupWindow(30, 60, "invented"),
        "forward": SetupWindow(30, 60, "invented", plane_deg=30.0),
    }
    assert targets_of(windows) == (
        Target(30, 60, ("side",)),
        Target(30, 60, ("forward",), plane_deg=30.0),
    )
