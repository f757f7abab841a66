"""Events to rows: acts in order, and where each utterance goes."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st
from said import (
    CHECK,
    OTHER,
    RULES,
    SCRATCH,
    at,
    correction,
    doubted,
    glide,
    merged,
    more,
    note,
    say,
    unsure,
)

from logger.core.events import (
    ArmAngle,
    Finding,
    RowStatus,
    SetupStatus,
    Side,
    Utterance,
    Verdict,
)
from logger.core.statements import SLOTS, Act, Heard, Statement
from logger.findings.merging import merge

if TYPE_CHECKING:
    from logger.findings.merging import Merged

LOGGED, CHECKED, WITHDRAWN = RowStatus.LOGGED, RowStatus.CHECK, RowStatus.WITHDRAWN


def reason(row: Finding) -> str:
    """Return all reasons of a row in one text."""
    return "; ".join(row.reasons)


def test_attributes_complete_the_open_row() -> None:
    """The row keeps the times of what opened it, all the words and the least confidence."""
    (row,) = merged(glide(grade="2"), more(pain=3), note("sore"), note("warm")).rows
    assert (row.start_s, row.end_s) == (0.0, 1.0)
    assert (row.side, row.test, row.grade, row.pain) == ("right", "inferior_glide", "2", 3)
    assert row.note == "sore; warm"
    assert row.said.split(" | ")[1:] == ["attributes 3", "note sore", "note warm"]
    assert (row.confidence, row.status, row.reasons) == (0.8, LOGGED, ())


def test_side_stays_in_force_and_the_test_does_not() -> None:
    """A new row names its own test; attributes after it are its own too."""
    rows = merged(glide(), say(Act.FINDING, test="posterior_glide"), more(pain=1)).rows
    assert [(r.side, r.test, r.pain, r.status) for r in rows] == [
        ("right", "inferior_glide", None, LOGGED),
        ("right", "posterior_glide", 1, LOGGED),
    ]


@pytest.mark.parametrize(("gap_s", "placed"), [(20.0, True), (20.01, False)])
def test_row_stays_open_for_20_s_after_its_last_utterance(gap_s: float, placed: bool) -> None:
    """Late attributes are kept apart with the reason, and start no row."""
    items = [at(glide(), 0.0), at(more(grade="2"), 15.0), at(more(pain=3), 16.0 + gap_s)]
    result = merge(items, (), RULES)
    (row,) = result.rows
    assert row.grade == "2"
    assert row.pain == (3 if placed else None)
    assert [u.text for u, _ in result.unplaced] == ([] if placed else ["attributes 3"])


@pytest.mark.parametrize(
    "item",
    [more(pain=3), correction(pain=3), note("sore"), SCRATCH, OTHER],
    ids=lambda i: i.utterance.text,
)
def test_what_finds_no_row_is_kept_with_its_reason(item: Heard) -> None:
    result = merged(item)
    assert result.rows == ()
    ((utterance, why),) = result.unplaced
    assert utterance.text == item.utterance.text
    assert why


@pytest.mark.parametrize(
    "items",
    [
        [glide(pain=(2, 5))],
        [glide(pain=2), more(pain=5)],
        [glide(pain=2), more(pain=5), more(pain=5)],
        [glide(), more(pain=2), more(pain=5), more(pain=2)],
        [glide(pain=9), correction(pain=(2, 5))],
    ],
)
def test_two_values_leave_the_slot_empty_with_both_in_the_reason(items: list[Heard]) -> None:
    """Saying one of them again settles nothing."""
    (row,) = merged(*items).rows
    assert (row.pain, row.status) == (None, CHECKED)
    assert row.reasons == ("pain: 2 or 5?",)


def test_same_value_twice_is_no_conflict() -> None:
    (row,) = merged(glide(pain=2), more(pain=2)).rows
    assert (row.pain, row.status) == (2, LOGGED)


def test_correction_replaces_and_settles() -> None:
    """A conflict, a sound-alike and a missing side are settled by correcting that slot."""
    doubtful = doubted(glide(None, mobility="hypomobile"), "mobility", "hypomobile", "hypermobile")
    items = [doubtful, more(pain=2), more(pain=5)]
    (row,) = merged(*items).rows
    assert sorted(row.reasons) == [
        "mobility: hypomobile or hypermobile?",
        "pain: 2 or 5?",
        "side: not said",
    ]
    fix = correction(side="left", mobility="hypermobile", pain=5)
    (row,) = merged(*items, fix).rows
    assert (row.side, row.mobility, row.pain) == ("left", "hypermobile", 5)
    assert (row.status, row.reasons) == (LOGGED, ())


def test_corrected_side_is_in_force_afterwards() -> None:
    rows = merged(glide(), correction(side="left"), glide(None)).rows
    assert [(row.side, row.status) for row in rows] == [("left", LOGGED)] * 2


def test_unsure_correction_is_applied_and_checked_with_what_was_there() -> None:
    (row,) = merged(glide(pain=2), unsure(correction(pain=5))).rows
    assert (row.pain, row.status) == (5, CHECKED)
    assert "pain: was 2 before a correction, heard unsurely" in row.reasons


def test_what_was_said_among_loud_talk_says_so() -> None:
    item = unsure(glide())
    (row,) = merged(replace(item, utterance=replace(item.utterance, drowned=True))).rows
    assert (row.status, row.reasons) == (CHECKED, ("the room was nearly as loud",))


def test_doubted_correction_keeps_its_own_doubt() -> None:
    (row,) = merged(glide(pain=2), doubted(correction(pain=5), "pain", 5, 9)).rows
    assert row.reasons == ("pain: 5 or 9?",)


def test_what_may_have_corrected_the_row_before_is_asked_of_it_too() -> None:
    """Which of both it was decides whether that row's side is wrong."""
    perhaps = replace(
        say(Act.FINDING, motion="flexion", side="left"),
        question='or "correction left"?',
        of_row_before=True,
    )
    rows = merged(glide(), perhaps).rows
    assert [(row.side, row.status) for row in rows] == [("right", CHECKED), ("left", CHECKED)]
    assert rows[0].reasons == ('at 5 s: "finding flexion left", or "correction left"?',)
    rows = merged(glide(), perhaps, step_s=30.0).rows
    assert rows[0].status == LOGGED, "too late for a correction"
    other = replace(perhaps, question='or "other side"?', of_row_before=False)
    assert merged(glide(), other).rows[0].status == LOGGED


