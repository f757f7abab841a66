"""The table that grows: fed as things happen, it is what a recording of them all gives."""

from __future__ import annotations

from itertools import accumulate
from math import sin

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from said import CHECK, OTHER, RULES, SCRATCH, WINDOW, at, correction, glide, more, say, unsure

from logger.core.events import SIDES, ArmAngle, SetupStatus
from logger.core.statements import Act, Heard
from logger.findings.merging import Merged, Table, merge
from logger.findings.setup import read_setup

ITEMS = st.sampled_from(
    [
        glide(),
        glide("left", pain=2),
        glide(None),
        more(pain=5),
        correction(side="left"),
        correction(side="right", test="posterior_glide"),
        say(Act.SIDE, side="left"),
        SCRATCH,
        OTHER,
        CHECK,
        say(Act.PAUSE_LISTENING),
        say(Act.RESUME_LISTENING),
        say(Act.BEGIN_BOUT, grade="3"),
        say(Act.END_BOUT),
    ]
)
SAID = st.lists(
    st.tuples(ITEMS, st.booleans(), st.floats(0.1, 25.0), st.floats(1.0, 30.0)), max_size=10
)
LEVELS = st.lists(st.tuples(st.floats(1.0, 40.0), st.floats(0, 120)), min_size=1, max_size=8)


def spoken(said: list[tuple[Heard, bool, float, float]]) -> list[tuple[Heard, float]]:
    """Return the items one after the other, and when each is handed in."""
    done: list[tuple[Heard, float]] = []
    now_s = handed_s = 0.0
    for item, doubtful, gap_s, lag_s in said:
        handed_s = max(handed_s, now_s + lag_s)
        # The ear hands in no later than the rules say; here that happens with the next sample.
        handed_s = min(handed_s, now_s + RULES.late_s - 1)
        done.append((at(unsure(item) if doubtful else item, now_s), handed_s))
        now_s += 1 + gap_s
    return done


def trace(levels: list[tuple[float, float]], rate_hz: float) -> list[ArmAngle]:
    """Return both arms' angles: each level is held for its time, the arms at different ones."""
    ends = list(accumulate(held_s for held_s, _ in levels))
    samples = []
    for i in range(int(ends[-1] * rate_hz)):
        time_s = i / rate_hz
        level = next(deg for end, (_, deg) in zip(ends, levels, strict=True) if time_s < end)
        for side, deg in zip(SIDES, (level, 150 - level), strict=True):
            # A slow sway, so that it shows which stretch of a long hold was read.
            swaying = deg + 2 * sin(time_s / 7)
            samples.append(ArmAngle(time_s, side, swaying, visible=True))
    return samples


def grown(said: list[tuple[Heard, float]], angles: list[ArmAngle]) -> Merged:
    """Feed a table frame by frame, each utterance when it is handed in."""
    table = Table(RULES)
    waiting = list(said)
    for sample in angles:
        while waiting and waiting[0][1] <= sample.time_s:
            table.take(waiting.pop(0)[0])
            table.merged()
        table.see([sample])
    for item, _ in waiting:
        table.take(item)
    return table.merged()


@given(SAID, LEVELS, st.sampled_from([1.0, 3.0]))
@example(
    [(glide(), False, 20.0, 1.0), (glide(), False, 10.0, 1.0)]
    + [(correction(side="left"), False, 1.0, 1.0)],
    [(1, 0), (1, 0), (20, 0), (40, 0), (40, 0)],
    3,
)
@example([(glide(), False, 24.0, 30.0), (correction(side="left"), False, 1.0, 1.0)], [(60, 45)], 1)
def test_growing_gives_the_table_of_the_whole(
    said: list[tuple[Heard, bool, float, float]],
    levels: list[tuple[float, float]],
    rate_hz: float,
) -> None:
    items, angles = spoken(said), trace(levels, rate_hz)
    whole = merge([item for item, _ in items], angles, RULES)
    assert grown(items, angles) == whole
    # And the setups are those that the rule gives with every angle at hand.
    for row in whole.rows:
        if row.setup.status is not SetupStatus.NOT_REQUIRED and row.test and row.side:
            assert row.setup == read_setup(angles, row.side, row.start_s, WINDOW, RULES.setup)
    for check in whole.position_checks:
        assert check.reading == read_setup(angles, check.side, check.at_s, None, RULES.setup)


