"""The score, on rows made by hand: each kind of mistake counts once, in its own place."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment

from logger.bench.hearing.scoring import Score, paired, score, total
from logger.bench.hearing.scripts import Kind, TimedLine, Truth, TruthRow
from logger.core.events import Finding, RowStatus, Utterance, Verdict
from logger.core.statements import Act, Heard, SlotValue, Statement

SAID: dict[str, SlotValue] = {
    "side": "right",
    "test": "inferior_glide",
    "grade": "2",
    "mobility": "stiff",
    "pain": 3,
}
TRUTH_ROW = TruthRow(10.0, 13.0, SAID)
ROW = Finding(10.1, 12.9, side="right", test="inferior_glide", grade="2", mobility="stiff", pain=3)
CHECK = RowStatus.CHECK
WITHDRAWN = RowStatus.WITHDRAWN


def truth(*rows: TruthRow) -> Truth:
    lines = tuple(TimedLine("", "finding", row.start_s, row.end_s) for row in rows)
    return Truth(3600.0, lines, rows)


def one(row: Finding, wanted: TruthRow = TRUTH_ROW) -> Score:
    return score(truth(wanted), [row])


def test_a_right_row_is_exact_and_nothing_else_is_counted() -> None:
    result = one(ROW)
    assert (result.rows, result.exact) == (1, 1)
    assert (result.slots_said, result.slots_heard, result.slots_right) == (5, 5, 5)
    assert (result.recall, result.precision) == (1.0, 1.0)
    counted = (result.marked, result.errors, result.standing, result.false_findings)
    assert counted == (0, (), 0, 0)
    assert result.time_errors_s == pytest.approx((0.1, 0.1))


@pytest.mark.parametrize(
    ("slot", "value"),
    [
        ("side", "left"),
        ("test", "posterior_glide"),
        ("motion", "flexion"),
        ("range_deg", 50),
        ("grade", "2+"),
        ("mobility", "loose"),
        ("pain", 10),
    ],
)
def test_a_wrong_or_invented_critical_value_is_a_silent_error(slot: str, value: object) -> None:
    result = one(replace(ROW, **{slot: value}))  # type: ignore[arg-type]
    assert [(error.slot, error.heard) for error in result.errors] == [(slot, value)]
    assert result.errors[0].truth == SAID.get(slot)
    assert result.exact == 0


@pytest.mark.parametrize("slot", ["end_feel", "symptoms", "mode", "mobility_score"])
def test_a_wrong_value_elsewhere_costs_exactness_and_precision_only(slot: str) -> None:
    result = one(replace(ROW, **{slot: "x"}))  # type: ignore[arg-type]
    assert (result.exact, result.errors) == (0, ())
    assert result.precision == pytest.approx(5 / 6)
    assert result.recall == 1.0


def test_a_marked_row_has_no_silent_error_and_is_counted_as_marked() -> None:
    result = one(replace(ROW, side="left", status=CHECK))
    assert (result.errors, result.marked, result.marked_exact, result.exact) == ((), 1, 0, 0)
    needless = one(replace(ROW, status=CHECK))
    assert (needless.exact, needless.marked, needless.marked_exact) == (1, 1, 1)


def test_a_lost_value_is_no_wrong_value() -> None:
    result = one(replace(ROW, pain=None))
    assert (result.exact, result.errors) == (0, ())
    assert result.recall == pytest.approx(4 / 5)
    assert result.precision == 1.0


def test_a_pain_of_zero_is_a_value() -> None:
    wanted = replace(TRUTH_ROW, slots={**SAID, "pain": 0})
    assert one(replace(ROW, pain=0), wanted).exact == 1
    assert one(replace(ROW, pain=None), wanted).recall == pytest.approx(4 / 5)
    assert len(one(ROW, wanted).errors) == 1


def test_a_lost_row_loses_all_its_values() -> None:
    result = score(truth(TRUTH_ROW), [])
    assert (result.rows, result.exact, result.slots_said, result.recall) == (1, 0, 5, 0.0)
    assert result.precision is None


def test_a_withdrawn_row_is_right_whatever_it_holds() -> None:
    wanted = replace(TRUTH_ROW, withdrawn=True)
    result = one(replace(ROW, side="left", status=WITHDRAWN), wanted)
    assert (result.exact, result.errors, result.slots_said, result.standing) == (1, (), 0, 0)


def test_a_row_that_should_be_withdrawn_or_should_not_is_never_exact() -> None:
    stands = one(ROW, replace(TRUTH_ROW, withdrawn=True))
    assert (stands.exact, stands.standing) == (0, 1)
    taken_back = one(replace(ROW, status=WITHDRAWN))
    assert (taken_back.exact, taken_back.standing, taken_back.errors) == (0, 1, ())
    asked = one(replace(ROW, status=CHECK), replace(TRUTH_ROW, withdrawn=True))
    assert (asked.exact, asked.standing, asked.marked) == (0, 0, 1)


def test_a_note_must_be_there_and_only_there() -> None:
    noted = replace(TRUTH_ROW, noted=True)
    assert one(replace(ROW, note="any words"), noted).exact == 1
    assert one(ROW, noted).exact == 0
    assert one(replace(ROW, note="talk")).exact == 0


def test_rows_that_nobody_said_are_false_and_no_lost_rows() -> None:
    extra = replace(ROW, start_s=30.0, end_s=31.0)
    rows = [ROW, extra, replace(extra, status=CHECK), replace(extra, status=WITHDRAWN)]
    result = score(truth(TRUTH_ROW), rows)
    assert (result.exact, result.false_findings, result.false_checks) == (1, 1, 1)
    assert ["(logged)" in text for text in result.traces] == [True, False]
    assert result.precision == pytest.approx(5 / 15)
    assert result.an_hour(result.false_findings) == 1.0


def test_a_row_heard_twice_matches_once() -> None:
    halves = [replace(ROW, end_s=11.0), replace(ROW, start_s=11.2)]
    result = score(truth(TRUTH_ROW), halves)
    assert (result.exact, result.false_findings) == (1, 1)


def test_neighbours_keep_their_own_rows_in_any_order() -> None:
    second = TruthRow(13.9, 15.0, {"side": "left", "motion": "flexion"})
    heard = Finding(13.5, 15.0, side="left", motion="flexion")
    result = score(truth(TRUTH_ROW, second), [heard, ROW])
    assert (result.exact, result.errors) == (2, ())


@given(st.data())
def test_pairing_agrees_with_the_best_assignment(data: st.DataObject) -> None:
    """On rows apart from each other, scipy's linear_sum_assignment finds the same pairs."""
    count = data.draw(st.integers(0, 6))
    wanted = [TruthRow(5.0 * i, 5.0 * i + 2, {"pain": i}) for i in range(count)]
    kept = [row for row in wanted if data.draw(st.booleans())]
    late_s = st.floats(-1.0, 1.0)
    rows = [
        Finding(row.start_s + by_s, row.end_s + by_s) for row in kept if (by_s := data.draw(late_s))
    ]
    rows = data.draw(st.permutations(rows))
    overlap = np.array(
        [
            [max(0.0, min(w.end_s + 0.5, r.end_s) - max(w.start_s - 0.5, r.start_s)) for r in rows]
            for w in wanted
        ]
    ).reshape(len(wanted), len(rows))
    best = {
        (int(i), int(j))
        for i, j in zip(*linear_sum_assignment(-overlap), strict=True)
        if overlap[i, j] > 0
    }
    found = {
        (i, rows.index(row)) for i, (_, row) in enumerate(paired(wanted, rows)) if row is not None
    }
    assert found == best


