"""Sessions as an HL7 FHIR R4 Bundle of Observations.

A finding is one Observation: what was tested is its code, the side its body site, the motion's mode
its method, the degrees its value, and everything else a component. An Observation of the session
names its findings as members. A finding still to check is preliminary, one that was changed
amended, a withdrawn one entered in error.
"""

from __future__ import annotations

import html
import json
import uuid
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields
from typing import Any, Final

import pandas as pd

from logger.core.clocks import moment_in, moment_of
from logger.core.events import RowStatus
from logger.core.session import Edit, Judgement
from logger.core.statements import SLOTS
from logger.exports.codes import LOCAL, UCUM, PublicCodes, concept, local_coding, public_codes
from logger.exports.sessions import (
    OF_SESSION,
    ExportedRow,
    ExportedSession,
    export_frame,
    of_session,
)
from logger.files.tables import FINDING_COLUMNS, column_type

Resource = dict[str, Any]
CODED: Final = (
    *(slot for slot in SLOTS if column_type(slot) == "string"),
    "setup",
    "arm_angle_source",
)
"""Columns whose values are names of a pack or of the tool."""
ELSEWHERE: Final = ("side", "test", "motion", "mode", "range_deg", "note", "status")
"""Columns that stand in an element of the Observation itself."""
COMPONENTS: Final = ("row", *(name for name in FINDING_COLUMNS if name not in ELSEWHERE))
IN_CODES: Final = ("test", "motion", "mode")
"""Columns that stand in the Observation's code and method."""
STATUSES: Final = {
    RowStatus.LOGGED: "final",
    RowStatus.CHECK: "preliminary",
    RowStatus.WITHDRAWN: "entered-in-error",
}
AMENDED: Final = "amended"
BY_HAND: Final = "passive accessory movement, tested by hand"
UNNAMED: Final = "finding without a test or motion"
_BASE: Final = uuid.UUID(LOCAL.removeprefix("urn:uuid:"))
_UNITS: Final = {"_s": "s", "_deg": "deg"}


def fhir_bundle(sessions: Sequence[ExportedSession]) -> Resource:
    """Return the Bundle, of type "collection"; the same sessions give the same Bundle."""
    codes = public_codes()
    entries: dict[str, Resource] = {}
    for session in sessions:
        for url, resource in _of_session(session, codes):
            entries.setdefault(url, resource)
    system = _code_system(entries.values())
    listed = [{"fullUrl": url, "resource": resource} for url, resource in entries.items()]
    return {
        "resourceType": "Bundle",
        "type": "collection",
        "entry": [*listed, {"fullUrl": _url("code system"), "resource": system}],
    }


