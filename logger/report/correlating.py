"""Limited directions beside the motions they are taught to go with, and the capsular pattern.

The rule is a matter of teaching and disputed; the pack holds it, what speaks against it, and how
large a difference must be to count. Nothing here names a diagnosis or a direction to treat.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

from logger.core.events import SIDES, Side
from logger.grammar.pack import CapsularPattern, Pack
from logger.report.ranges import Ranges, RangeState, ranges
from logger.report.sides import Difference, Moves, difference
from logger.report.tested import OneTest, What


class Outcome(StrEnum):
    """How a motion's range goes with a limited direction."""

    AGREES = "agrees"
    DOES_NOT_AGREE = "does not agree"
    NOT_SCREENED = "not screened"
    NOT_COMPARED = "not compared"
    """Screened, but nothing can be said of it; the reason stands beside it."""
    TO_CHECK = "to check"
    """A row that is marked for a check, or a contradiction, has a say in it."""


@dataclass(frozen=True, slots=True)
class MotionOutcome:
    """One motion that a direction is taught to go with."""

    outcome: Outcome
    ranges: Ranges


@dataclass(frozen=True, slots=True)
class Direction:
    """A direction that was found limited, and what was found of its motions."""

    side: Side
    test: str
    against: Difference
    motions: tuple[MotionOutcome, ...]
    """Empty where the direction is taught for the joint as a whole, or is not limited against
    the other side."""
    whole_joint: bool = False
    contradictory: bool = False
    """Said to be limited, and not to be."""

    @property
    def compared(self) -> bool:
        """Whether it was found limited against the other side."""
        return self.against.moves is Moves.LESS and not self.contradictory


@dataclass(frozen=True, slots=True)
class Loss:
    """A motion's loss as a share of the other side's range."""

    ranges: Ranges
    share: float | None
    """1 is all of it, 0 none; negative where this side moves further. None if not computable."""


class Pattern(StrEnum):
    """Whether the losses stand in the order that is taught."""

    MET = "met"
    NOT_MET = "not met"
    NOT_COMPUTABLE = "not computable"
    TO_CHECK = "to check"


@dataclass(frozen=True, slots=True)
class PatternFound:
    """The capsular pattern of one side."""

    side: Side
    pattern: Pattern
    losses: tuple[Loss, ...]
    """In the order of the pack."""
    why: str = ""


def directions(tested: Mapping[What, OneTest], pack: Pack) -> tuple[Direction, ...]:
    """Return every direction that was found limited, with its motions, in the pack's order."""
    return tuple(
        _direction(tested, What(side, test), pack)
        for test in pack.together.taught_with
        for side in ("right", "left")
        if _limited(tested.get(What(side, test)), pack)
    )


def _limited(mine: OneTest | None, pack: Pack) -> bool:
    return mine is not None and pack.together.limited in mine.said("mobility").values


def _direction(tested: Mapping[What, OneTest], what: What, pack: Pack) -> Direction:
    mine = tested[what]
    against = difference(mine, tested.get(what.across()), pack)
    if len(mine.said("mobility").values) > 1:
        return Direction(what.side, what.name, against, (), contradictory=True)
    motions = pack.together.taught_with[what.name].motions
    if against.moves is not Moves.LESS:
        return Direction(what.side, what.name, against, (), not motions)
    unsure = against.to_check or not mine.said("mobility").sure
    found = tuple(_motion(tested, what.side, motion, pack, unsure=unsure) for motion in motions)
    return Direction(what.side, what.name, against, found, not motions)


def _motion(
    tested: Mapping[What, OneTest], side: Side, motion: str, pack: Pack, *, unsure: bool
) -> MotionOutcome:
    found = ranges(tested, side, motion, pack)
    if found.state is RangeState.MEASURED and found.lost_deg is not None:
        limit = pack.together.limits.get("range_deg")
        if limit is None or limit.value is None:
            return MotionOutcome(Outcome.NOT_COMPARED, found)
        lost = found.lost_deg > 0 and limit.passed(found.lost_deg, limit.value)
        agreed = Outcome.AGREES if lost else Outcome.DOES_NOT_AGREE
        return MotionOutcome(Outcome.TO_CHECK if unsure else agreed, found)
    return MotionOutcome(Outcome(found.state.value), found)


