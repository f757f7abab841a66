"""Doubts and questions: what a close second reading leaves open."""

from __future__ import annotations

from typing import Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.core.events import Alternative, Utterance, Verdict
from logger.core.statements import Act, Doubt, Heard
from logger.grammar.interpreting import Closeness, bearing, interpret
from logger.grammar.loading import load_pack
from logger.grammar.parsing import Parser

PARSER: Final = Parser(load_pack("glenohumeral"))
CLOSE: Final = Closeness(nats=2.0, nats_a_gap_squared=0.0, most_nats=2.0, alike_nats=2.0)


def heard(text: str, *rivals: tuple[str, float], verdict: Verdict = Verdict.HEARD) -> Heard:
    """Interpret `text` with its rivals and their margins in nats."""
    alternatives = tuple(Alternative(rival, margin) for rival, margin in rivals)
    return interpret(Utterance(text, 1.0, 2.0, 0.9, verdict, alternatives), PARSER, CLOSE)


def test_talk_states_nothing_whatever_its_words() -> None:
    found = heard("pain three", ("pain two", 0.1), verdict=Verdict.TALK)
    assert (found.statement, found.doubts, found.question) == (None, (), "")


def test_an_unsure_utterance_still_states() -> None:
    found = heard("pain three", verdict=Verdict.UNSURE)
    assert found.statement is not None
    assert found.statement.slots == {"pain": (3,)}


def test_values_that_differ_are_doubted_nearest_margin_first() -> None:
    found = heard("pain nine", ("pain one", 1.5), ("pain five", 0.5))
    assert found.doubts == (Doubt("pain", (9, 5, 1), 0.5),)
    assert found.question == ""


def test_each_slot_has_its_own_doubt_and_margin() -> None:
    found = heard(
        "right inferior glide grade two pain nine",
        ("right inferior glide grade two pain five", 1.0),
        ("left inferior glide grade two pain nine", 0.3),
    )
    assert found.doubts == (
        Doubt("side", ("right", "left"), 0.3),
        Doubt("pain", (9, 5), 1.0),
    )


def test_what_one_reading_does_not_say_is_none() -> None:
    assert heard("grade two", ("grade two pain two", 0.4)).doubts == (
        Doubt("pain", (None, 2), 0.4),
    )
    assert heard("grade two pain two", ("grade two", 0.4)).doubts == (
        Doubt("pain", (2, None), 0.4),
    )


def test_a_test_against_a_motion_doubts_both() -> None:
    found = heard("right inferior glide", ("right flexion", 0.2))
    assert found.doubts == (
        Doubt("test", ("inferior_glide", None), 0.2),
        Doubt("motion", (None, "flexion"), 0.2),
    )


@pytest.mark.parametrize(
    ("rival", "margin"),
    [
        ("stiff pain three out of ten", 0.1),  # other words, the same meaning
        ("pain three stiff stiff", 0.1),  # another order, a value twice
        ("right stiff pain three", 0.1),  # a side that does not count
        ("stiff pain three okay", 0.1),  # states nothing
        ("stiff pain two", CLOSE.nats),  # not close
    ],
)
def test_no_doubt(rival: str, margin: float) -> None:
    found = heard("stiff pain three", (rival, margin))
    assert (found.doubts, found.question) == ((), "")


@pytest.mark.parametrize(
    ("text", "rival"),
    [
        ("correction pain five", "pain five"),
        ("pain five", "correction pain five"),
        ("scratch that", "stiff"),
        ("right inferior glide pain five", "pain five"),
        ("other side", "right side"),
        ("note stiff", "no change stiff"),
    ],
)
def test_another_act_is_asked_in_plain_words(text: str, rival: str) -> None:
    found = heard(text, (rival, 0.5), ("check position", 0.9))
    assert found.statement is not None
    assert found.question == f'or "{rival}"?'
    assert found.doubts == ()


