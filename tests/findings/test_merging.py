"""Events to rows."""

from __future__ import annotations

from logger.core.events import ArmAngle, RowStatus, SetupStatus, Utterance, Verdict
from logger.core.statements import SetupWindow
from logger.findings.merging import Merged, MergeRules, merge
from logger.findings.setup import SetupRules, read_setup
from logger.grammar.interpreting import interpret
from logger.grammar.loading import load_pack
from logger.grammar.parsing import Parser

PACK = load_pack("glenohumeral")
PARSER = Parser(PACK)
RULES = MergeRules(PACK.setup, PACK.mobility_of_score)


def merged(*texts: str, step_s: float = 5.0, verdict: Verdict = Verdict.HEARD) -> Merged:
    """Merge utterances said one after the other."""
    heard = [
        interpret(
            Utterance(text, i * step_s, i * step_s + 1.0, 0.9, verdict), PARSER, close_nats=1.5
        )
        for i, text in enumerate(texts)
    ]
    return merge(heard, [], RULES)


def test_attributes_complete_the_open_row_and_side_stays_in_force() -> None:
    """The second test is on the right side too."""
    rows = merged("right inferior glide", "pain three", "posterior glide").rows
    assert [(row.side, row.test, row.pain) for row in rows] == [
        ("right", "inferior_glide", 3),
        ("right", "posterior_glide", None),
    ]


def test_late_attributes_are_unplaced_not_lost() -> None:
    """After 20 s the row is closed."""
    result = merged("right inferior glide", "pain three", step_s=25.0)
    assert result.rows[0].pain is None
    assert len(result.unplaced) == 1


def test_row_without_side_is_checked() -> None:
    """Never guessed."""
    (row,) = merged("inferior glide normal").rows
    assert (row.side, row.status) == (None, RowStatus.CHECK)


def test_two_values_leave_the_slot_empty_with_both_in_the_reason() -> None:
    """A conflict is marked, whether in one utterance or two."""
    for texts in (
        ["right inferior glide pain two pain five"],
        ["right inferior glide pain two", "pain five"],
    ):
        (row,) = merged(*texts).rows
        assert (row.pain, row.status) == (None, RowStatus.CHECK)
        assert "2 or 5" in row.reasons[0]


def test_correction_replaces_and_withdrawal_keeps_the_row() -> None:
    """Scratch that leaves the row in the file."""
    (row,) = merged("left inferior glide pain two", "correction pain five", "scratch that").rows
    assert (row.pain, row.status) == (5, RowStatus.WITHDRAWN)


def test_unsure_withdrawal_only_asks() -> None:
    """A row is not taken back on a guess."""
    (row,) = merged("left inferior glide", "scratch that", verdict=Verdict.UNSURE).rows
    assert row.status is RowStatus.CHECK


def test_score_fills_mobility_and_contradiction_is_checked() -> None:
    """Scale attributed to Paris and Kaltenborn: 3 is normal, under it hypomobile."""
    (row,) = merged("right inferior glide mobility two").rows
    assert (row.mobility, row.mobility_score) == ("hypomobile", 2)
    (row,) = merged("right inferior glide mobility two hypermobile").rows
    assert row.status is RowStatus.CHECK


def trace(values: list[tuple[float, float]]) -> list[ArmAngle]:
    """Make visible samples of the right arm."""
    return [ArmAngle(t, "right", a, visible=True) for t, a in values]


def test_setup_is_the_last_steady_window() -> None:
    """Moved from 20 to 50 degrees and held."""
    angles = trace([(i / 5, 20.0) for i in range(10)] + [(2 + i / 5, 50.0) for i in range(10)])
    reading = read_setup(angles, "right", 6.0, SetupWindow(30, 60, "test"), SetupRules())
    assert (reading.angle_deg, reading.status) == (50.0, SetupStatus.IN_RANGE)


def test_setup_that_was_left_is_not_seen() -> None:
    """The arm moved on and never came to rest."""
    moving = [(2 + i / 5, 50.0 + 6 * i) for i in range(8)]
    angles = trace([(i / 5, 50.0) for i in range(10)] + moving)
    reading = read_setup(angles, "right", 6.0, SetupWindow(30, 60, "test"), SetupRules())
    assert reading.status is SetupStatus.NOT_SEEN
