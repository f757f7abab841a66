"""Which rows of several raters are about the same finding.

A rater is who examined, or who judged the rows of a session afterwards. Rows of one recording
belong together where side, test or motion, and mode are the same; where a rater has more than one
such row, they are paired in the order of time, so that the raters' clocks need not agree.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final, NamedTuple

from logger.agreement.scales import NAMES_THE_ROW
from logger.core.events import Finding, RowStatus
from logger.core.session import Judgement
from logger.core.statements import SLOTS, SlotValue

AGAIN: Final = ", again"
"""Added to an examiner's code for what the same person judged afterwards."""
_SLOTS: Final = tuple(slot for slot in SLOTS if slot not in NAMES_THE_ROW)


@dataclass(frozen=True, slots=True)
class RatedSession:
    """What one examiner said of one recording, and what others judged of it."""

    name: str
    """To name it by in a note."""
    recording: str
    """The same for all sessions of one recording."""
    examiner: str
    rows: tuple[Finding, ...]
    """In force, in the order of start; `Judgement.row` counts them from 1."""
    judgements: tuple[Judgement, ...] = ()


class Target(NamedTuple):
    """One finding, whoever rated it."""

    recording: str
    side: str
    what: str
    """The test or motion, with the mode."""
    number: int
    """From 1, among those of the same side and test or motion."""


Values = Mapping[str, SlotValue]


@dataclass(slots=True)
class Matched:
    """Every rater's values of every finding."""

    values: dict[str, dict[Target, Values]] = field(default_factory=dict)
    """By rater."""
    took_part: dict[str, set[str]] = field(default_factory=dict)
    """The recordings that each rater rated anything of, by rater."""
    unmatched: list[tuple[str, Target]] = field(default_factory=list)
    """Rows that no other examiner of the recording has, with whose they are."""
    unsettled: int = 0
    """Rows still to check: what they say is not counted."""
    notes: list[str] = field(default_factory=list)

    @property
    def raters(self) -> tuple[str, ...]:
        """Return all raters, sorted."""
        return tuple(sorted(self.values))

    def shared(self, raters: Iterable[str]) -> set[str]:
        """Return the recordings that all of `raters` rated anything of."""
        return set.intersection(*(self.took_part[rater] for rater in raters))


def match_rows(sessions: Sequence[RatedSession]) -> Matched:
    """Return the values of all raters by finding.

    Withdrawn rows are no findings. A row still to check counts as a finding, but not with the
    values that were heard of it.
    """
    matched = Matched()
    seen: dict[tuple[str, str], RatedSession] = {}
    for session in sessions:
        first = seen.setdefault((session.recording, session.examiner), session)
        if first is session:
            _take_rows(session, matched)
        else:
            matched.notes.append(
                f"{session.name} has the examiner and the recording of {first.name}: "
                "only its judgements are counted"
            )
    for session in sessions:
        _take_judgements(session, matched)
    _compare_counts(seen.values(), matched)
    return matched


def _take_rows(session: RatedSession, matched: Matched) -> None:
    for target, row in _targets(session):
        if row.status is RowStatus.CHECK:
            matched.unsettled += 1
        else:
            said = {slot: getattr(row, slot) for slot in _SLOTS}
            _put(matched, session.examiner, target, said)


def _take_judgements(session: RatedSession, matched: Matched) -> None:
    targets = {id(row): target for target, row in _targets(session)}
    latest: dict[tuple[str, Target], dict[str, SlotValue | None]] = {}
    # The order in the file breaks ties; times of other clocks are compared by their offsets.
    for judgement in sorted(session.judgements, key=lambda judgement: _moment(judgement.at)):
        target = targets.get(id(session.rows[judgement.row - 1]))
        if target is None or judgement.slot not in _SLOTS:
            continue
        own = judgement.by == session.examiner
        rater = judgement.by + AGAIN if own else judgement.by
        latest.setdefault((rater, target), {})[judgement.slot] = judgement.value
    for (rater, target), said in latest.items():
        before = matched.values.get(rater, {}).get(target, {})
        changed = [slot for slot in said if slot in before and said[slot] != before[slot]]
        matched.notes.extend(
            f"{rater} gave two values of {slot.replace('_', ' ')} for {named(target)}: "
            f"that of {session.name} is counted"
            for slot in changed
        )
        _put(matched, rater, target, {**before, **said})


def _put(
    matched: Matched, rater: str, target: Target, said: Mapping[str, SlotValue | None]
) -> None:
    given = {slot: value for slot, value in said.items() if value is not None}
    matched.values.setdefault(rater, {})[target] = given
    matched.took_part.setdefault(rater, set()).add(target.recording)


def _targets(session: RatedSession) -> Iterator[tuple[Target, Finding]]:
    count: Counter[tuple[str, str]] = Counter()
    for row in session.rows:
        if row.status is RowStatus.WITHDRAWN:
            continue
        side = row.side or "side not said"
        what = " ".join(filter(None, (row.test or row.motion or "not said", row.mode)))
        count[side, what] += 1
        yield Target(session.recording, side, what, count[side, what]), row


def _compare_counts(sessions: Iterable[RatedSession], matched: Matched) -> None:
    """Note what only one of several examiners has, and where pairing by order may mislead."""
    by_recording: dict[str, list[RatedSession]] = {}
    for session in sessions:
        by_recording.setdefault(session.recording, []).append(session)
    for together in by_recording.values():
        if len(together) > 1:
            _compare_examiners(together, matched)


def _compare_examiners(together: Sequence[RatedSession], matched: Matched) -> None:
    found = {session.examiner: {target for target, _ in _targets(session)} for session in together}
    times = Counter(target for targets in found.values() for target in targets)
    for rater, targets in found.items():
        alone = sorted(target for target in targets if times[target] == 1)
        matched.unmatched.extend((rater, target) for target in alone)
        matched.notes.extend(
            f"{rater} has {named(target)} more than once and another examiner less often: they "
            "are paired in the order of time"
            for target in alone
            if target.number > 1
        )


def named(target: Target) -> str:
    """Return a finding in words: "left inferior glide (2nd) of monday.mp4"."""
    number = f" (no. {target.number})" if target.number > 1 else ""
    return f"{target.side} {target.what.replace('_', ' ')}{number} of {target.recording}"


def _moment(at: str) -> float:
    try:
        return datetime.fromisoformat(at).timestamp()
    except ValueError:
        return 0.0
