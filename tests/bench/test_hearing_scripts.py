"""Scripts: the truth that is written with them is what the grammar and the merging make of them."""

from __future__ import annotations

import random
from itertools import islice

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.bench.hearing.finding_scripts import finding_script, spelled
from logger.bench.hearing.natural_scripts import natural_script, templates
from logger.bench.hearing.scoring import Score, score
from logger.bench.hearing.scripts import Script, TimedLine, Truth, TruthRow
from logger.bench.hearing.talk_scripts import (
    NOISES,
    noise_script,
    opened,
    talk_lines,
    talk_script,
    talk_sentences,
)
from logger.core.events import Utterance, Verdict
from logger.core.statements import SLOTS, Act
from logger.findings.merging import MergeRules, merge
from logger.grammar.interpreting import interpret
from logger.grammar.loading import load_pack
from logger.grammar.parsing import Parser

PACK = load_pack("glenohumeral")
PARSER = Parser(PACK)


def script(seed: int, findings: int = 60) -> Script:
    talk = talk_lines(PACK, random.Random(seed + 1))
    return finding_script(PACK, random.Random(seed), findings, talk)


def heard_perfectly(written: Script) -> Score:
    """Score what a perfect ear would give: every word of every line that is not talk."""
    timed = tuple(
        TimedLine(line.text, line.kind, 5.0 * i, 5.0 * i + 3)
        for i, line in enumerate(written.lines)
    )
    rows = tuple(
        TruthRow(
            timed[row.line].start_s, timed[row.line].end_s, row.slots, row.withdrawn, row.noted
        )
        for row in written.rows
    )
    utterances = [
        Utterance(
            line.text,
            line.start_s,
            line.end_s,
            1.0,
            Verdict.TALK if line.kind == "talk" else Verdict.HEARD,
        )
        for line in timed
    ]
    heard = [interpret(utterance, PARSER) for utterance in utterances]
    merged = merge(heard, (), MergeRules(PACK.setup, PACK.mobility_of_score, open_row_s=60.0))
    assert not merged.unplaced
    return score(Truth(5.0 * len(timed), timed, rows), merged.rows, heard)


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10**6))
def test_a_perfect_ear_gets_every_row_exact(seed: int) -> None:
    """The truth is written with the script, not read back from it: two ways to one table."""
    written = script(seed)
    result = heard_perfectly(written)
    assert (result.rows, result.exact) == (60, 60), seed
    assert (result.errors, result.false_findings, result.amendments) == ((), 0, 0)
    assert result.marked == 0


def test_every_slot_order_and_kind_of_line_comes() -> None:
    lines = [line for seed in range(20) for line in script(seed).lines]
    kinds = {line.kind for line in lines}
    assert {"finding", "attributes", "correction", "withdraw", "side", "other_side"} <= kinds
    assert {"note", "check_position", "talk"} <= kinds
    rows = [row for seed in range(20) for row in script(seed).rows]
    assert {slot for row in rows for slot in row.slots} == set(SLOTS) - {"comparison"}
    starts = {line.text.split()[0].strip(",").lower() for line in lines if line.kind == "finding"}
    assert {"left", "pain", "grade", "flexion", "stiff"} <= starts
    assert any(len(line.pieces) > 1 for line in lines if line.kind == "finding")


def test_the_same_seed_gives_the_same_script_and_a_shorter_one_its_beginning() -> None:
    assert script(3) == script(3) != script(4)
    short = script(3, 10)
    assert short.rows == script(3).rows[:10]
    assert short.lines == script(3).lines[: len(short.lines)]


def test_no_talk_states_anything() -> None:
    """Talk that is itself in the grammar would be a wrong truth."""
    lines = islice(talk_lines(PACK, random.Random(5)), 20 * len(talk_sentences()))
    stated = {line.text for line in lines if PARSER.parse(line.text) is not None}
    assert not stated


