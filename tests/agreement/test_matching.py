"""Rows of several raters that are about the same finding, and what is said of their agreement."""

from __future__ import annotations

from dataclasses import replace

import pytest

from logger.agreement.matching import RatedSession, Target, match_rows, named
from logger.agreement.scales import Kind, Scale, scales_of
from logger.agreement.summary import SlotAgreement, agreements, strangers
from logger.core.events import Finding, RowStatus
from logger.core.session import Judgement
from logger.core.statements import SlotValue
from logger.grammar.loading import load_pack

EARLY, LATE = "2026-11-25T10:00:00+02:00", "2026-11-25T09:00:00+00:00"
"""The second is an hour later, though its digits are smaller."""
SCALES = scales_of(load_pack("glenohumeral"))


def row(side: str, test: str, score: int | None = None, **more: object) -> Finding:
    return replace(Finding(0, 1, side=side, test=test, mobility_score=score), **more)  # type: ignore[arg-type]


def session(examiner: str, *rows: Finding, name: str = "a", recording: str = "r") -> RatedSession:
    return RatedSession(name, recording, examiner, rows)


def judged(row: int, slot: str, value: SlotValue | None, by: str, at: str = EARLY) -> Judgement:
    return Judgement(row, slot, value, by, at)


def scores(found: dict[Target, object]) -> dict[str, object]:
    return {named(t): dict(v).get("mobility_score") for t, v in found.items()}  # type: ignore[call-overload]


def test_rows_are_paired_by_side_and_test_in_the_order_of_time() -> None:
    one = session(
        "E1", row("left", "inferior_glide", 2), row("right", "inferior_glide", 3),
        row("left", "inferior_glide", 1),
    )  # fmt: skip
    two = session("E2", row("left", "inferior_glide", 4), row("left", "inferior_glide", 5))
    matched = match_rows([one, two])
    assert [
        (t.side, t.number, matched.values["E1"][t]["mobility_score"], v["mobility_score"])
        for t, v in matched.values["E2"].items()
    ] == [("left", 1, 2, 4), ("left", 2, 1, 5)]
    assert [(rater, named(t)) for rater, t in matched.unmatched] == [
        ("E1", "right inferior glide of r")
    ]
    assert matched.notes == []


def test_session_cut_short_is_paired_as_far_as_it_goes_and_says_so() -> None:
    rows = [row("left", "inferior_glide", score) for score in (1, 2, 3)]
    matched = match_rows([session("E1", *rows), session("E2", *rows[:1])])
    assert [t.number for _, t in matched.unmatched] == [2, 3]
    assert any("more than once" in note and "order of time" in note for note in matched.notes)


def test_motions_are_told_apart_by_their_mode() -> None:
    def motion(mode: str) -> Finding:
        return Finding(0, 1, side="left", motion="abduction", mode=mode, range_deg=90)

    matched = match_rows([session("E1", motion("active")), session("E2", motion("passive"))])
    assert len(matched.unmatched) == 2


def test_withdrawn_rows_are_none_and_those_to_check_say_nothing() -> None:
    one = session(
        "E1",
        row("left", "inferior_glide", 2, status=RowStatus.WITHDRAWN),
        row("left", "inferior_glide", 3, status=RowStatus.CHECK),
        row("left", "inferior_glide", 4),
    )
    matched = match_rows([one])
    assert matched.unsettled == 1
    assert [(t.number, v["mobility_score"]) for t, v in matched.values["E1"].items()] == [(2, 4)]
    # A judgement on the row to check is a value of that finding all the same.
    again = match_rows([replace(one, judgements=(judged(2, "mobility_score", 5, "T"),))])
    assert [t.number for t in again.values["T"]] == [1]
    assert match_rows([replace(one, judgements=(judged(1, "mobility_score", 5, "T"),))]).raters == (
        "E1",
    )


def test_later_judgement_counts_by_the_moment_and_not_by_the_digits() -> None:
    judgements = (
        judged(1, "mobility_score", 4, "T", LATE),
        judged(1, "mobility_score", 2, "T", EARLY),
        judged(1, "pain", 3, "T"),
        judged(1, "side", "right", "T"),
    )
    one = replace(session("E1", row("left", "inferior_glide", 3)), judgements=judgements)
    (values,) = match_rows([one]).values["T"].values()
    assert dict(values) == {"mobility_score": 4, "pain": 3}


def test_what_an_examiner_judges_afterwards_is_a_rating_of_its_own() -> None:
    one = session("E1", row("left", "inferior_glide", 3))
    matched = match_rows([replace(one, judgements=(judged(1, "mobility_score", 2, "E1"),))])
    assert matched.raters == ("E1", "E1, again")


