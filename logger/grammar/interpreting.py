"""From an utterance to its meaning and what is doubtful in it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from logger.core.events import Verdict
from logger.core.statements import SLOTS, Act, Doubt, Heard

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from logger.core.events import Alternative, Utterance
    from logger.core.statements import SlotValue, Statement
    from logger.grammar.alike import Pair
    from logger.grammar.parsing import Parser


_LEAST: Final = 1e-9
_OF_ROW_BEFORE: Final = frozenset({Act.ATTRIBUTES, Act.CORRECTION, Act.WITHDRAW, Act.NOTE})


@dataclass(frozen=True, slots=True)
class _Rival:
    text: str
    margin: float
    statement: Statement


@dataclass(frozen=True, slots=True)
class Closeness:
    """How near a rival reading must be to raise a doubt, in nats.

    The worse the reading taken fits the speech, the further away a rival still counts. The gap is
    how many nats a word it is behind free listening.
    """

    nats: float = 1.5
    nats_a_gap_squared: float = 1.0
    most_nats: float = 6.0
    alike_nats: float = 6.0
    """Between values that sound alike, such as hypo- and hypermobile or fourteen and forty, and
    between a word and its opposite, however well the one taken fits."""
    greater_nats: float = 4.0
    """The same where the number taken is the lesser one, as a ten is heard for a teen far sooner
    than a teen for a ten. Of 2,683 spoilt numbers 251 were lesser ones taken between 4 and 6 ahead,
    all of them right; of 312 tens so taken 25 had been said as another."""
    named_nats: float = 5.0
    """Between "pain three" and "pain free": of 48 each in twelve voices, clean and spoilt, five of
    the former are nearer than 3.5; at 5 dB a "free" was a three, 4.4 ahead. Within 5 two rows of
    2,000 more are asked than within 3.5, within 6 three, and one of 30 in the five sessions."""
    correcting_nats: float = 4.0
    """Between a finding and a correction, however well the one taken fits: "correction left
    shoulder" made a row "flexion left shoulder", 3.8 ahead. Of some 700 others one had such a
    rival within 4, none more within 5.9."""

    @property
    def farthest_nats(self) -> float:
        """The most at which a rival counts, however well the reading taken fits."""
        return max(self.most_nats, self.alike_nats, self.named_nats, self.correcting_nats)

    def within(self, confidence: float) -> float:
        """Return what counts as close beside a reading as sure as this, where nothing is alike."""
        gap = -math.log(max(confidence, _LEAST))
        return min(self.nats + self.nats_a_gap_squared * gap**2, self.most_nats)


def interpret(utterance: Utterance, parser: Parser, close: Closeness | None = None) -> Heard:
    """Return what `utterance` means, with a doubt for every slot that a close rival disputes.

    A rival that differs only in values that sound alike is close from further away. One that
    means the same, or nothing, raises no doubt. One of the same act makes a `Doubt` for each slot
    whose values differ; one of another act becomes the question. Words that state nothing but
    have a close rival that does keep the question too, with no statement. Talk states nothing; if
    the engine found that a side may have been said in it, the question says so.
    """
    if utterance.verdict is Verdict.TALK:
        question = _perhaps_side(utterance, parser)
        return Heard(utterance, None, (), question, lone_side=parser.lone_side(utterance.text))
    close = close or Closeness()
    nats = close.within(utterance.confidence)
    statement = parser.parse(utterance.text)
    if turning := parser.turning(utterance.text):
        # "Isn't stiff" says what it is not: what it is stays with the clinician.
        return Heard(utterance, None, question=f'"{turning}" turns it round')
    rivals = [
        rival
        for rival in _rivals(utterance, parser, close.farthest_nats)
        if rival.margin < max(nats, _asked_within(rival.statement, statement, parser, close))
    ]
    if statement is None:
        alone = parser.lone_side(utterance.text)
        return Heard(utterance, None, (), _question(rivals), lone_side=alone)
    same = [rival for rival in rivals if rival.statement.act is statement.act]
    others = [rival for rival in rivals if rival.statement.act is not statement.act]
    doubts = (_doubt(slot, statement, same) for slot in SLOTS)
    question = _question(others) or _turned(utterance, parser, close.alike_nats)
    before = any(rival.statement.act in _OF_ROW_BEFORE for rival in others)
    return Heard(utterance, statement, tuple(doubt for doubt in doubts if doubt), question, before)


def bearing(talk: Utterance, parser: Parser) -> Utterance:
    """Return talk without its words, but for those that bear on the table.

    They are a side said alone and what may have changed the side. `interpret` finds in it what it
    finds in the whole.
    """
    word = talk.text.split()[:1] if parser.lone_side(talk.text) else []
    asked = next(_sides_perhaps(talk, parser), None)
    return replace(talk, text="".join(word), alternatives=(asked,) if asked else ())


def _perhaps_side(utterance: Utterance, parser: Parser) -> str:
    """Return the question whether talk changed the side; empty if nothing speaks for it."""
    asked = next(_sides_perhaps(utterance, parser), None)
    return f'"{asked.text}" at {utterance.start_s:.0f} s?' if asked else ""


def _sides_perhaps(talk: Utterance, parser: Parser) -> Iterator[Alternative]:
    for alternative in talk.alternatives:
        statement = parser.parse(alternative.text)
        sided = statement and (statement.act is Act.OTHER_SIDE or "side" in statement.slots)
        if sided or parser.turning(alternative.text):
            yield alternative


def _turned(utterance: Utterance, parser: Parser, nats: float) -> str:
    """Return the question whether a word such as "not" was said; empty if nothing speaks for it."""
    for alternative in utterance.alternatives:
        if alternative.margin < nats and parser.turning(alternative.text):
            return f'or "{alternative.text}"?'
    return ""


def _rivals(utterance: Utterance, parser: Parser, nats: float) -> Iterator[_Rival]:
    """Yield the close alternatives that state something, nearest first."""
    for alternative in sorted(utterance.alternatives, key=lambda other: other.margin):
        if alternative.margin >= nats:
            return
        statement = parser.parse(alternative.text)
        if statement is not None:
            yield _Rival(alternative.text, alternative.margin, statement)


def _asked_within(
    rival: Statement, taken: Statement | None, parser: Parser, close: Closeness
) -> float:
    """Return how near a rival must be for what it is, however well the reading taken fits."""
    if taken is None or rival.act is not taken.act:
        return close.correcting_nats if _one_corrects(rival, taken) else 0.0
    if _differ(rival, taken, parser.named_alike):
        return close.named_nats
    if _differ(rival, taken, parser.alike):
        return close.greater_nats if _greater(rival, taken) else close.alike_nats
    return 0.0


def _greater(rival: Statement, taken: Statement) -> bool:
    """Whether the rival has a greater number."""
    pairs = (zip(_values(rival, slot), _values(taken, slot), strict=False) for slot in SLOTS)
    return any(
        isinstance(one, int) and isinstance(other, int) and one > other
        for pair in pairs
        for one, other in pair
    )


def _differ(rival: Statement, taken: Statement, pairs: frozenset[Pair]) -> bool:
    """Whether two statements differ only in values that are one of the pairs."""
    return all(
        (slot, frozenset((*rival.slots.get(slot, ()), *taken.slots.get(slot, ())))) in pairs
        for slot in SLOTS
        if rival.slots.get(slot) != taken.slots.get(slot)
    )


def _one_corrects(rival: Statement, taken: Statement | None) -> bool:
    """Whether one of two statements is a finding and the other a correction."""
    return taken is not None and {rival.act, taken.act} == {Act.FINDING, Act.CORRECTION}


def _question(rivals: Sequence[_Rival]) -> str:
    return f'or "{rivals[0].text}"?' if rivals else ""


def _doubt(slot: str, statement: Statement, rivals: Sequence[_Rival]) -> Doubt | None:
    taken = _values(statement, slot)
    differing = [rival for rival in rivals if set(_values(rival.statement, slot)) != set(taken)]
    if not differing:
        return None
    values = dict.fromkeys(taken)
    for rival in differing:
        values |= dict.fromkeys(_values(rival.statement, slot))
    return Doubt(slot, tuple(values), differing[0].margin)


def _values(statement: Statement, slot: str) -> tuple[SlotValue | None, ...]:
    return tuple(statement.slots.get(slot, ())) or (None,)
