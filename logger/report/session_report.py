"""The report of one session, put together from its record and the pack."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from logger.core.events import SIDES, ArmAngle, RowStatus, Side
from logger.core.words import clock
from logger.files.session_json import SessionRecord
from logger.grammar.pack import Pack
from logger.report.document import Document, Fact, Picture, Section, Text
from logger.report.notices import notices
from logger.report.overview import SideSummary, overview
from logger.report.sections import (
    bouts_section,
    cautions_section,
    checks_section,
    correlation_section,
    notes_section,
)
from logger.report.side_tables import accessory_section, screening_section
from logger.report.tested import OneTest, Row, Stage, What, rows_of, stages
from logger.report.timeline import KEY, Course, described, timeline
from logger.report.wording import clean, date_text, isolated

IS_NOT: Final = (
    "A record of what the clinician said and the camera measured. It is no diagnosis and no "
    "treatment advice, and the program that wrote it is no medical device: what follows from it "
    "the licensed clinician decides."
)
_SIGN: Final = ("Read against the session and signed (examiner code)", "Date")


@dataclass(frozen=True, slots=True)
class Material:
    """Everything a report is made of."""

    record: SessionRecord
    pack: Pack
    pack_version: str
    """Of the pack at hand, which may not be the one the session was read with."""
    angles: Sequence[ArmAngle] = ()
    involved: Side | None = None
    """Given for this report; the session's own where None."""

    @property
    def involved_side(self) -> Side | None:
        """The side complained of, if anybody said."""
        return self.involved or self.record.facts.involved_side

    @property
    def rows(self) -> tuple[Row, ...]:
        """The rows in force, with what people changed in them."""
        return rows_of(self.record)


def session_report(material: Material) -> Document:
    """Return the report; whatever is not known is said to be not known."""
    record, pack = material.record, material.pack
    rows = material.rows
    found = stages(rows, record.bouts)
    involved = material.involved_side
    sections = (
        cautions_section(record.facts.cautions, pack),
        checks_section(rows, found, record.unplaced),
        screening_section(found[0].tested, involved, pack),
        accessory_section(found[0].tested, involved, pack),
        correlation_section(found[0].tested, involved, pack),
        _timeline(material, rows),
        bouts_section(record.bouts, found),
        notes_section(rows, record.edits, record.judgements),
    )
    return Document(
        title="Findings of one session",
        subtitle=pack.title,
        is_not=IS_NOT,
        facts=_facts(material, rows),
        sections=tuple(section for section in sections if section is not None),
        beside=_overview(found[0], material),
        notices=notices(record, rows, material.pack, material.pack_version),
        sign=_SIGN,
    )


def _facts(material: Material, rows: Sequence[Row]) -> tuple[Fact, ...]:
    record, facts = material.record, material.record.facts
    involved = material.involved_side
    given = " (given for this report)" if material.involved and not facts.involved_side else ""
    return (
        Fact("Patient code", isolated(facts.patient_code) if facts.patient_code else "not said"),
        Fact("Date", date_text(facts.started_at)),
        Fact("Examiner code", isolated(facts.examiner_code) if facts.examiner_code else "not said"),
        Fact("Involved side", f"{involved or 'not said'}{given}"),
        Fact("Rows", _counts(rows, record)),
        Fact("Recording", f"{isolated(record.recording.name)}, "
             f"{clock(record.recording.duration_s)}"),
        Fact("Pack", f"{isolated(record.pack.name)}, version {clean(record.pack.version)}"),
        Fact("Heard and seen by", _models(record)),
    )  # fmt: skip


def _counts(rows: Sequence[Row], record: SessionRecord) -> str:
    counts = Counter(row.finding.status for row in rows)
    told = f"{len(rows)}: {counts[RowStatus.LOGGED]} stand, {counts[RowStatus.CHECK]} to check"
    if counts[RowStatus.WITHDRAWN]:
        told += f", {counts[RowStatus.WITHDRAWN]} withdrawn"
    changed = len({edit.row for edit in record.edits})
    return f"{told}; {changed} changed by hand" if changed else told


def _models(record: SessionRecord) -> str:
    models = f", models {isolated(', '.join(record.models))}" if record.models else ""
    return f"{clean(record.engine)}{models}; spoken-findings {clean(record.tool_version)}"


def _timeline(material: Material, rows: tuple[Row, ...]) -> Section:
    record = material.record
    course = Course(
        rows, material.angles, record.bouts, material.pack.setup, record.recording.duration_s
    )
    told = described(course)
    picture = Picture(timeline(course), told, KEY)
    note = Text(
        "The angle is that of the upper arm to the trunk as the camera measures it, never the "
        "glenohumeral joint's own.",
        small=True,
    )
    checks = _position_checks(record)
    return Section("The session over time", (picture, note, *checks))


def _position_checks(record: SessionRecord) -> tuple[Text, ...]:
    told = []
    for check in record.position_checks:
        angle = check.reading.angle_deg
        words = "not seen" if angle is None else f"{angle:.0f}°"
        told.append(f"{clock(check.at_s)} {check.side} {words}")
    return (Text(f"Positions checked: {'; '.join(told)}.", small=True),) if told else ()


def _overview(stage: Stage, material: Material) -> Picture:
    sides = {side: _summary(stage.tested, side, material.pack) for side in SIDES}
    svg = overview(sides, material.pack.together.joint, material.involved_side)
    told = "; ".join(f"{side}: {', '.join(sides[side].lines)}" for side in SIDES)
    marks = " ● a direction is limited, ○ none is, dashed: not tested"
    key = f"Seen from the front.{marks if material.pack.together.joint else ''}"
    return Picture(svg, f"The body from the front. {told}.", key)


def _summary(tested: Mapping[What, OneTest], side: Side, pack: Pack) -> SideSummary:
    mine = [one for what, one in tested.items() if what.side == side]
    tests = [one for one in mine if not one.what.is_motion]
    motions = {one.what.name for one in mine if one.what.is_motion}
    limited = [one for one in tests if pack.together.limited in one.said("mobility").values]
    pains = [p for one in mine for p in one.said("pain").values if isinstance(p, int)]
    lines = [
        f"{len(tests)} directions tested" if tests else "no direction tested",
        f"{len(limited)} {pack.together.limited}" if tests and pack.together.limited else "",
        f"{len(motions)} motions screened" if motions else "no motion screened",
        f"pain up to {max(pains)}" if pains else "",
    ]
    to_check = any(one.to_check for one in mine)
    return SideSummary(len(tests), len(limited), to_check, tuple(filter(None, lines)))
