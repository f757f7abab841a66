"""From an utterance to its meaning and what is doubtful in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from logger.core.events import Verdict
from logger.core.statements import SLOTS, Doubt, Heard

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from logger.core.events import Utterance
    from logger.core.statements import SlotValue, Statement
    from logger.grammar.parsing import Parser


@dataclass(frozen=True, slots=True)
class _Rival:
    text: str
    margin: float
    statement: Statement


def interpret(utterance: Utterance, parser: Parser, close_nats: float) -> Heard:
    """Return what `utterance` means, with a doubt for every slot that a close rival disputes.

    An alternative is close if its margin is below `close_nats`. One that means the same, or
    nothing, raises no doubt. One of the same act makes a `Doubt` for each slot whose values
    differ; one of another act becomes the question. Words that state nothing but have a close
    rival that does keep the question too, with no statement. Talk is not interpreted at all.
    """
    if utterance.verdict is Verdict.TALK:
        return Heard(utterance, None)
    statement = parser.parse(utterance.text)
    rivals = list(_rivals(utterance, parser, close_nats))
    if statement is None:
        return Heard(utterance, None, question=_question(rivals))
    same = [rival for rival in rivals if rival.statement.act is statement.act]
    others = [rival for rival in rivals if rival.statement.act is not statement.act]
    doubts = (_doubt(slot, statement, same) for slot in SLOTS)
    return Heard(utterance, statement, tuple(doubt for doubt in doubts if doubt), _question(others))


def _rivals(utterance: Utterance, parser: Parser, close_nats: float) -> Iterator[_Rival]:
    """Yield the close alternatives that state something, nearest first."""
    for alternative in sorted(utterance.alternatives, key=lambda other: other.margin):
        if alternative.margin < close_nats:
            statement = parser.parse(alternative.text)
            if statement is not None:
                yield _Rival(alternative.text, alternative.margin, statement)


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