def fhir_text(sessions: Sequence[ExportedSession]) -> str:
    """Return the Bundle as JSON."""
    return json.dumps(fhir_bundle(sessions), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _of_session(session: ExportedSession, codes: PublicCodes) -> Iterator[tuple[str, Resource]]:
    about = _about(session)
    yield from ((url, resource) for url, resource in about.values())
    refers = _references(about)
    frame = export_frame([session])
    members = []
    for row, line in zip(session.rows, frame.to_dict("records"), strict=True):
        cells = {str(name): None if pd.isna(cell) else cell for name, cell in line.items()}
        url = _url("row", session.session, row.row)
        members.append({"reference": url, "type": "Observation"})
        yield url, {**_finding(cells, row, session, codes), **refers}
    yield _url("session", session.session), {**_panel(session, members), **refers}


def _about(session: ExportedSession) -> dict[str, tuple[str, Resource]]:
    """Return who was tested, who tested and the program, each with its URL."""
    facts = session.facts
    people = {
        "subject": ("Patient", facts.patient_code),
        "performer": ("Practitioner", facts.examiner_code),
    }
    found = {
        element: (_url(kind, _text(code)), _coded_person(kind, _text(code)))
        for element, (kind, code) in people.items()
        if code
    }
    version = session.tool_version
    program = {
        "resourceType": "Device",
        "deviceName": [{"name": "spoken-findings", "type": "model-name"}],
        **({"version": [{"value": _text(version)}]} if version else {}),
    }
    return {**found, "device": (_url("Device", version), program)}


def _coded_person(kind: str, code: str) -> Resource:
    return {"resourceType": kind, "identifier": [{"system": LOCAL, "value": code}]}


def _references(about: Mapping[str, tuple[str, Resource]]) -> Resource:
    found: Resource = {}
    for element, (url, resource) in about.items():
        reference = {"reference": url, "type": resource["resourceType"]}
        found[element] = [reference] if element == "performer" else reference
    return found


def _panel(session: ExportedSession, members: Sequence[Resource]) -> Resource:
    cells = of_session(session)
    components = [_component(name, _text(cells[name] or "")) for name in OF_SESSION if cells[name]]
    start = moment_of(session.facts.started_at)
    return {
        "resourceType": "Observation",
        "status": "final",
        "code": concept("session of spoken findings", local_coding("kind", "session")),
        **({"effectiveDateTime": start.isoformat()} if start else {}),
        **({"hasMember": list(members)} if members else {}),
        **({"component": components} if components else {}),
    }


def _finding(
    cells: Mapping[str, Any], row: ExportedRow, session: ExportedSession, codes: PublicCodes
) -> Resource:
    moment = moment_in(session.facts, row.in_force.start_s)
    status = STATUSES[row.in_force.status]
    extension = [*_extensions("edit", row.edits), *_extensions("judgement", row.judgements)]
    notes = [*_own_note(cells["note"]), *map(_edit_note, row.edits)]
    return {
        "resourceType": "Observation",
        **({"extension": extension} if extension else {}),
        "status": AMENDED if row.edits and status == "final" else status,
        "code": _tested(cells, session.pack.name, codes),
        **({"effectiveDateTime": moment.isoformat(timespec="milliseconds")} if moment else {}),
        **_quantity_of_range(cells["range_deg"]),
        **({"note": notes} if notes else {}),
        **_body_site(cells["side"], session.pack.name, codes),
        **_method(cells),
        "component": [_component(name, cells[name], codes) for name in _in_components(cells)],
    }


def _in_components(cells: Mapping[str, Any]) -> Iterator[str]:
    """Yield the columns that stand in components, with those whose value makes no code."""
    for name in COMPONENTS:
        if cells[name] is not None:
            yield name
    for name in IN_CODES:
        if cells[name] is not None and not local_coding(name, cells[name]):
            yield name


def _tested(cells: Mapping[str, Any], pack: str, codes: PublicCodes) -> Resource:
    test, motion, mode = cells["test"], cells["motion"], cells["mode"]
    if test is None and motion is None:
        return concept(UNNAMED, local_coding("kind", "unnamed"))
    text = " ".join(filter(None, (test, mode, motion))).replace("_", " ")
    public = [] if motion is None or test else codes.of_motion(pack, motion, mode)
    own = [
        coding
        for what in ("test", "motion")
        if cells[what] is not None
        for coding in local_coding(what, _text(cells[what]))
    ]
    return concept(_text(text), public, own)


def _quantity_of_range(range_deg: int | None) -> Resource:
    return {} if range_deg is None else {"valueQuantity": _quantity(int(range_deg), "deg")}


def _body_site(side: str | None, pack: str, codes: PublicCodes) -> Resource:
    if side is None:
        return {}
    return {"bodySite": concept(_text(side), codes.of_side(pack, side), local_coding("side", side))}


def _method(cells: Mapping[str, Any]) -> Resource:
    mode = cells["mode"]
    if mode is not None:
        return {"method": concept(_text(mode), local_coding("mode", mode))}
    return {"method": concept(BY_HAND, local_coding("kind", "by_hand"))} if cells["test"] else {}


def _component(name: str, cell: Any, codes: PublicCodes | None = None) -> Resource:
    public = codes.of_slot(name) if codes else []
    code = concept(name.replace("_", " "), public, local_coding("column", name))
    kind = column_type(name)
    if kind == "Int64":
        return {"code": code, "valueInteger": int(cell)}
    if kind == "Float64":
        return {"code": code, "valueQuantity": _quantity(float(cell), _unit(name))}
    if name in CODED:
        value = concept(_text(cell), local_coding(name, cell))
        return {"code": code, "valueCodeableConcept": value}
    return {"code": code, "valueString": _text(cell)}


def _unit(name: str) -> str:
    return next((unit for ending, unit in _UNITS.items() if name.endswith(ending)), "1")


def _quantity(value: float, unit: str) -> Resource:
    return {"value": value, "unit": unit, "system": UCUM, "code": unit}


def _own_note(note: str | None) -> list[Resource]:
    # The standard takes a note for Markdown, in which HTML could do something.
    return [] if note is None else [{"text": html.escape(_text(note), quote=False)}]


def _edit_note(edit: Edit) -> Resource:
    before, after = ("not said" if v is None else v for v in (edit.before, edit.after))
    text = html.escape(_text(f"{edit.slot}: {before} was changed to {after}"), quote=False)
    made = moment_of(edit.at)
    return {
        "authorString": _text(edit.by or "not named"),
        **({"time": made.isoformat()} if made else {}),
        "text": text,
    }


def _extensions(name: str, changes: Sequence[Edit | Judgement]) -> Iterator[Resource]:
    """Yield each change as it is, for whoever reads the Bundle back."""
    for change in changes:
        parts = []
        for field in fields(change):
            value = getattr(change, field.name)
            if isinstance(value, int):
                parts.append({"url": field.name, "valueInteger": value})
            elif value:
                parts.append({"url": field.name, "valueString": _text(value)})
        yield {"url": f"{LOCAL}#{name}", "extension": parts}


def _code_system(resources: Any) -> Resource:
    """Return what the tool's own codes mean, of those that occur."""
    found: dict[str, str] = {}
    for resource in resources:
        for coding in _codings(resource):
            if coding["system"] == LOCAL:
                found[coding["code"]] = coding["display"]
    return {
        "resourceType": "CodeSystem",
        "url": LOCAL,
        "name": "SpokenFindings",
        "status": "active",
        "content": "fragment",
        "concept": [{"code": code, "display": found[code]} for code in sorted(found)],
    }


def _codings(value: Any) -> Iterator[Mapping[str, str]]:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from inner if key == "coding" else _codings(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _codings(inner)


def _text(text: str) -> str:
    """Return what the standard takes for a string: no control characters but tab and line feed."""
    return "".join(c if c >= " " or c in "\t\n\r" else "\ufffd" for c in str(text))


def _url(*parts: object) -> str:
    return f"urn:uuid:{uuid.uuid5(_BASE, json.dumps([str(part) for part in parts]))}"