def test_copies_of_one_session_do_not_count_twice_and_their_judgements_do() -> None:
    one = session("E1", row("left", "inferior_glide", 3), name="a")
    two = replace(one, name="b", judgements=(judged(1, "mobility_score", 2, "T"),))
    three = replace(one, name="c", judgements=(judged(1, "mobility_score", 4, "T"),))
    matched = match_rows([one, two, three])
    assert len(matched.values["E1"]) == 1
    assert [dict(v)["mobility_score"] for v in matched.values["T"].values()] == [4]
    assert sum("only its judgements" in note for note in matched.notes) == 2
    assert any("gave two values of mobility score" in note for note in matched.notes)


def test_scales_come_from_the_pack() -> None:
    by_slot = {scale.slot: scale for scale in SCALES}
    assert by_slot["mobility_score"] == Scale("mobility_score", Kind.ORDERED, tuple(range(7)))
    assert by_slot["mobility"].values == ("hypomobile", "normal", "hypermobile")
    assert by_slot["mobility"].kind is Kind.ORDERED
    assert by_slot["end_feel"].kind is Kind.UNORDERED
    assert by_slot["grade"].values[:4] == ("1-", "1", "1+", "2-")
    assert by_slot["pain"].kind is by_slot["range_deg"].kind is Kind.MEASURED
    assert not {"side", "test", "motion", "mode", "comparison"} & set(by_slot)


def pair_of(firsts: list[int], seconds: list[int]) -> list[RatedSession]:
    return [
        session(rater, *(row("left", f"t{i}", score) for i, score in enumerate(given)))
        for rater, given in (("E1", firsts), ("E2", seconds))
    ]


def found_in(sessions: list[RatedSession], slot: str, least: int = 2) -> SlotAgreement:
    return next(f for f in agreements(match_rows(sessions), SCALES, least) if f.slot == slot)


def test_agreement_of_matched_rows_is_that_of_the_plain_table() -> None:
    """Skin-condition example of a statistics manual: linear kappa .5082 (from memory)."""
    table = [[10, 4, 1, 0], [5, 10, 12, 2], [2, 4, 12, 5], [0, 2, 6, 13]]
    pairs = [(i, j) for i in range(4) for j in range(4) for _ in range(table[i][j])]
    scale = Scale("mobility_score", Kind.ORDERED, tuple(range(4)))
    matched = match_rows(pair_of([a for a, _ in pairs], [b for _, b in pairs]))
    (found,) = agreements(matched, [scale])
    measures = dict(found.measures)
    assert found.count == 88
    value = measures["kappa, linear"].value
    assert value is not None
    assert round(value, 4) == 0.5082
    assert measures["same value"].value == pytest.approx(45 / 88)


def test_few_in_common_give_the_share_that_agrees_and_no_other_figure() -> None:
    found = found_in(pair_of([1, 2, 3], [1, 2, 4]), "mobility_score", least=10)
    measures = dict(found.measures)
    assert measures["same value"].value == pytest.approx(2 / 3)
    assert measures["kappa, linear"].value is None
    assert measures["kappa, linear"].reason == "too few: 3 in common, at least 10 needed"


def test_what_one_rater_did_not_say_is_counted_and_values_off_the_list_too() -> None:
    one, two = pair_of([1, 2, 3, 4, 9], [1, 2, 3, 5, 1])
    rows = list(two.rows)
    rows[0] = replace(rows[0], mobility_score=None)
    found = found_in([one, replace(two, rows=tuple(rows))], "mobility_score")
    assert (found.count, found.lacking, found.off_list) == (3, 1, 1)


def test_many_raters_are_compared_two_by_two_and_together() -> None:
    sessions = [
        session(rater, *(row("left", f"t{i}", score) for i, score in enumerate(given)))
        for rater, given in (("E1", [1, 2, 3]), ("E2", [1, 2, 4]), ("E3", [1, 3, 3]))
    ]
    found = list(agreements(match_rows(sessions), SCALES, 2))
    assert [f.raters for f in found] == [
        ("E1", "E2"), ("E1", "E3"), ("E2", "E3"), ("E1", "E2", "E3")
    ]  # fmt: skip
    assert [name for name, _ in found[-1].measures] == ["Fleiss' kappa"]


def test_pain_is_compared_as_a_number() -> None:
    sessions = [
        session(rater, *(row("left", f"t{i}", pain=pain) for i, pain in enumerate(given)))
        for rater, given in (("E1", [0, 2, 4, 7]), ("E2", [1, 3, 5, 8]))
    ]
    measures = dict(found_in(sessions, "pain").measures)
    assert measures["mean difference"].value == 1
    assert measures["ICC(3,1)"].value == 1
    assert "kappa, linear" not in measures


def test_raters_who_share_no_session_are_named_and_not_compared() -> None:
    one = session("E1", row("left", "inferior_glide", 3), recording="x")
    two = session("E2", row("left", "inferior_glide", 3), recording="y")
    matched = match_rows([one, two])
    assert list(agreements(matched, SCALES)) == []
    assert strangers(matched) == [("E1", "E2")]
    assert matched.unmatched == []