@pytest.mark.parametrize(
    ("said", "rival"),
    [
        ("flexion left shoulder", "correction left shoulder"),
        ("correction internal rotation", "right internal rotation"),
    ],
)
def test_a_correction_is_doubted_from_further_away(said: str, rival: str) -> None:
    """It sounds like a motion, and either way a row is wrong; at 5 dB one was 3.8 ahead."""
    near, far = (
        Utterance(said, 1.0, 2.0, 1.0, Verdict.HEARD, (Alternative(rival, margin),))
        for margin in (3.8, 4.0)
    )
    assert rival in interpret(near, PARSER).question
    assert interpret(far, PARSER).question == ""


@pytest.mark.parametrize(
    ("rival", "before"),
    [
        ("correction left shoulder", True),
        ("pain five", True),
        ("scratch that", True),
        ("other side", False),
        ("check position", False),
    ],
)
def test_it_is_told_whether_the_rival_would_have_gone_to_the_row_before(
    rival: str, before: bool
) -> None:
    assert heard("flexion left shoulder", (rival, 0.5)).of_row_before is before


def test_words_that_state_nothing_keep_a_close_statement_as_a_question() -> None:
    found = heard("right", ("right shoulder", 0.5))
    assert found.statement is None
    assert found.question == 'or "right shoulder"?'


def test_doubts_and_a_question_can_stand_together() -> None:
    found = heard("pain nine", ("pain five", 0.5), ("correction pain nine", 0.7))
    assert found.statement is not None
    assert found.statement.act is Act.ATTRIBUTES
    assert found.doubts == (Doubt("pain", (9, 5), 0.5),)
    assert found.question == 'or "correction pain nine"?'


@pytest.mark.parametrize(
    ("said", "rival", "doubts"),
    [
        ("right abduction", "right adduction", True),
        ("left inferior glide hypomobile", "left inferior glide hypermobile", True),
        ("right abduction fifteen degrees", "right abduction fifty degrees", True),
        # Far from each other by ear, or unlike in more than the pair.
        ("left inferior glide stiff", "left inferior glide normal", False),
        ("right abduction", "right adduction pain three", False),
        ("right abduction", "left adduction", False),
    ],
)
def test_values_that_sound_alike_are_doubted_from_further_away(
    said: str, rival: str, doubts: bool
) -> None:
    utterance = Utterance(said, 1.0, 2.0, 0.6, Verdict.HEARD, (Alternative(rival, 3.5),))
    assert bool(interpret(utterance, PARSER).doubts) == doubts
    farther = Utterance(said, 1.0, 2.0, 0.6, Verdict.HEARD, (Alternative(rival, 6.0),))
    assert not interpret(farther, PARSER).doubts


@pytest.mark.parametrize(
    ("said", "rival", "doubts"),
    [
        ("left inferior glide hypomobile", "left inferior glide hypermobile", True),
        ("left inferior glide hypermobile", "left inferior glide hypomobile", True),
        ("left abduction", "left adduction", True),
        ("left abduction fifty degrees", "left abduction fifteen degrees", True),
        ("left abduction 180 degrees", "left abduction one hundred eight degrees", True),
        # A ten is heard for a teen, hardly ever a teen for a ten.
        ("left abduction fifteen degrees", "left abduction fifty degrees", False),
        ("left abduction one hundred eight degrees", "left abduction 180 degrees", False),
        ("left abduction forty five degrees", "left abduction fifty degrees", False),
        ("left inferior glide hypomobile", "right inferior glide hypermobile", False),
    ],
)
def test_what_sounds_alike_is_doubted_however_well_it_fits(
    said: str, rival: str, doubts: bool
) -> None:
    utterance = Utterance(said, 1.0, 2.0, 1.0, Verdict.HEARD, (Alternative(rival, 5.7),))
    assert bool(interpret(utterance, PARSER).doubts) == doubts