def test_old_angles_are_let_go() -> None:
    table = Table(RULES)
    table.take(at(glide("left"), 5.0))
    for sample in trace([(1000.0, 45.0)], 2.0):
        table.see([sample])
    assert table.merged().rows[0].setup.status is SetupStatus.IN_RANGE
    kept = table.trace.recent("left", float("inf"))
    assert len(kept) <= 2 * (RULES.late_s + RULES.setup.reach_s) + 1


def test_an_utterance_handed_in_late_has_the_whole_of_a_long_hold() -> None:
    angles = trace([(5.0, 90.0), (90.0, 45.0)], 4.0)
    late = [(at(glide("left"), 50.0), 50.0 + RULES.late_s)]
    assert grown(late, angles) == merge([late[0][0]], angles, RULES)


def test_a_row_that_stays_open_long_can_still_be_corrected() -> None:
    angles = trace([(10.0, 45.0), (200.0, 100.0)], 2.0)
    said = [(at(glide("left"), 10.0), 12.0)]
    said += [(at(more(pain=3), 10.0 + 15 * i), 12.0 + 15 * i) for i in range(1, 12)]
    said += [(at(correction(side="right"), 180.0), 182.0)]
    (row,) = grown(said, angles).rows
    assert row.setup == read_setup(angles, "right", 10.0, WINDOW, RULES.setup)
    assert row.setup.angle_deg is not None


def test_a_setup_waits_for_the_frames_before_it() -> None:
    """An eye that lags behind the ear may still change what a row's setup is."""
    table = Table(RULES)
    angles = trace([(2.0, 45.0), (2.0, 90.0)], 10.0)
    table.see(angles[:40])
    table.take(at(glide("left"), 3.9))
    assert table.unsettled
    assert table.merged().rows[0].setup.angle_deg == pytest.approx(45.0, abs=1.5)
    table.see(angles[40:])
    assert table.merged().rows[0].setup.angle_deg == pytest.approx(90.0, abs=1.5)
    table.see([ArmAngle(4.0, "left", 20.0, visible=True)])
    assert not table.unsettled
    assert table.merged().rows[0].setup.angle_deg == pytest.approx(90.0, abs=1.5)


def missed(*after: Heard, gap_s: tuple[float, float] = (10, 12)) -> Merged:
    """Return the table of a right glide at 0 s, missing sound, and what is said from 14 s on."""
    table = Table(RULES)
    table.take(at(glide(mobility="normal"), 0))
    table.miss(*gap_s)
    for i, item in enumerate(after):
        table.take(at(item, 14 + 3 * i))
    return table.merged()


@pytest.mark.parametrize(
    ("after", "row", "why"),
    [
        (more(pain=4), 0, "sound was missing after it"),
        (correction(side="left"), 0, "sound was missing after it"),
        (SCRATCH, 0, "perhaps withdrawn"),
        (glide(None), 1, "side: perhaps changed"),
    ],
)
def test_what_leans_on_what_came_before_missing_sound_is_checked(
    after: Heard, row: int, why: str
) -> None:
    """The row that was begun in it, or the side that was changed, is not known."""
    rows = missed(after).rows
    assert why in "; ".join(rows[row].reasons)


def test_a_side_that_is_named_after_missing_sound_is_sure() -> None:
    """What was said before is as it was, and everything after it too."""
    first, second, third = missed(glide("left"), glide(None)).rows
    assert (first.reasons, second.reasons, third.reasons) == ((), (), ())


def test_what_was_said_as_sound_went_missing_is_checked() -> None:
    """A row just before, and one that is handed in later but was said across it."""
    (just_before,) = missed(gap_s=(3, 4)).rows
    assert just_before.reasons == ("sound was missing while it was said",)
    _, across = missed(glide("left"), gap_s=(14.3, 14.8)).rows
    assert across.reasons == ("sound was missing while it was said",)


def test_missing_sound_before_anything_was_said_doubts_nothing() -> None:
    """There is neither row nor side that it could have changed."""
    table = Table(RULES)
    table.miss(1, 5)
    table.take(at(glide("left"), 14))
    assert table.side_doubts == ()
    assert table.merged().rows[0].reasons == ()