def test_scratch_that_withdraws_the_last_standing_row() -> None:
    """Row after row, and nothing is open afterwards."""
    result = merged(glide(), say(Act.FINDING, test="posterior_glide"), SCRATCH, more(pain=3))
    assert [row.status for row in result.rows] == [LOGGED, WITHDRAWN]
    assert [u.text for u, _ in result.unplaced] == ["attributes 3"]
    result = merged(glide(), glide(), SCRATCH, SCRATCH, SCRATCH)
    assert [row.status for row in result.rows] == [WITHDRAWN] * 2
    assert len(result.unplaced) == 1


def test_unsure_withdrawal_only_asks() -> None:
    """If it was one, the sure one after it is about the row before: that is asked too."""
    rows = merged(glide(), glide(), unsure(SCRATCH)).rows
    assert [row.status for row in rows] == [LOGGED, CHECKED]
    assert "perhaps withdrawn" in rows[1].reasons
    rows = merged(glide(), glide(), unsure(SCRATCH), SCRATCH).rows
    assert [row.status for row in rows] == [CHECKED, WITHDRAWN]


def test_side_of_a_withdrawn_row_is_doubtful_where_it_was_new() -> None:
    """Perhaps the side was what was wrong."""
    rows = merged(glide(), glide("left"), SCRATCH, glide(None)).rows
    assert (rows[2].side, rows[2].status) == ("left", CHECKED)
    assert "withdrawn" in reason(rows[2])
    rows = merged(glide(), glide(), SCRATCH, glide(None)).rows
    assert (rows[2].side, rows[2].status) == ("right", LOGGED)


def test_other_side_switches_and_closes_the_row() -> None:
    result = merged(glide(), OTHER, more(pain=3), glide(None))
    assert [(row.side, row.pain) for row in result.rows] == [("right", None), ("left", None)]
    assert len(result.unplaced) == 1


def test_other_side_without_a_side_leaves_none() -> None:
    (row,) = merged(OTHER, glide(None)).rows
    assert (row.side, row.status, row.reasons) == (None, CHECKED, ("side: not said",))


