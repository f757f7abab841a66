"""Several sessions of one patient beside each other: the document and the table in words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from logger.grammar.pack import Pack
from logger.report.changing import Change, LimitInUse, Verdict, changes, limits_in_use
from logger.report.course import KEY, course_picture, described
from logger.report.document import Cell, Document, Fact, Item, Items, Picture, Section, Table, Text
from logger.report.occasions import Occasion, require_comparable, warnings
from logger.report.tested import Said
from logger.report.wording import date_text, isolated, plain, signed, what_text

IS_NOT: Final = (
    "Changes between what was said and measured in the sessions, no diagnosis and no treatment "
    "advice: a change that counts is larger than a limit and may have many causes. The program "
    "is no medical device."
)
_UNITS: Final[Mapping[str, str]] = {"range_deg": "°"}
_NAMES: Final[Mapping[str, str]] = {"range_deg": "range", "mobility_score": "mobility score"}


@dataclass(frozen=True, slots=True)
class Comparison:
    """What there is to show of several sessions."""

    occasions: tuple[Occasion, ...]
    pack: Pack
    changes: tuple[Change, ...]
    limits: Mapping[str, LimitInUse]
    warnings: tuple[str, ...]


def compare(
    occasions: Sequence[Occasion], pack: Pack, pack_version: str, yours: Mapping[str, float]
) -> Comparison:
    """Return the changes from the first session to the last.

    Args:
        occasions: two or more, the earliest first.
        pack: the pack they were read with.
        pack_version: of that pack as it is now.
        yours: limits that the user set, by slot of a number.

    Raises:
        UsageError: for sessions that cannot be compared; see `require_comparable`.

    """
    require_comparable(occasions)
    limits = limits_in_use(occasions, pack, yours)
    return Comparison(
        tuple(occasions),
        pack,
        changes(occasions, pack, limits),
        limits,
        warnings(occasions, pack_version),
    )


def told_more_than_once(comparison: Comparison) -> list[Change]:
    """Return the changes of what more than one session says."""
    return [c for c in comparison.changes if sum(bool(p.values) for p in c.points) > 1]


def told_once(comparison: Comparison) -> list[str]:
    """Return what only one session tested, in words."""
    more = {change.what for change in told_more_than_once(comparison)}
    only = (change.what for change in comparison.changes if change.what not in more)
    return [what_text(what) for what in dict.fromkeys(only)]


def slot_name(slot: str) -> str:
    """Return a slot as it stands in the tables."""
    return _NAMES.get(slot, plain(slot))


def course_text(change: Change) -> str:
    """Return the values of all sessions, "6 → 3"; an en dash where one does not say."""
    unit = _UNITS.get(change.slot, "")
    return " → ".join(_point(point, unit) for point in change.points)


def _point(point: Said, unit: str) -> str:
    if not point.values:
        return "–"  # noqa: RUF001 - an en dash for nothing
    values = "/".join(f"{plain(str(value))}{unit}" for value in point.values)
    return f"{values}{'' if point.sure else '?'}"


def difference_text(change: Change) -> str:
    """Return the change with its sign; empty where there is none to give."""
    if change.difference is None:
        return ""
    return signed(change.difference, _UNITS.get(change.slot, ""))


def verdict_text(change: Change) -> str:
    """Return whether the change counts, and against what."""
    if change.verdict is Verdict.NO_LIMIT:
        return "no limit published"
    if change.limit is not None and change.verdict in (Verdict.COUNTS, Verdict.DOES_NOT_COUNT):
        value = f"{change.limit.value:g}{_UNITS.get(change.slot, '')}"
        counts = change.verdict is Verdict.COUNTS
        if change.limit.yours:
            return f"{'reaches' if counts else 'below'} your {value}"
        if change.limit.limit.kind == "important difference":
            return f"important ({value} or more)" if counts else f"below {value}"
        return f"beyond error ({value})" if counts else f"within error ({value})"
    return f"{change.verdict.value}{f': {change.why}' if change.why else ''}"


def limits_text(comparison: Comparison) -> Iterator[str]:
    """Yield every limit in use with its source."""
    for slot, used in comparison.limits.items():
        unit = _UNITS.get(slot, "")
        how = "or more" if used.limit.kind == "important difference" else "to be exceeded"
        kind = "your limit" if used.yours else used.limit.kind
        yield f"{slot_name(slot)}: {used.value:g}{unit} {how}, {kind} ({used.source})"
    for slot, limit in comparison.pack.together.limits.items():
        if slot not in comparison.limits:
            yield f"{slot_name(slot)}: no limit ({limit.source})"


def comparison_report(comparison: Comparison) -> Document:
    """Return the comparison as a document."""
    occasions = comparison.occasions
    codes = {o.record.facts.patient_code for o in occasions} - {None}
    told = described(comparison.changes, occasions)
    svg = course_picture(comparison.changes, occasions, comparison.pack)
    sections = [
        Section("Changes from the first session to the last", _table(comparison)),
        Section("The course", (Picture(svg, told, KEY),)),
        Section("When a change counts", (Items(tuple(map(Item, limits_text(comparison)))),)),
    ]
    named = ", ".join(sorted(isolated(str(code)) for code in codes))
    facts = [Fact("Patient code", named or "not said")]
    facts += [
        Fact(f"Session {number}", _session(occasion))
        for number, occasion in enumerate(occasions, start=1)
    ]
    return Document(
        title=f"Findings of {len(occasions)} sessions compared",
        subtitle=comparison.pack.title,
        is_not=IS_NOT,
        facts=tuple(facts),
        sections=tuple(sections),
        notices=comparison.warnings,
    )


def _session(occasion: Occasion) -> str:
    facts = occasion.record.facts
    examiner = isolated(facts.examiner_code) if facts.examiner_code else "not said"
    return f"{date_text(facts.started_at)}, examiner {examiner}, {isolated(occasion.name)}"


def _table(comparison: Comparison) -> tuple[Table | Text, ...]:
    if not comparison.changes:
        return (Text("Nothing was tested in these sessions."),)
    lines = tuple(
        (
            Cell(f"{what_text(change.what)}: {slot_name(change.slot)}"),
            Cell(course_text(change)),
            Cell(difference_text(change)),
            Cell(verdict_text(change)),
        )
        for change in told_more_than_once(comparison)
    )
    once = "; ".join(told_once(comparison))
    only = f" In one session only: {once}." if once else ""
    head = ("What", "Course", "Change", "Counts")
    table = Table("Changes", head, lines, (37, 28, 10, 25))
    note = f"Each as before the first bout of its session. ? to be checked.{only}"
    return table, Text(note, small=True)