def test_talk_comes_from_both_and_holds_whole_phrases_of_the_pack() -> None:
    lines = list(islice(talk_lines(PACK, random.Random(1)), len(talk_sentences())))
    assert {line.by_patient for line in lines} == {True, False}
    assert len(lines) == len({line.text for line in lines}) > 90
    assert not any("{" in line.text for line in lines)


def test_talk_and_noise_scripts_hold_nothing_to_log() -> None:
    talk, noise = talk_script(PACK, random.Random(2), 100), noise_script(random.Random(2), 50)
    assert {line.kind for line in talk.lines} == {"talk", "noise"}
    assert {line.text for line in noise.lines} == set(NOISES)
    assert not talk.rows
    assert not noise.rows


def test_natural_rows_hold_what_their_words_say() -> None:
    talk = talk_lines(PACK, random.Random(1))
    written = natural_script(PACK, random.Random(9), 60, talk)
    assert len(written.rows) >= 60
    for row in written.rows:
        text = written.lines[row.line].text.lower()
        assert str(row.slots["side"]) in text
        assert ("test" in row.slots) != ("motion" in row.slots)
        if "compared" not in text and "than" not in text and "same" not in text:
            other = "left" if row.slots["side"] == "right" else "right"
            assert other not in text.replace("the other side", "")


def test_the_same_as_the_other_side_takes_that_mobility() -> None:
    written = natural_script(PACK, random.Random(9), 200, talk_lines(PACK, random.Random(1)))
    same = [i for i, row in enumerate(written.rows) if "same as" in written.lines[row.line].text]
    assert same
    for index in same:
        row, before = written.rows[index].slots, written.rows[index - 1].slots
        assert row["test"] == before["test"]
        assert row["side"] != before["side"]
        assert row["mobility"] == before["mobility"]


def test_natural_rows_hold_the_comparison_that_is_said() -> None:
    """It once was left out, and every row that compares counted as not exact."""
    written = natural_script(PACK, random.Random(9), 60, talk_lines(PACK, random.Random(1)))
    compared = 0
    for row in written.rows:
        statement = PARSER.parse(written.lines[row.line].text)
        if statement is not None:
            said = statement.slots.get("comparison", ())
            assert said == tuple(row.slots[slot] for slot in ("comparison",) if slot in row.slots)
            compared += bool(said)
    assert compared > 5


def test_there_are_about_sixty_templates_and_no_mark_is_left_over() -> None:
    assert len(templates()) >= 60
    written = natural_script(PACK, random.Random(1), 120, talk_lines(PACK, random.Random(1)))
    assert not any(set(line.text) & set("{}[]|") for line in written.lines)


def test_a_score_and_a_mobility_said_together_agree() -> None:
    written = natural_script(PACK, random.Random(4), 200, talk_lines(PACK, random.Random(1)))
    both = [row.slots for row in written.rows if "mobility_score" in row.slots]
    assert both
    for slots in both:
        assert PACK.mobility_of_score[int(slots["mobility_score"])] == slots["mobility"]


def test_an_opening_word_stands_before_everything_but_talk() -> None:
    written = script(1, 20)
    marked = opened(written, "record")
    for line, before in zip(marked.lines, written.lines, strict=True):
        assert line.text.startswith("Record, ") == (before.kind != "talk")
    assert marked.rows == written.rows


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("a p glide", "A P glide"),
        ("left p a glide", "left P A glide"),
        ("grade a test", "grade a test"),
    ],
)
def test_letters_are_spelled(text: str, written: str) -> None:
    assert spelled(text) == written
    assert PARSER.parse(f"right {written}") == PARSER.parse(f"right {text}")


def test_a_statement_of_a_note_is_a_note() -> None:
    notes = [line.text for seed in range(10) for line in script(seed).lines if line.kind == "note"]
    assert notes
    for text in notes:
        statement = PARSER.parse(text)
        assert statement is not None
        assert statement.act is Act.NOTE