DOUBTFUL_SIDES = {
    "unsure row": [unsure(glide())],
    "sound-alike": [doubted(glide(), "side", "right", "left")],
    "perhaps a side": [glide(), doubted(glide(None), "side", None, "left")],
    "unsure side": [unsure(say(Act.SIDE, side="right"))],
    "sound-alike side": [doubted(say(Act.SIDE, side="right"), "side", "right", "left")],
    "two sides": [say(Act.SIDE, side=("right", "left"))],
    "unsure side, then switched": [unsure(glide()), OTHER],
    "unsure switch": [glide("left"), unsure(OTHER)],
    "unsure correction": [glide("left"), unsure(correction(side="right"))],
    "perhaps a side in talk": [
        glide("right"),
        Heard(Utterance("i would say", 90, 91, 0.0, Verdict.TALK), None, question='"other side"?'),
    ],
    "another side with attributes": [glide("left"), more(side="right", pain=2)],
}


@pytest.mark.parametrize("items", DOUBTFUL_SIDES.values(), ids=DOUBTFUL_SIDES)
def test_row_that_takes_over_a_doubtful_side_is_checked(items: list[Heard]) -> None:
    """Until a side is said plainly."""
    *_, heir, plain, after = merged(*items, glide(None), glide("left"), glide(None)).rows
    assert heir.status is CHECKED
    assert "side" in reason(heir)
    assert [(row.side, row.status) for row in (plain, after)] == [("left", LOGGED)] * 2


def perhaps_a_finding(start_s: float) -> Heard:
    talk = Utterance("left glide hard to say", start_s, start_s + 2, 0.0, Verdict.TALK)
    return Heard(talk, None, question='"left glide" at 3 s?')


@pytest.mark.parametrize("then", [more(pain=5), correction(pain=5), note("sore")])
def test_what_follows_a_finding_that_was_perhaps_refused_is_asked(then: Heard) -> None:
    """It would have gone to that one."""
    items = [at(glide(), 0.0), perhaps_a_finding(3.0), at(then, 7.0), at(glide("left"), 12.0)]
    row, following = merge([*items, at(more(pain=1), 14.0)], (), RULES).rows
    assert row.status is CHECKED
    assert 'perhaps part of it is for "left glide" at 3 s?' in row.reasons
    assert following.status is LOGGED


def test_a_row_that_nothing_completes_is_not_asked_for_it() -> None:
    assert merge([at(glide(), 0.0), perhaps_a_finding(3.0)], (), RULES).rows[0].status is LOGGED


def lone(side: str, start_s: float, end_s: float) -> Heard:
    return Heard(Utterance(side, start_s, end_s, 0.0, Verdict.TALK), None, lone_side=side)


@pytest.mark.parametrize(
    ("side", "pause_s", "taken", "question"),
    [
        ("left", 0.8, "left", 'side: left or right? "left" was said alone at 10 s'),
        ("left", 1.6, "right", 'side: right or left? "left" was said alone at 10 s'),
        ("left", 5.0, "right", ""),
        ("right", 0.8, "right", ""),
    ],
)
def test_a_side_said_alone_right_before_a_row_without_one_is_asked(
    side: str, pause_s: float, taken: str, question: str
) -> None:
    """As of "left", a pause, "extension"; the side in force is right."""
    begun_s = 10.5 + pause_s
    items = [at(glide("right"), 0.0), lone(side, 10.0, 10.5), at(glide(None), begun_s)]
    row, heir = merge([*items, at(glide(None), begun_s + 5)], (), RULES).rows[1:]
    assert (row.side, reason(row)) == (taken, question)
    assert (heir.side, reason(heir)) == (taken, question)


def test_a_side_said_alone_before_a_row_that_names_one_is_talk() -> None:
    items = [at(glide("right"), 0.0), lone("left", 9.5, 10.0), at(glide("right"), 10.5)]
    assert merge(items, (), RULES).rows[1].status is LOGGED


def test_the_first_side_may_be_said_alone() -> None:
    (row,) = merge([lone("left", 0.0, 0.5), at(glide(None), 1.2)], (), RULES).rows
    assert (row.side, reason(row)) == (
        "left",
        'side: left or not said? "left" was said alone at 0 s',
    )


