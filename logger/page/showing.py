"""What is sent to the page: a session's state as plain values, with the words to show it by."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from logger.core.events import Finding, PositionCheck, Side, Utterance
from logger.core.session import Bout, Edit, KeptRow, SessionFacts
from logger.core.statements import SLOTS, SetupWindow
from logger.grammar.allowed import choices_of
from logger.grammar.pack import NumberSlot, Pack
from logger.live.state import Gauge, LastHeard, State
from logger.page.looking import Sighting

Plain = dict[str, Any]

TEXT_SLOTS: Final = (*SLOTS, "note")
_DRAWN: Final = ("shoulder", "elbow", "wrist", "hip")


def spaced(key: str | None) -> str:
    """Return a key of the pack as words."""
    return (key or "").replace("_", " ")


def pack_facts(pack: Pack) -> Plain:
    """Return what the page shows of a pack before and after testing."""
    return {
        "name": pack.name,
        "title": pack.title,
        "cautions": [
            {"text": c.text, "urgency": c.urgency, "source": c.source} for c in pack.cautions
        ],
        "tests": [
            {"key": test, "title": spaced(test), "window": _window(window)}
            for test, window in pack.setup.items()
        ],
        "slots": {name: _slot(pack, name) for name in TEXT_SLOTS},
    }


def _slot(pack: Pack, name: str) -> Plain:
    """Return what a slot may hold, for the editor of a cell."""
    slot = pack.slots.get(name)
    if isinstance(slot, NumberSlot) and not slot.as_text:
        return {"kind": "number", "low": slot.low, "high": slot.high}
    if slot is not None:
        return {"kind": "word", "values": list(choices_of(pack, name))}
    return {"kind": "text" if name == "note" else "none"}


def state_facts(state: State, facts: SessionFacts, pack: Pack) -> Plain:
    """Return the whole state but the gauge, which is sent with every picture."""
    return {
        "kind": "state",
        "phase": state.phase,
        "patient_code": facts.patient_code,
        "started_at": facts.started_at,
        "involved_side": facts.involved_side,
        "side": state.side,
        "side_doubts": list(state.side_doubts),
        "test": spaced(state.test),
        "window": _window(state.window),
        "open_row": _row(state.open_row) if state.open_row else None,
        "rows": [_row(row) for row in state.rows],
        "bouts": [_bout(bout) for bout in state.bouts],
        "running_bout": _bout(state.running_bout) if state.running_bout else None,
        "position_checks": [_check(check) for check in state.position_checks],
        "unplaced": [_unplaced(item) for item in state.unplaced],
        "present": [
            {"text": answer.text, "reason": answer.reason}
            for answer in state.cautions
            if answer.present
        ],
        "warnings": list(state.warnings),
        "pack": pack.name,
    }


def gauge_facts(
    gauge: Gauge, window: SetupWindow | None, side: Side | None, sighting: Sighting
) -> Plain:
    """Return the arm's angle for the eyes, with the body in the picture that was looked at."""
    return {
        "kind": "gauge",
        "side": side,
        "angle_deg": gauge.angle_deg,
        "faint_deg": gauge.angle.angle_deg if gauge.angle else None,
        "fit": gauge.status.value,
        "words": gauge.words,
        "steady_s": round(gauge.steady_s, 1),
        "window": _window(window),
    } | sighting_facts(sighting)


def sighting_facts(sighting: Sighting) -> Plain:
    """Return what was seen in a picture, joints as shares of its width and height."""
    look = sighting.look
    wide, high = sighting.width_px, sighting.height_px
    points = {} if look.body is None else look.body.points
    return {
        "page_ms": sighting.shot.page_ms,
        "found": look.found,
        "advice": look.advice,
        "arms": [
            {
                "side": arm.side,
                "angle_deg": None if arm.angle_deg is None else round(arm.angle_deg, 1),
                "visible": arm.visible,
                "reason": arm.reason,
            }
            for arm in look.angles
        ],
        "shape": [wide, high],
        "body": {
            name: [round(x / wide, 4), round(y / high, 4)]
            for name, (x, y) in points.items()
            if name.split("_")[-1] in _DRAWN
        },
    }


def heard_facts(heard: LastHeard, say: str) -> Plain:
    """Return what was heard last; `say` is what to read back, empty for nothing."""
    return {
        "kind": "heard",
        "what": heard.kind,
        "text": heard.text,
        "reason": heard.reason,
        "row": heard.row,
        "at_s": heard.at_s,
        "say": say,
    }


def _window(window: SetupWindow | None) -> list[float] | None:
    return None if window is None else [window.low_deg, window.high_deg]


def _row(row: KeptRow) -> Plain:
    finding, setup = row.finding, row.finding.setup
    return {
        "number": row.number,
        "start_s": round(finding.start_s, 1),
        "values": {slot: getattr(finding, slot) for slot in TEXT_SLOTS},
        "what": spaced(finding.test or finding.motion),
        "status": finding.status.value,
        "reasons": list(finding.reasons),
        "cautions": list(finding.cautions),
        "settled": row.settled,
        "said": finding.said,
        "setup": {
            "angle_deg": None if setup.angle_deg is None else round(setup.angle_deg),
            "status": setup.status.value,
            "words": setup_words(finding),
        },
        "edits": _first_values(row.edits),
    }


def _first_values(edits: Sequence[Edit]) -> Mapping[str, Any]:
    """Return for each slot that was changed what was heard for it."""
    first: dict[str, Any] = {}
    for edit in edits:
        first.setdefault(edit.slot, edit.before)
    return first


def setup_words(finding: Finding) -> str:
    """Return the setup of a row in words: "61 degrees, in range"."""
    setup = finding.setup
    status = spaced(setup.status.value)
    if setup.status.value == "not_required":
        status = "none asked for"
    return status if setup.angle_deg is None else f"{setup.angle_deg:.0f}\u00b0, {status}"


def _bout(bout: Bout) -> Plain:
    return {
        "start_s": round(bout.start_s, 1),
        "end_s": None if bout.end_s is None else round(bout.end_s, 1),
        "side": bout.side,
        "test": spaced(bout.test),
        "grade": bout.grade,
        "reasons": list(bout.reasons),
    }


def _check(check: PositionCheck) -> Plain:
    angle = check.reading.angle_deg
    words = "not seen" if angle is None else f"{angle:.0f}\u00b0"
    return {"at_s": round(check.at_s, 1), "side": check.side, "words": words}


def _unplaced(item: tuple[Utterance, str]) -> Plain:
    utterance, reason = item
    return {"at_s": round(utterance.start_s, 1), "text": utterance.text, "reason": reason}
