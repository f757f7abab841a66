"""Which sessions may be compared, and what must be known when they are."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import combinations, pairwise

from logger.core.clocks import moment_of
from logger.core.errors import UsageError
from logger.files.session_json import SessionRecord
from logger.report.tested import OneTest, What, rows_of, stages
from logger.report.wording import clean


@dataclass(frozen=True, slots=True)
class Occasion:
    """One session of a comparison."""

    name: str
    """How the session is named to the user: its folder."""
    record: SessionRecord

    @property
    def at(self) -> datetime | None:
        """When it started, if that is known with its offset from UTC."""
        return moment_of(self.record.facts.started_at)

    @property
    def label(self) -> str:
        """Its date, else its name."""
        return f"{self.at:%Y-%m-%d}" if self.at else clean(self.name)

    def tested(self) -> Mapping[What, OneTest]:
        """Return what was tested before any bout of treatment, with people's changes in force."""
        return stages(rows_of(self.record), self.record.bouts)[0].tested


def require_comparable(occasions: Sequence[Occasion]) -> None:
    """Refuse sessions between which a change would be no change of one patient over time.

    Raises:
        UsageError: for one session only, the same one twice, other patients, other packs, dates
            that are the wrong way round; the sentence names the sessions and what to do.

    """
    if len(occasions) < 2:  # noqa: PLR2004 - a comparison takes two
        raise UsageError("There is only one session: name an earlier and a later one.")
    for one, two in combinations(occasions, 2):
        _require_two(one, two)
    _require_one("packs", {o.name: o.record.pack.name for o in occasions})
    patients = {o.name: o.record.facts.patient_code for o in occasions}
    _require_one("patients", {name: code for name, code in patients.items() if code})
    for one, two in pairwise(o for o in occasions if o.at is not None):
        if one.at is not None and two.at is not None and one.at > two.at:
            raise UsageError(
                f"{one.name} ({one.label}) is later than {two.name} ({two.label}): name the "
                "earlier session first."
            )


def _require_two(one: Occasion, two: Occasion) -> None:
    mine, other = one.record, two.record
    digests = mine.recording.sha256, other.recording.sha256
    same_file = None not in digests and digests[0] == digests[1]
    same_content = (
        mine.findings == other.findings
        and mine.recording.duration_s == other.recording.duration_s
        and mine.facts.started_at == other.facts.started_at
    )
    if same_file or same_content:
        raise UsageError(
            f"{one.name} and {two.name} are the same session: name two different ones."
        )
    if one.at is not None and one.at == two.at:
        raise UsageError(
            f"{one.name} and {two.name} started at the same moment: two recordings of one session "
            "are no earlier and later one. Name one of them."
        )


def _require_one(kind: str, values: Mapping[str, str]) -> None:
    counts = Counter(values.values())
    if len(counts) > 1:
        named = "; ".join(f"{name}: {value}" for name, value in values.items())
        raise UsageError(f"These are sessions of different {kind} ({named}): name those of one.")


def warnings(occasions: Sequence[Occasion], pack_version: str) -> tuple[str, ...]:
    """Return what the reader must know of the sessions, a sentence each."""
    return tuple(clean(sentence) for sentence in _warnings(occasions, pack_version))


def _warnings(occasions: Sequence[Occasion], pack_version: str) -> Iterator[str]:
    facts = {o.name: o.record.facts for o in occasions}
    unnamed = [name for name, known in facts.items() if not known.patient_code]
    if unnamed:
        yield f"No patient code in {', '.join(unnamed)}: that the patient is the same is your word."
    undated = [o.name for o in occasions if o.at is None]
    if undated:
        yield f"No date with its offset in {', '.join(undated)}: the order is the one you gave."
    if len({known.involved_side for known in facts.values() if known.involved_side}) > 1:
        yield "The sessions name different involved sides."
    other = [o.name for o in occasions if o.record.pack.version != pack_version]
    if other:
        yield (
            f"Read with another version of the pack: {', '.join(other)}. What could be said may "
            "have differed; the limits are those of the pack at hand."
        )
    for occasion in occasions:
        cut_s = occasion.record.recording.truncated_at_s
        if cut_s is not None:
            yield f"{occasion.name} is cut short: what came after {cut_s:.0f} s is missing."
        if not occasion.record.findings:
            yield f"{occasion.name} has no findings."