@pytest.mark.parametrize(("confidence", "doubts"), [(0.95, False), (0.4, True), (0.0, True)])
def test_what_fits_badly_is_doubted_from_further_away(confidence: float, doubts: bool) -> None:
    rivals = (Alternative("pain five", 2.2),)
    utterance = Utterance("pain nine", 1.0, 2.0, confidence, Verdict.HEARD, rivals)
    assert bool(interpret(utterance, PARSER).doubts) == doubts


@pytest.mark.parametrize("word", ["not", "isn't", "is no longer", "less"])
def test_a_finding_turned_round_is_kept_aside_with_the_word(word: str) -> None:
    found = heard(f"right inferior glide {word} stiff")
    assert found.statement is None
    assert word.rsplit(maxsplit=1)[-1] in found.question


def test_a_close_reading_that_turns_it_round_is_a_question() -> None:
    found = heard("right inferior glide is stiff", ("right inferior glide isn't stiff", 1.0))
    assert found.statement is not None
    assert "isn't" in found.question
    assert not heard(
        "right inferior glide is stiff", ("right inferior glide isn't stiff", 9)
    ).question


def test_talk_that_may_have_changed_the_side_says_so() -> None:
    def talk(rival: str) -> Utterance:
        return Utterance("i would say", 7.2, 8.0, 0.0, Verdict.TALK, (Alternative(rival, 7.4),))

    found = interpret(talk("other side"), PARSER)
    assert found.statement is None
    assert found.question == '"other side" at 7 s?'
    assert interpret(talk("right abduction"), PARSER).question == '"right abduction" at 7 s?'
    assert interpret(talk("pain three"), PARSER).question == ""
    turned = "left posterior glide isn't stiff"
    assert interpret(talk(turned), PARSER).question == f'"{turned}" at 7 s?'


@pytest.mark.parametrize(
    ("text", "side"),
    [
        ("Left.", "left"),
        ("right", "right"),
        ("Left him.", "left"),
        ("", ""),
        ("All right.", ""),
        ("Right then, breathe.", ""),
    ],
)
def test_a_bare_side_alone_states_nothing_and_is_kept_in_mind(text: str, side: str) -> None:
    """As talk or as what was nearly a statement."""
    for verdict in (Verdict.TALK, Verdict.UNSURE):
        heard = interpret(Utterance(text, 0.0, 1.0, 0.0, verdict), PARSER)
        assert heard.lone_side == side
        assert side == "" or heard.statement is None


@pytest.mark.parametrize(("margin", "asked"), [(3.0, True), (5.0, False)])
def test_what_is_named_as_another_number_is_said_is_asked(margin: float, asked: bool) -> None:
    """As "pain free" and "pain three"."""
    said = Utterance(
        "pain three", 1.0, 2.0, 1.0, Verdict.HEARD, (Alternative("pain free", margin),)
    )
    assert bool(interpret(said, PARSER).doubts) == asked


WORDS: Final = st.sampled_from(
    [
        "left",
        "Right.",
        "right,",
        "it",
        "other",
        "side",
        "shoulder",
        "inferior",
        "glide",
        "isn't",
        "stiff",
        "not",
        "so",
        "my",
        "neighbour",
    ]
)
TEXTS: Final = st.lists(WORDS, max_size=5).map(" ".join)


@given(TEXTS, st.lists(TEXTS, max_size=3))
def test_what_is_kept_of_talk_means_what_the_whole_does(text: str, others: list[str]) -> None:
    readings = tuple(Alternative(other, 1.0 + at) for at, other in enumerate(others))
    talk = Utterance(text, 1.0, 2.0, 0.0, Verdict.TALK, readings)
    kept, whole = (interpret(each, PARSER) for each in (bearing(talk, PARSER), talk))
    assert (kept.lone_side, kept.question) == (whole.lone_side, whole.question)
    if not (whole.lone_side or whole.question):
        assert (kept.utterance.text, kept.utterance.alternatives) == ("", ())
