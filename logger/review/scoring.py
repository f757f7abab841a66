"""A session sheet filled in from the record of one practice session.

Only what the record shows is judged. A student may have cleared the elbow without saying so, and
an arm that the camera did not see may have lain in its window: such a criterion cannot be told,
and is neither met nor missed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from statistics import median
from typing import Any, Final

from logger.core.events import SIDES, Finding, RowStatus, SetupStatus
from logger.review.criteria import (
    BothSides,
    Criterion,
    EachDirection,
    EndFeelNoted,
    Judged,
    NotedBefore,
    ScreenedFirst,
    SetupInWindow,
    SheetPlan,
    TimeATest,
)


class Outcome(StrEnum):
    """What the record says of a criterion."""

    MET = "met"
    NOT_MET = "not met"
    CANNOT_TELL = "cannot be told"


@dataclass(frozen=True, slots=True)
class Score:
    """One criterion with its outcome."""

    text: str
    outcome: Outcome
    detail: str
    """What was seen, in plain words."""


@dataclass(frozen=True, slots=True)
class Practised:
    """What a session sheet is filled in from."""

    rows: Sequence[Finding]
    """All rows in the order of start, with edits applied; withdrawn ones do not count."""
    notes: Sequence[tuple[float, str]] = ()
    """Start in seconds and text of the notes that belong to no row."""


@dataclass(frozen=True, slots=True)
class _Seen:
    tests: tuple[Finding, ...]
    motions: tuple[Finding, ...]
    notes: tuple[tuple[float, str], ...]


def filled_in(plan: SheetPlan, practised: Practised) -> tuple[Score, ...]:
    """Return a score for each criterion, in the sheet's order."""
    seen = _seen(practised)
    return tuple(
        Score(criterion.text, *_JUDGES[type(criterion)](criterion, seen))
        for criterion in plan.criteria
    )


def total(scores: Sequence[Score]) -> str:
    """Return the scores counted, such as "5 of 8 met, 1 not met, 2 cannot be told"."""
    counts = {outcome: sum(s.outcome is outcome for s in scores) for outcome in Outcome}
    others = (
        f"{counts[outcome]} {outcome}"
        for outcome in (Outcome.NOT_MET, Outcome.CANNOT_TELL)
        if counts[outcome]
    )
    return ", ".join((f"{counts[Outcome.MET]} of {len(scores)} met", *others))


def _seen(practised: Practised) -> _Seen:
    rows = [row for row in practised.rows if row.status is not RowStatus.WITHDRAWN]
    noted = [(row.start_s, row.note) for row in rows if row.note]
    return _Seen(
        tuple(row for row in rows if row.test),
        tuple(row for row in rows if row.motion),
        tuple(sorted((*noted, *practised.notes))),
    )


_Verdict = tuple[Outcome, str]


def _screened_first(asked: ScreenedFirst, seen: _Seen) -> _Verdict:
    if not seen.tests:
        return Outcome.CANNOT_TELL, "no accessory test was logged"
    first_s = min(row.start_s for row in seen.tests)
    before = {row.mode for row in seen.motions if row.start_s < first_s}
    missing = [mode for mode in asked.modes if mode not in before]
    if not missing:
        return Outcome.MET, f"{', '.join(asked.modes)} before the first test"
    return Outcome.NOT_MET, f"not before the first test: {', '.join(missing)}"


def _end_feel_noted(asked: EndFeelNoted, seen: _Seen) -> _Verdict:
    rows = [row for row in seen.motions if row.mode in asked.modes]
    if not rows:
        return Outcome.CANNOT_TELL, f"no motion was logged with {' or '.join(asked.modes)}"
    named = sum(row.end_feel is not None for row in rows)
    return _of(named, len(rows), asked.least_share, "have an end feel")


def _each_direction(asked: EachDirection, seen: _Seen) -> _Verdict:
    done = {row.test for row in seen.tests}
    missing = [_plain(test) for test in asked.tests if test not in done]
    if missing:
        return Outcome.NOT_MET, f"not tested: {', '.join(missing)}"
    return Outcome.MET, f"all {len(asked.tests)} tested"