def said(act: Act, at_s: float, verdict: Verdict = Verdict.HEARD, question: str = "") -> Heard:
    utterance = Utterance("words", at_s, at_s + 1, 0.9, verdict)
    return Heard(utterance, Statement(act), question=question)


def amendments(*heard: Heard, kind: Kind = "talk") -> tuple[int, int]:
    lines = (TimedLine("", kind, 20.0, 22.0), TimedLine("", "finding", 60.0, 62.0))
    result = score(Truth(3600.0, lines), [], heard)
    return result.amendments, result.doubtful_amendments


@pytest.mark.parametrize(
    "act", [Act.SIDE, Act.OTHER_SIDE, Act.CORRECTION, Act.ATTRIBUTES, Act.WITHDRAW, Act.NOTE]
)
def test_talk_that_changes_something_is_an_amendment(act: Act) -> None:
    assert amendments(said(act, 20.5)) == (1, 0)
    assert amendments(said(act, 20.5), kind="noise") == (1, 0)
    assert amendments(said(act, 20.5, Verdict.UNSURE)) == (0, 1)
    assert amendments(said(act, 20.5, question="or what?")) == (0, 1)


def test_what_is_no_amendment() -> None:
    assert amendments(said(Act.FINDING, 20.5)) == (0, 0)
    assert amendments(said(Act.SIDE, 20.5, Verdict.TALK)) == (0, 0)
    assert amendments(said(Act.SIDE, 60.5)) == (0, 0)
    assert amendments(said(Act.SIDE, 20.5), kind="attributes") == (0, 0)
    assert amendments(said(Act.CHECK_POSITION, 20.5)) == (0, 0)


def test_scores_add_up() -> None:
    result = total([one(ROW), one(replace(ROW, side="left")), Score(seconds=10.0)])
    assert (result.seconds, result.rows, result.exact) == (7210.0, 2, 1)
    assert len(result.errors) == 1
    assert result.an_hour(1) == pytest.approx(3600 / 7210)


def test_an_error_says_what_was_and_what_was_heard() -> None:
    error = one(replace(ROW, mobility="loose", said="right loose")).errors[0]
    assert error.sentence() == '10.1 s: mobility is stiff, heard loose in "right loose"'
    invented = one(replace(ROW, motion="flexion")).errors[0]
    assert "motion is not said, heard flexion" in invented.sentence()
