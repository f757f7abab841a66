"""The range of a motion on both sides, in one mode, and whether one is limited."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from logger.core.events import Side
from logger.grammar.pack import Pack
from logger.report.tested import OTHER, OneTest, What


class RangeState(StrEnum):
    """What can be said of a motion on one side against the other."""

    MEASURED = "measured"
    NOT_SCREENED = "not screened"
    NOT_COMPARED = "not compared"
    """Screened, but without degrees on both sides in one mode."""
    TO_CHECK = "to check"


@dataclass(frozen=True, slots=True)
class Ranges:
    """A motion's range on one side and on the other, in the same mode."""

    motion: str
    state: RangeState
    mode: str | None = None
    mine_deg: int | None = None
    other_deg: int | None = None
    why: str = ""
    """Why it is not measured; empty where it is, or where it was screened on neither side."""

    @property
    def lost_deg(self) -> int | None:
        """How much less than the other side; negative where it is more; None if not measured."""
        if self.mine_deg is None or self.other_deg is None:
            return None
        return self.other_deg - self.mine_deg


def ranges(tested: Mapping[What, OneTest], side: Side, motion: str, pack: Pack) -> Ranges:
    """Return the ranges of both sides in the first mode of the pack that both have.

    Last comes a range of which the mode was not said, against another such. Different modes are
    never held against each other.
    """
    screened = [what for what in tested if what.is_motion and what.name == motion]
    if not screened:
        return Ranges(motion, RangeState.NOT_SCREENED)
    if not any(what.side == side for what in screened):
        return Ranges(motion, RangeState.NOT_SCREENED, why=f"only on the {OTHER[side]}")
    for mode in (*pack.together.modes, None):
        mine = tested.get(What(side, motion, mode, is_motion=True))
        other = tested.get(What(OTHER[side], motion, mode, is_motion=True))
        if mine and other and mine.said("range_deg").values and other.said("range_deg").values:
            return _measured(motion, mode, (mine, other))
    return Ranges(motion, RangeState.NOT_COMPARED, why=_lacking(tested, screened, side))


def _measured(motion: str, mode: str | None, tested: tuple[OneTest, OneTest]) -> Ranges:
    mine, other = (one.said("range_deg") for one in tested)
    for one in tested:
        if len(one.said("range_deg").values) > 1:
            why = f"the {one.what.side} side was given in two ways"
            return Ranges(motion, RangeState.TO_CHECK, mode, why=why)
    if not (mine.sure and other.sure):
        rows = [str(row.number) for one in tested if not one.said("range_deg").sure
                for row in one.rows]  # fmt: skip
        return Ranges(
            motion, RangeState.TO_CHECK, mode, mine.number, other.number, f"row {', '.join(rows)}"
        )
    return Ranges(motion, RangeState.MEASURED, mode, mine.number, other.number)


def _lacking(tested: Mapping[What, OneTest], screened: Sequence[What], side: Side) -> str:
    with_range = [what for what in screened if tested[what].said("range_deg").values]
    missing = [s for s in (side, OTHER[side]) if not any(what.side == s for what in with_range)]
    if missing:
        return f"no degrees on the {' or the '.join(missing)} side"
    return "the two sides were measured in different modes"
