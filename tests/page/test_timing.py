"""Times of the page's clock as seconds of the session."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.page.timing import PageClock, SampleClock

BLOCK_S = 0.05
BLOCK = 800
"""As the page sends them."""


def test_a_page_counts_from_when_it_met_the_room() -> None:
    """A page's milliseconds, tied once."""
    clock = PageClock(page_ms=5000.0, session_s=60.0)
    assert clock.at_s(5000.0) == 60.0
    assert clock.at_s(7500.0) == 62.5
    assert clock.at_s(0.0) == 55.0


def test_a_page_that_slept_is_tied_anew() -> None:
    """Its clock stood still for five minutes; a message that took long is no sleep."""
    clock = PageClock(0.0, 0.0)
    assert clock.meet(10_000.0, 10.4) == 0.0
    assert clock.at_s(10_000.0) == 10.0
    assert clock.meet(20_000.0, 320.0) == pytest.approx(300.0)
    assert clock.at_s(21_000.0) == 321.0


@given(st.integers(0, 2**32))
def test_late_stamps_do_not_shift_the_sound(seed: int) -> None:
    """Blocks of 0.05 s stamped up to 0.4 s late: the start is right within the least delay."""
    rng = random.Random(seed)
    clock = SampleClock(16_000)
    delays = [rng.uniform(0, 0.4) for _ in range(50)]
    for i, late_s in enumerate(delays):
        assert clock.take(3.0 + i * BLOCK_S + late_s, BLOCK) == 0.0
    assert clock.start_s == pytest.approx(3.0 + min(delays))


def test_a_clock_that_drifts_is_followed() -> None:
    """A sound card 0.02 % slow is 0.36 s late after half an hour: no gap, and the start moves."""
    clock = SampleClock(16_000)
    for i in range(36_000):
        assert clock.take(i * BLOCK_S * 1.0002, BLOCK) == 0.0
    assert clock.start_s == pytest.approx(0.36, abs=0.01)


def test_missing_sound_is_found_once_several_blocks_agree() -> None:
    """Three seconds are gone after block 20; a lone late block is none."""
    clock = SampleClock(16_000)
    late = [0.0] * 10 + [1.5] + [0.0] * 9 + [3.0] * 10
    gaps = [clock.take(i * BLOCK_S + extra, BLOCK) for i, extra in enumerate(late)]
    assert gaps[:-1] == [0.0] * 29
    assert gaps[-1] == pytest.approx(3.0)


@given(st.integers(0, 2**32), st.floats(0.3, 0.9))
def test_a_lost_word_is_found_within_two_seconds(seed: int, lost_s: float) -> None:
    """Blocks stamped up to 0.05 s late; then less than a second of sound is gone."""
    rng = random.Random(seed)
    clock = SampleClock(16_000)
    stamps = [i * BLOCK_S + rng.uniform(0, 0.05) + (lost_s if i >= 40 else 0) for i in range(80)]
    gaps = [clock.take(at_s, BLOCK) for at_s in stamps]
    assert gaps[:-1] == [0.0] * 79
    assert gaps[-1] == pytest.approx(lost_s, abs=0.05)
