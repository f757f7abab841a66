"""What is read back of a row."""

from __future__ import annotations

import pytest

from logger.core.events import Finding, RowStatus, Utterance, Verdict
from logger.grammar.interpreting import interpret
from logger.grammar.loading import load_pack
from logger.grammar.parsing import Parser
from logger.page.speaking import read_back


@pytest.mark.parametrize(
    ("row", "said"),
    [
        (
            Finding(0, 1, side="right", test="inferior_glide", grade="2", mobility="hypomobile"),
            "right, inferior glide, grade two, hypomobile",
        ),
        (
            Finding(0, 1, side="left", motion="flexion", mode="passive", range_deg=120, pain=0),
            "left, passive, flexion, one hundred and twenty degrees, pain zero",
        ),
        (
            Finding(0, 1, test="anterior_glide", grade="3+", status=RowStatus.CHECK),
            "anterior glide, grade three plus. Check.",
        ),
    ],
)
def test_a_row_is_read_back_in_the_words_of_the_pack(row: Finding, said: str) -> None:
    """In the order in which it is usually said."""
    assert read_back(row, load_pack("glenohumeral")) == said


def test_what_is_read_back_says_the_same_again() -> None:
    """The recogniser's own grammar reads every slot back out of it."""
    pack = load_pack("glenohumeral")
    row = Finding(
        0, 1, side="right", test="posterior_glide", grade="4-", pain=7, end_feel="springy"
    )
    words = read_back(row, pack).replace(",", "")
    heard = interpret(Utterance(words, 0, 1, 1.0, Verdict.HEARD), Parser(pack))
    assert heard.statement is not None
    assert dict(heard.statement.slots) == {
        "side": ("right",),
        "test": ("posterior_glide",),
        "grade": ("4-",),
        "pain": (7,),
        "end_feel": ("springy",),
    }
