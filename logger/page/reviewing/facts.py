"""What the review's page is sent: plain values, with the words to show them by."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from logger.core.events import SIDES, ArmAngle, Finding
from logger.core.session import Edit, Judgement, KeptRow
from logger.core.statements import SLOTS
from logger.core.words import status_text
from logger.files.session_json import SessionRecord
from logger.grammar.allowed import choices_of
from logger.grammar.pack import Pack
from logger.review.class_table import REVIEWED, TO_CHECK, ClassLine, ClassTable
from logger.review.scoring import Score, total
from logger.review.store import judgements_in_force, kept_rows, to_check

Plain = dict[str, Any]
MOST_POINTS: Final = 3000
"""Of a trace: more than a screen has dots."""


@dataclass(frozen=True, slots=True)
class Opened:
    """A session with everything that is shown beside it."""

    name: str
    record: SessionRecord
    pack: Pack
    angles: Sequence[ArmAngle]
    scores: Sequence[Score]
    media: Plain
    """`url`, `kind` and `note` of what can be played."""


def class_facts(table: ClassTable, reviewer: str) -> Plain:
    """Return the list of sessions."""
    return {
        "reviewer": reviewer,
        "lines": [_line(line) for line in table.lines],
        "problems": list(table.problems),
    }


def _line(line: ClassLine) -> Plain:
    return {
        "session": line.session,
        "examiner": line.examiner_code or "",
        "started_at": line.started_at or "",
        "state": line.state,
        "rows": line.rows,
        "to_check": line.to_check,
        "edits": line.edits,
        "judged": line.judged,
        "judged_alike": line.judged_alike,
        "met": sum(score.outcome == "met" for score in line.scores),
        "criteria": len(line.scores),
        "sheet": total(line.scores),
    }


def session_facts(opened: Opened) -> Plain:
    """Return one session with its rows, trace, sheet and recording."""
    record, rows = opened.record, kept_rows(opened.record)
    reviewed = bool(record.reviews) and not to_check(rows)
    return {
        "session": opened.name,
        "state": REVIEWED if reviewed else TO_CHECK,
        "facts": {
            "examiner": record.facts.examiner_code,
            "patient": record.facts.patient_code,
            "started_at": record.facts.started_at,
            "involved_side": record.facts.involved_side,
        },
        "pack": opened.pack.title,
        "slots": [_slot(opened.pack, slot) for slot in SLOTS if slot in opened.pack.slots],
        "rows": [_row(row, record, opened.pack) for row in rows],
        "duration_s": record.recording.duration_s,
        "trace": {side: _trace(opened.angles, side) for side in SIDES},
        "scores": [
            {"text": s.text, "outcome": s.outcome, "detail": s.detail} for s in opened.scores
        ],
        "total": total(opened.scores),
        "reviews": [{"by": review.by, "at": review.at} for review in record.reviews],
        "warnings": list(record.warnings),
        "media": opened.media,
    }


def _slot(pack: Pack, name: str) -> Plain:
    return {
        "name": name,
        "label": name.removesuffix("_deg").replace("_", " "),
        "unit": "degrees" if name.endswith("_deg") else "",
        "choices": [str(choice) for choice in choices_of(pack, name)],
    }


def _row(row: KeptRow, record: SessionRecord, pack: Pack) -> Plain:
    finding = row.finding
    window = pack.setup.get(finding.test or "")
    return {
        "number": row.number,
        "start_s": finding.start_s,
        "end_s": finding.end_s,
        "what": what_was_found(finding),
        "said": finding.said,
        "status": finding.status.value,
        "settled": row.settled,
        "reasons": list(row.heard.reasons),
        "cautions": list(finding.cautions),
        "note": finding.note or "",
        "setup": _setup(finding),
        "setup_at_s": finding.setup.at_s,
        "window": [window.low_deg, window.high_deg] if window else None,
        "side": finding.side,
        "heard": {slot: _text(getattr(row.heard, slot)) for slot in SLOTS},
        "value": {slot: _text(getattr(finding, slot)) for slot in SLOTS},
        "edits": [_change(edit) for edit in row.edits],
        "judged": [_judged(j) for j in judgements_in_force(record) if j.row == row.number],
    }


def what_was_found(finding: Finding) -> str:
    """Return a row in a few words: "right, inferior glide, grade 2, hypomobile, pain 3"."""
    words = [finding.side or "side?", finding.test or finding.motion or "", finding.mode or ""]
    if finding.range_deg is not None:
        words.append(f"{finding.range_deg} degrees")
    if finding.grade:
        words.append(f"grade {finding.grade}")
    words.append(finding.mobility or "")
    if finding.mobility_score is not None:
        words.append(f"mobility {finding.mobility_score} of 6")
    if finding.pain is not None:
        words.append(f"pain {finding.pain} of 10")
    if finding.end_feel:
        words.append(f"{finding.end_feel} end feel")
    if finding.symptoms:
        words.append(f"symptoms {finding.symptoms}")
    words.append(finding.comparison or "")
    return ", ".join(word.replace("_", " ") for word in words if word)


def _setup(finding: Finding) -> str:
    setup = finding.setup
    words = status_text(setup.status)
    return words if setup.angle_deg is None else f"{setup.angle_deg:.0f}°, {words}"


def _text(value: object) -> str:
    return "" if value is None else str(value)


def _change(edit: Edit) -> Plain:
    return {
        "slot": edit.slot.replace("_", " "),
        "before": _text(edit.before),
        "after": _text(edit.after),
        "by": edit.by,
        "at": edit.at,
    }


def _judged(judgement: Judgement) -> Plain:
    return {
        "slot": judgement.slot,
        "value": _text(judgement.value),
        "by": judgement.by,
        "at": judgement.at,
    }


def _trace(angles: Sequence[ArmAngle], side: str) -> list[list[float | None]]:
    """Return time and angle of the samples that count; None where the arm was not seen."""
    own = [sample for sample in angles if sample.side == side]
    step = max(1, len(own) // MOST_POINTS)
    return [
        [round(sample.time_s, 2), round(sample.angle_deg, 1)]
        if sample.visible and sample.angle_deg is not None
        else [round(sample.time_s, 2), None]
        for sample in own[::step]
    ]