def _both_sides(_: BothSides, seen: _Seen) -> _Verdict:
    sides: dict[str, set[str | None]] = {}
    for row in seen.tests:
        sides.setdefault(str(row.test), set()).add(row.side)
    if not sides:
        return Outcome.CANNOT_TELL, "no accessory test was logged"
    one = [test for test, known in sides.items() if not known >= set(SIDES)]
    if not one:
        return Outcome.MET, f"all {len(sides)} tested were tested on both sides"
    outcome = Outcome.CANNOT_TELL if any(None in sides[test] for test in one) else Outcome.NOT_MET
    detail = f"on one side only: {', '.join(map(_plain, one))}"
    return outcome, detail + ("; some rows have no side" if outcome is Outcome.CANNOT_TELL else "")


def _setup_in_window(asked: SetupInWindow, seen: _Seen) -> _Verdict:
    wanted = [r.setup.status for r in seen.tests if r.setup.status is not SetupStatus.NOT_REQUIRED]
    told = [s for s in wanted if s in {SetupStatus.IN_RANGE, SetupStatus.OUT_OF_RANGE}]
    if not wanted or len(told) * 2 < len(wanted):
        return Outcome.CANNOT_TELL, f"the arm was told in or out in {len(told)} of {len(wanted)}"
    inside = sum(status is SetupStatus.IN_RANGE for status in told)
    outcome, detail = _of(inside, len(told), asked.least_share, "in the window")
    untold = len(wanted) - len(told)
    return outcome, detail + (f"; {untold} too close to a limit or not seen" if untold else "")


def _noted_before(asked: NotedBefore, seen: _Seen) -> _Verdict:
    starts = [row.start_s for row in seen.tests if row.test == asked.test]
    if not starts:
        return Outcome.CANNOT_TELL, f"{_plain(asked.test)} was not logged"
    heard = " ".join(text.lower() for at_s, text in seen.notes if at_s < min(starts)).split()
    missing = [word for word in asked.words if word not in {w.strip(",.;") for w in heard}]
    if not missing:
        return Outcome.MET, "in a note before the test"
    # It may have been done without a word.
    return Outcome.CANNOT_TELL, f"no note before it names {', '.join(missing)}"


def _judged(_: Judged, seen: _Seen) -> _Verdict:
    if not seen.tests:
        return Outcome.CANNOT_TELL, "no accessory test was logged"
    done = sum(
        row.mobility is not None or row.mobility_score is not None or row.grade is not None
        for row in seen.tests
    )
    return _of(done, len(seen.tests), 1.0, "judged")


def _time_a_test(asked: TimeATest, seen: _Seen) -> _Verdict:
    gaps_s = list(_gaps_s(seen.tests))
    if not gaps_s:
        return Outcome.CANNOT_TELL, "fewer than two accessory tests were logged"
    middle_s = median(gaps_s)
    outcome = Outcome.MET if middle_s <= asked.most_s else Outcome.NOT_MET
    return outcome, f"{middle_s:.0f} s a test in the middle"


def _gaps_s(tests: Sequence[Finding]) -> Iterator[float]:
    """Yield the times between tests; a test said again at once is the same one."""
    for earlier, later in pairwise(tests):
        if (earlier.test, earlier.side) != (later.test, later.side):
            yield later.start_s - earlier.start_s


def _of(count: int, among: int, least_share: float, what: str) -> _Verdict:
    outcome = Outcome.MET if count >= least_share * among else Outcome.NOT_MET
    return outcome, f"{count} of {among} {what}"


def _plain(key: str) -> str:
    return key.replace("_", " ")


_JUDGES: Final[Mapping[type[Criterion], Callable[[Any, _Seen], _Verdict]]] = {
    ScreenedFirst: _screened_first,
    EndFeelNoted: _end_feel_noted,
    EachDirection: _each_direction,
    BothSides: _both_sides,
    SetupInWindow: _setup_in_window,
    NotedBefore: _noted_before,
    Judged: _judged,
    TimeATest: _time_a_test,
}
