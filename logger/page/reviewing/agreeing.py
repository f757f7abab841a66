"""How far students and their educators agree, for the class as a whole."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final

from logger.agreement.estimates import Estimate
from logger.agreement.matching import RatedSession, match_rows
from logger.agreement.scales import scales_of
from logger.agreement.summary import SlotAgreement, agreements
from logger.core.editing import rows_in_force
from logger.files.session_json import SessionRecord
from logger.grammar.pack import Pack

Plain = dict[str, Any]
STUDENTS: Final = "students"
_COLUMNS: Final = ("Slot", "Raters", "Measure", "Value", "95 % interval", "Findings", "Remark")


def agreement_facts(sessions: Sequence[tuple[str, SessionRecord, Pack]]) -> Plain | None:
    """Return the agreement of all students, taken as one rater, with each educator.

    Each session is a recording of its own; those of another pack are held apart. None where nobody
    has judged anything.
    """
    packs = {pack.name: pack for _, record, pack in sessions if record.judgements}
    if not packs:
        return None
    lines, notes = [], []
    for pack in packs.values():
        matched = match_rows([_rated(name, rec) for name, rec, own in sessions if own == pack])
        of = f"{pack.title}: " if len(packs) > 1 else ""
        lines += [line for f in agreements(matched, scales_of(pack)) for line in _lines(f, of)]
        notes += matched.notes
        if matched.unsettled:
            notes.append(f"{matched.unsettled} rows still to check are not counted.")
    return {"columns": list(_COLUMNS), "lines": lines, "notes": notes}


def _rated(name: str, record: SessionRecord) -> RatedSession:
    rows = rows_in_force(record.findings, record.edits)
    return RatedSession(name, name, STUDENTS, rows, record.judgements)


def _lines(found: SlotAgreement, of: str) -> Iterator[list[str]]:
    """Yield a line a measure; those that lack the same thing share one."""
    if not found.count:
        return
    slot, raters = of + found.slot.replace("_", " "), " and ".join(found.raters)
    lacking: dict[str, list[str]] = {}
    for measure, what in found.measures:
        if what.value is None:
            lacking.setdefault(what.reason, []).append(measure)
            continue
        value = _figure(found.slot, measure, what.value)
        interval = _interval(found.slot, measure, what)
        yield [slot, raters, measure, value, interval, str(found.count), what.reason]
    for reason, measures in lacking.items():
        yield [slot, raters, "; ".join(measures), "undefined", "", str(found.count), reason]


def _interval(slot: str, measure: str, what: Estimate) -> str:
    if what.low is None or what.high is None:
        return ""
    return f"{_figure(slot, measure, what.low)} to {_figure(slot, measure, what.high)}"


def _figure(slot: str, measure: str, value: float) -> str:
    if measure == "same value":
        return f"{100 * value:.0f} %"
    return f"{value:.1f}°" if slot == "range_deg" and "ICC" not in measure else f"{value:.2f}"
