"""What changed between the first and the last of several sessions, and whether that counts."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from logger.core.words import status_text
from logger.grammar.pack import Limit, Pack, WordSlot
from logger.report.occasions import Occasion
from logger.report.tested import OneTest, Said, What

NUMBERS: Final = ("range_deg", "mobility_score", "pain")
_WORDS: Final = ("mobility", "grade", "end_feel", "symptoms")


class Verdict(StrEnum):
    """Whether a change counts."""

    COUNTS = "counts"
    """Exceeds measurement error, or reaches an important difference."""
    DOES_NOT_COUNT = "does not count"
    NO_LIMIT = "no limit"
    """None is published, and none was set."""
    CHANGED = "changed"
    """Words that differ; there is no distance between words."""
    TO_CHECK = "to check"
    NOT_COMPARED = "not compared"
    """The first or the last session does not say."""


@dataclass(frozen=True, slots=True)
class LimitInUse:
    """The limit a change was held against."""

    slot: str
    value: float
    limit: Limit
    source: str
    yours: bool = False
    """Set by the user."""


@dataclass(frozen=True, slots=True)
class Change:
    """One slot of one test over all sessions."""

    what: What
    slot: str
    """A slot of the table, or "setup"."""
    points: tuple[Said, ...]
    """One for each session; without values where it does not say."""
    verdict: Verdict
    difference: float | None = None
    """The last less the first; None where either is missing, doubtful or no number."""
    limit: LimitInUse | None = None
    why: str = ""


def limits_in_use(
    occasions: Sequence[Occasion], pack: Pack, yours: Mapping[str, float]
) -> dict[str, LimitInUse]:
    """Return the limit of each slot of numbers that has one.

    Where the first and the last session were not surely measured by the same examiner, the limit
    for two examiners counts, if the pack has one.
    """
    examiners = [o.record.facts.examiner_code for o in (occasions[0], occasions[-1])]
    same = examiners[0] is not None and examiners[0] == examiners[1]
    found: dict[str, LimitInUse] = {}
    for slot in NUMBERS:
        limit = pack.together.limits.get(slot)
        if slot in yours:
            # Whoever sets a limit means "that much or more".
            mine = Limit("important difference", "set for this comparison", yours[slot])
            found[slot] = LimitInUse(slot, yours[slot], mine, mine.source, yours=True)
        elif limit is not None and limit.value is not None:
            two = limit.value_two_examiners
            if two is None or same:
                found[slot] = LimitInUse(slot, limit.value, limit, limit.source)
            else:
                known = "two examiners" if None not in examiners else "examiner not known"
                source = f"{known}: {limit.source_two_examiners}"
                found[slot] = LimitInUse(slot, two, limit, source)
    return found


def changes(
    occasions: Sequence[Occasion], pack: Pack, limits: Mapping[str, LimitInUse]
) -> tuple[Change, ...]:
    """Return the changes of everything tested, in the pack's order, right before left."""
    tested = [occasion.tested() for occasion in occasions]
    whats = sorted({what for one in tested for what in one}, key=lambda w: _place(w, pack))
    return tuple(
        change
        for what in whats
        for change in _of_one(what, [one.get(what) for one in tested], limits)
    )


def _place(what: What, pack: Pack) -> tuple[bool, int, str, str]:
    words = pack.slots.get("motion" if what.is_motion else "test")
    names = list(words.values) if isinstance(words, WordSlot) else []
    at = names.index(what.name) if what.name in names else len(names)
    return what.is_motion, at, what.mode or "", "0" if what.side == "right" else "1"


def _of_one(
    what: What, sessions: Sequence[OneTest | None], limits: Mapping[str, LimitInUse]
) -> Iterator[Change]:
    for slot in (*NUMBERS, *_WORDS):
        points = tuple(one.said(slot) if one else Said() for one in sessions)
        if not any(point.values for point in points):
            continue
        if slot in NUMBERS:
            yield _number(what, slot, points, limits.get(slot))
        elif _worth_telling(slot, points, sessions):
            yield _word(what, slot, points)
    setups = tuple(_setup(one) for one in sessions)
    if not what.is_motion and _differ(setups):
        why = "set up differently"
        yield Change(what, "setup", setups, Verdict.CHANGED, why=why)


def _number(what: What, slot: str, points: tuple[Said, ...], limit: LimitInUse | None) -> Change:
    first, last = points[0], points[-1]
    why = _missing(first, last)
    if why:
        return Change(what, slot, points, Verdict.NOT_COMPARED, limit=limit, why=why)
    if not (first.sure and last.sure) or first.number is None or last.number is None:
        return Change(what, slot, points, Verdict.TO_CHECK, limit=limit)
    difference = float(last.number - first.number)
    if limit is None:
        return Change(what, slot, points, Verdict.NO_LIMIT, difference)
    counts = limit.limit.passed(difference, limit.value)
    verdict = Verdict.COUNTS if counts else Verdict.DOES_NOT_COUNT
    return Change(what, slot, points, verdict, difference, limit)


def _word(what: What, slot: str, points: tuple[Said, ...]) -> Change:
    first, last = points[0], points[-1]
    if not (first.sure and last.sure):
        return Change(what, slot, points, Verdict.TO_CHECK)
    why = _missing(first, last)
    return Change(what, slot, points, Verdict.NOT_COMPARED if why else Verdict.CHANGED, why=why)


def _worth_telling(slot: str, points: tuple[Said, ...], sessions: Sequence[OneTest | None]) -> bool:
    """Words are told where they differ, the mobility only where its score does not tell it."""
    scored = [one.said("mobility_score").values for one in sessions if one]
    if slot == "mobility" and all(scored):
        return False
    return _differ(points)


def _differ(points: Sequence[Said]) -> bool:
    return len({point.values for point in points if point.values}) > 1


def _missing(first: Said, last: Said) -> str:
    if not first.values and not last.values:
        return "neither in the first nor in the last"
    if not first.values:
        return "not in the first"
    return "" if last.values else "not in the last"


def _setup(one: OneTest | None) -> Said:
    """Return how the arm was set up, without the angle, which is never quite the same."""
    if one is None:
        return Said()
    return Said(tuple(dict.fromkeys(status_text(row.finding.setup.status) for row in one.rows)))