def test_a_row_whose_side_was_said_alone_is_withdrawn_with_it() -> None:
    """Perhaps the side is what was wrong."""
    items = [at(glide("right"), 0.0), lone("left", 9.5, 10.0), at(glide(None), 10.8)]
    items += [at(say(Act.WITHDRAW), 14.0), at(glide(None), 18.0)]
    assert "comes from a withdrawn row" in reason(merge(items, (), RULES).rows[2])


@pytest.mark.parametrize(
    ("side", "pause_s", "asked"),
    [("left", 0.8, True), ("left", 2.0, False), ("right", 0.8, False)],
)
def test_a_side_said_alone_right_after_a_row_without_one_is_asked(
    side: str, pause_s: float, asked: bool
) -> None:
    """As of "extension", a pause, "left"; the side in force is right."""
    items = [at(glide("right"), 0.0), at(glide(None), 9.0), lone(side, 10.0 + pause_s, 11.5)]
    row, heir = merge([*items, at(glide(None), 20.0)], (), RULES).rows[1:]
    assert (row.side, heir.side) == ("right", "right")
    assert ("side: right or left?" in reason(row)) == asked
    assert ("side: right or left?" in reason(heir)) == asked


def test_a_side_said_alone_after_a_row_that_has_one_is_talk() -> None:
    named = [at(glide("right"), 0.0), lone("left", 1.8, 2.0)]
    assert merge(named, (), RULES).rows[0].status is LOGGED
    corrected = [at(glide(None), 0.0), at(say(Act.CORRECTION, side="right"), 2.0)]
    items = [*corrected, lone("left", 3.8, 4.0)]
    assert merge(items, (), RULES).rows[0].status is LOGGED


def test_another_side_with_attributes_is_a_conflict() -> None:
    row, heir = merged(glide("left"), more(side="right", pain=2), glide(None)).rows
    assert (row.side, row.pain, row.status) == (None, 2, CHECKED)
    assert "side: left or right?" in row.reasons
    assert heir.side is None


def test_side_alone_rules_what_follows_and_closes_a_row_of_another() -> None:
    same = merged(glide(), say(Act.SIDE, side="right"), more(pain=3))
    assert (same.rows[0].pain, same.unplaced) == (3, ())
    other = merged(glide(), say(Act.SIDE, side="left"), more(pain=3), glide(None))
    assert [(row.side, row.pain) for row in other.rows] == [("right", None), ("left", None)]
    assert len(other.unplaced) == 1


def test_side_alone_heard_unsurely_closes_the_row() -> None:
    """Perhaps another side was said, and what follows is about that."""
    result = merged(glide(), unsure(say(Act.SIDE, side="right")), more(pain=3))
    assert result.rows[0].pain is None
    assert len(result.unplaced) == 1


def test_side_alone_after_a_row_without_one_is_not_guessed_into_it() -> None:
    row, heir = merged(glide(None), say(Act.SIDE, side="left"), glide(None)).rows
    assert (row.side, row.status) == (None, CHECKED)
    assert (heir.side, heir.status) == ("left", LOGGED)


def test_check_position_reads_the_arm_and_writes_no_row() -> None:
    """The side in force; both where there is none or it is doubtful."""
    trace: tuple[ArmAngle, ...] = tuple(
        ArmAngle(i / 10, side, 50.0 if side == "right" else 20.0, visible=True)
        for i in range(100)
        for side in get_args(Side)
    )
    assert [(c.side, c.reading.angle_deg) for c in merged(CHECK, angles=trace).position_checks] == [
        ("left", None),
        ("right", None),
    ]
    sure = merged(say(Act.SIDE, side="right"), CHECK, angles=trace)
    assert [(c.at_s, c.side, c.reading.angle_deg) for c in sure.position_checks] == [
        (5.0, "right", 50.0)
    ]
    doubtful = merged(unsure(say(Act.SIDE, side="right")), CHECK, angles=trace)
    assert {c.side: c.reading.angle_deg for c in doubtful.position_checks} == {
        "left": 20.0,
        "right": 50.0,
    }
    assert sure.rows == doubtful.rows == ()


def test_talk_leaves_no_trace_whatever_it_states() -> None:
    talk = Utterance("right inferior glide", 0, 1, 0.9, Verdict.TALK)
    result = merge([Heard(talk, Statement(Act.FINDING, {"side": ("right",)}))], (), RULES)
    assert (result.rows, result.unplaced) == ((), ())


