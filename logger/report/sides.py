"""One side of a test against the other: which moves less, and by how much."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from statistics import mean

from logger.core.statements import AGAINST, SAME_AS
from logger.grammar.pack import Pack
from logger.report.tested import OTHER, OneTest, Said


class Moves(StrEnum):
    """How one side's mobility is against the other's."""

    LESS = "less"
    ALIKE = "alike"
    MORE = "more"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Difference:
    """The mobility of one side against that of the other."""

    moves: Moves
    steps: int | None = None
    """This side's score less the other's; None where not both have one."""
    why: str = ""
    """Why it is unknown or to be checked, or what else it rests on; may be empty."""
    to_check: bool = False


def difference(mine: OneTest | None, other: OneTest | None, pack: Pack) -> Difference:
    """Return how `mine` moves against `other`: by their scores, else their words, else as said.

    A comparison that was said aloud ("stiffer than the left") counts where the two sides' own
    values cannot tell; where it says the opposite of them, the difference is to be checked.
    """
    told = _told(mine, pack) if mine else Moves.UNKNOWN
    by_values = _by_values(mine, other, pack)
    if by_values.moves is Moves.UNKNOWN:
        if told is Moves.UNKNOWN or by_values.to_check:
            return by_values
        return Difference(told, why="as it was said", to_check=_doubtful(mine, "comparison"))
    if told is Moves.UNKNOWN or told is by_values.moves:
        return by_values
    if by_values.moves is Moves.ALIKE and by_values.steps is None and told is not Moves.ALIKE:
        # Both are "hypomobile", one of them the stiffer: the words are the finer scale.
        return Difference(told, why="as it was said", to_check=by_values.to_check)
    why = "what was said of the other side does not fit the two sides' values"
    return Difference(by_values.moves, by_values.steps, why, to_check=True)


def _by_values(mine: OneTest | None, other: OneTest | None, pack: Pack) -> Difference:
    if mine is None or other is None:
        return Difference(Moves.UNKNOWN, why="the other side was not tested")
    for slot in ("mobility_score", "mobility"):
        said = mine.said(slot), other.said(slot)
        if not all(one.values for one in said):
            continue
        if any(len(one.values) > 1 for one in said):
            why = f"{slot.replace('_', ' ')} was said in two ways"
            return Difference(Moves.UNKNOWN, why=why, to_check=True)
        return _ranked(said, slot, pack)
    return Difference(Moves.UNKNOWN, why="not both sides have a mobility")


def _ranked(said: tuple[Said, Said], slot: str, pack: Pack) -> Difference:
    to_check = any(one.to_check for one in said)
    ranks = [_rank(one, slot, pack) for one in said]
    mine, other = ranks
    if mine is None or other is None:
        return Difference(Moves.UNKNOWN, why="the pack has no order of mobilities")
    moves = Moves.ALIKE if mine == other else Moves.LESS if mine < other else Moves.MORE
    steps = round(mine - other) if slot == "mobility_score" else None
    return Difference(moves, steps, to_check=to_check)


def _rank(said: Said, slot: str, pack: Pack) -> float | None:
    """Return where a value stands from stiff to loose; a word, at the middle of its scores."""
    if slot == "mobility_score":
        return said.number
    scores = [score for score, word in pack.mobility_of_score.items() if word == said.value]
    return mean(scores) if scores else None


def _told(mine: OneTest, pack: Pack) -> Moves:
    """Return what was said aloud of the other side; unknown where it does not say which moves."""
    comparison = str(mine.said("comparison").value or "")
    named = SAME_AS.get(comparison, AGAINST.get(comparison))
    if named not in (None, OTHER[mine.what.side]):
        return Moves.UNKNOWN
    if comparison in SAME_AS:
        return Moves.ALIKE
    stiffer = mine.said("mobility").value == pack.together.limited
    return Moves.LESS if comparison in AGAINST and stiffer else Moves.UNKNOWN


def _doubtful(tested: OneTest | None, slot: str) -> bool:
    return tested is not None and (tested.to_check or not tested.said(slot).sure)