def pattern_of(tested: Mapping[What, OneTest], side: Side, pack: Pack) -> PatternFound | None:
    """Return whether a side's losses stand in the pattern's order; None if the pack has none.

    A loss is a share of the other side's range. The pattern is met where each share is greater
    than the next one and the first motion is limited by more than measurement error.
    """
    pattern = pack.together.capsular_pattern
    if pattern is None:
        return None
    losses = _losses(tested, side, pattern, pack)
    lacking = [loss for loss in losses if loss.ranges.state is not RangeState.MEASURED]
    if lacking:
        unsure = all(loss.ranges.state is RangeState.TO_CHECK for loss in lacking)
        state = Pattern.TO_CHECK if unsure else Pattern.NOT_COMPUTABLE
        return PatternFound(side, state, losses, _lacking(losses))
    modes = {loss.ranges.mode for loss in losses}
    if len(modes) > 1:
        return PatternFound(side, Pattern.NOT_COMPUTABLE, losses, "the motions' modes differ")
    shares = [loss.share for loss in losses if loss.share is not None]
    if len(shares) < len(losses):
        return PatternFound(side, Pattern.NOT_COMPUTABLE, losses, "a range of 0 degrees")
    return _ordered(side, losses, shares, pack)


def _losses(
    tested: Mapping[What, OneTest], side: Side, pattern: CapsularPattern, pack: Pack
) -> tuple[Loss, ...]:
    """Return the losses in the first mode in which all can be computed, else what there is."""
    for mode in (*pack.together.modes, None):
        one_mode = {what: one for what, one in tested.items() if what.mode == mode}
        found = tuple(_loss(ranges(one_mode, side, motion, pack)) for motion in pattern.order)
        if all(loss.ranges.state is RangeState.MEASURED for loss in found):
            return found
    return tuple(_loss(ranges(tested, side, motion, pack)) for motion in pattern.order)


def _ordered(side: Side, losses: tuple[Loss, ...], shares: list[float], pack: Pack) -> PatternFound:
    limit = pack.together.limits.get("range_deg")
    first_deg = losses[0].ranges.lost_deg
    if limit is None or limit.value is None or first_deg is None:
        return PatternFound(side, Pattern.NOT_COMPUTABLE, losses, "no measurement error is given")
    if not (first_deg > 0 and limit.passed(first_deg, limit.value)):
        name = losses[0].ranges.motion.replace("_", " ")
        why = f"{name} is not limited by more than measurement error"
        return PatternFound(side, Pattern.NOT_MET, losses, why)
    falling = all(one > next_one for one, next_one in pairwise(shares))
    why = "; ".join(_within_error(losses, limit.value))
    return PatternFound(side, Pattern.MET if falling else Pattern.NOT_MET, losses, why)


def _within_error(losses: tuple[Loss, ...], error_deg: float) -> Iterator[str]:
    """Name the neighbours whose order a measurement error could turn round."""
    for one, two in pairwise(losses):
        if one.share is None or two.share is None:
            continue
        smaller = min(one.ranges.other_deg or 1, two.ranges.other_deg or 1)
        if abs(one.share - two.share) * smaller <= error_deg:
            names = (loss.ranges.motion.replace("_", " ") for loss in (one, two))
            yield f"the order of {' and '.join(names)} lies within measurement error"


def _loss(found: Ranges) -> Loss:
    measured = found.state is RangeState.MEASURED and found.lost_deg is not None
    if not measured or not found.other_deg:
        return Loss(found, None)
    return Loss(found, (found.lost_deg or 0) / found.other_deg)


def _lacking(losses: tuple[Loss, ...]) -> str:
    """Say what keeps the pattern from being computed; the same for both sides."""
    told = []
    for unsure, words in ((False, "no degrees of both sides in one mode"), (True, "to check")):
        names = [
            loss.ranges.motion.replace("_", " ")
            for loss in losses
            if loss.ranges.state is not RangeState.MEASURED
            and (loss.ranges.state is RangeState.TO_CHECK) == unsure
        ]
        if names:
            told.append(f"{', '.join(names)}: {words}")
    return "; ".join(told)


def patterns(
    tested: Mapping[What, OneTest], involved: Side | None, pack: Pack
) -> tuple[PatternFound, ...]:
    """Return the pattern of the involved side, of both where it is not known."""
    sides = SIDES if involved is None else (involved,)
    found = (pattern_of(tested, side, pack) for side in sides)
    return tuple(one for one in found if one is not None)