def test_words_that_were_nearly_a_statement_are_not_lost() -> None:
    words = Utterance("right", 0, 1, 0.9, Verdict.HEARD)
    assert merge([Heard(words, None)], (), RULES).unplaced == ()
    asked = merge([Heard(words, None, question='or "pain five"?')], (), RULES)
    assert [(u, "pain five" in why) for u, why in asked.unplaced] == [(words, True)]


def test_setup_is_read_for_the_side_and_test_of_the_finished_row() -> None:
    trace = tuple(
        ArmAngle(i / 10, side, 45.0 if side == "left" else 80.0, visible=True)
        for i in range(50)
        for side in get_args(Side)
    )

    def setups(*items: Heard) -> list[SetupStatus]:
        return [r.setup.status for r in merged(CHECK, *items, angles=trace).rows]

    assert setups(glide()) == [SetupStatus.OUT_OF_RANGE]
    assert setups(glide(), correction(side="left")) == [SetupStatus.IN_RANGE]
    assert setups(glide(None)) == [SetupStatus.NOT_SEEN]
    assert setups(glide(test=("inferior_glide", "posterior_glide"))) == [SetupStatus.NOT_SEEN]
    motion = say(Act.FINDING, side="left", motion="flexion", mode="passive", range_deg=110)
    assert setups(motion) == [SetupStatus.NOT_REQUIRED]
    assert setups(glide(test="no window in the pack")) == [SetupStatus.NOT_REQUIRED]
    assert merged(glide()).rows[0].setup.status is SetupStatus.NOT_SEEN


ACTS = st.sampled_from(
    [
        glide(),
        glide("left", pain=2),
        glide(None),
        say(Act.FINDING, motion="flexion", range_deg=90),
        more(pain=5),
        more(side="left", grade="2"),
        say(Act.SIDE, side="left"),
        correction(pain=4),
        correction(side="right"),
        note("sore"),
        SCRATCH,
        OTHER,
        CHECK,
    ]
)
HEARD = st.lists(st.tuples(ACTS, st.booleans(), st.floats(0.1, 30)), max_size=12)


def said_over_time(items: list[tuple[Heard, bool, float]]) -> list[Heard]:
    """Return the acts with their times, some heard unsurely; each has words of its own."""
    heard, now_s = [], 0.0
    for i, (item, doubtful, gap_s) in enumerate(items):
        moved = at(unsure(item) if doubtful else item, now_s)
        words = f"{moved.utterance.text} {i}"
        utterance = Utterance(
            words, now_s, now_s + 1, moved.utterance.confidence, moved.utterance.verdict
        )
        heard.append(Heard(utterance, moved.statement))
        now_s += 1 + gap_s
    return heard


def traces(result: Merged) -> list[str]:
    """Return every utterance that left a trace in a row or among the unplaced."""
    said = [words for row in result.rows for words in row.said.split(" | ")]
    return said + [utterance.text for utterance, _ in result.unplaced]


@given(HEARD)
def test_nothing_is_lost_invented_or_silently_unsure(
    items: list[tuple[Heard, bool, float]],
) -> None:
    """Every utterance ends in one place; every value was said; every unsure row is marked."""
    heard = said_over_time(items)
    result = merge(heard, (), RULES)
    assert result == merge(list(reversed(heard)), (), RULES)
    quiet = {Act.SIDE, Act.CHECK_POSITION, Act.OTHER_SIDE}
    placed = traces(result)
    assert len(placed) == len(set(placed))
    for item in heard:
        assert item.statement is not None
        if item.statement.act not in quiet:
            assert item.utterance.text in placed
    doubtful = {h.utterance.text for h in heard if h.utterance.verdict is Verdict.UNSURE}
    by_words = {h.utterance.text: h.statement for h in heard}
    for row in result.rows:
        said = row.said.split(" | ")
        assert row.status is not LOGGED or not doubtful.intersection(said)
        assert (row.status is CHECKED) <= bool(row.reasons)
        for slot in set(SLOTS) - {"side", "mobility"}:
            value = getattr(row, slot)
            statements = [by_words[words] for words in said]
            assert value is None or any(s and value in s.slots.get(slot, ()) for s in statements)
