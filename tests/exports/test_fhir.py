"""Bundles against the models of FHIR R4 in an independent library, and Bundles that are broken."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
from fhirclient.models.bundle import Bundle
from hypothesis import given, settings
from leaving import leaving

from logger.core.errors import SessionError
from logger.core.events import Finding, RowStatus, SetupReading, SetupStatus
from logger.core.session import Edit, SessionFacts
from logger.exports.as_fhir import fhir_bundle, fhir_text
from logger.exports.codes import LOCAL, public_codes
from logger.exports.from_fhir import read_fhir
from logger.exports.sessions import ExportedRow, ExportedSession
from logger.files.session_json import PackFacts, RecordingFacts

START = "2026-11-25T10:00:00+01:00"
GLIDE = Finding(
    12.5,
    14.0,
    side="left",
    test="inferior_glide",
    mobility="hypomobile",
    mobility_score=2,
    pain=3,
    note="sore <b>here</b> & there",
    setup=SetupReading(SetupStatus.IN_RANGE, 45.0, 1.0, 12.0, "pose", 6.0),
    said="left inferior glide hypomobile",
)
RAISE = Finding(20, 22, side="right", motion="abduction", mode="passive", range_deg=120)


def session(*rows: Finding, pack: str = "glenohumeral", **facts: Any) -> ExportedSession:
    known = {"patient_code": "P1", "examiner_code": "E1", "started_at": START, **facts}
    return ExportedSession(
        "monday",
        "0.1.0",
        RecordingFacts("a.mp4", 90.0, True, True, None, None, None, None, 0, None),
        PackFacts(pack, "1"),
        SessionFacts(**known),
        tuple(ExportedRow(i, row, None, (), ()) for i, row in enumerate(rows, 1)),
        (),
        (),
    )


def observations(*sessions: ExportedSession) -> list[dict[str, Any]]:
    resources = [entry["resource"] for entry in fhir_bundle(sessions)["entry"]]
    found = [r for r in resources if r["resourceType"] == "Observation"]
    return [r for r in found if r["code"]["text"] != "session of spoken findings"]


@settings(max_examples=30)
@given(leaving())
def test_bundle_is_valid_r4_by_an_independent_library(made: ExportedSession) -> None:
    """The library fhirclient knows each element of R4 (4.0.1), its type and whether it is due."""
    text = fhir_text([made])
    bundle = Bundle(json.loads(text))
    assert bundle.as_json() == json.loads(text)
    assert len({entry.fullUrl for entry in bundle.entry}) == len(bundle.entry)


STRINGS = re.compile(r"[ \r\n\t\S]+", re.ASCII)
CODE = re.compile(r"[^\s]+(\s[^\s]+)*")
STATUSES = {"registered", "preliminary", "final", "amended", "corrected", "cancelled"} | {
    "entered-in-error",
    "unknown",
}


def elements(value: Any, name: str = "") -> Iterator[tuple[str, Any]]:
    yield name, value
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from elements(inner, key)
    elif isinstance(value, list):
        for inner in value:
            yield from elements(inner, name)


@settings(max_examples=30)
@given(leaving())
def test_bundle_keeps_what_the_library_does_not_check(made: ExportedSession) -> None:
    """Rules of the standard (from memory): no empty element, codes, the status, obs-7, ext-1."""
    bundle = json.loads(fhir_text([made]))
    for name, value in elements(bundle):
        assert value not in ("", [], {}), name
        if isinstance(value, str):
            assert STRINGS.fullmatch(value), name
        if name == "code" and isinstance(value, str):
            assert CODE.fullmatch(value), name
    for entry in bundle["entry"]:
        resource = entry["resource"]
        if resource["resourceType"] != "Observation":
            continue
        assert resource["status"] in STATUSES
        own = {c["code"] for c in resource["code"].get("coding", ())}
        for component in resource.get("component", ()):
            assert sum(name.startswith("value") for name in component) == 1
            if "valueQuantity" in resource:
                assert not own & {c["code"] for c in component["code"]["coding"]}


def test_finding_says_where_how_when_and_in_what_units() -> None:
    glide, raised = observations(session(GLIDE, RAISE))
    assert [c["code"] for c in glide["code"]["coding"]] == ["test.inferior_glide"]
    assert glide["bodySite"]["coding"][0] == {
        "system": "http://snomed.info/sct",
        "code": "91775009",
        "display": "Left shoulder",
    }
    assert glide["effectiveDateTime"] == "2026-11-25T10:00:12.500+01:00"
    assert "by hand" in glide["method"]["text"]
    assert raised["code"]["coding"][0] == {"system": "http://loinc.org", "code": "41382-3"}
    assert raised["method"]["text"] == "passive"
    assert raised["valueQuantity"] == {
        "value": 120,
        "unit": "deg",
        "system": "http://unitsofmeasure.org",
        "code": "deg",
    }
    parts = {c["code"]["text"]: c for c in glide["component"]}
    pain = parts["pain"]
    assert pain["valueInteger"] == 3
    assert pain["code"]["coding"][0]["code"] == "72514-3"
    assert parts["arm angle deg"]["valueQuantity"]["code"] == "deg"
    assert parts["start s"]["valueQuantity"]["code"] == "s"


def test_only_codes_with_a_source_are_public() -> None:
    """The arm's angle at a test is a position, not a range; other joints have no codes."""
    with_overpressure = replace(RAISE, mode="overpressure")
    sideways = replace(RAISE, motion="horizontal_adduction")
    for made in (session(with_overpressure), session(sideways), session(RAISE, pack="hip")):
        (found,) = observations(made)
        systems = {c["system"] for c in found["code"]["coding"]}
        assert systems == {LOCAL}
        assert found["code"]["text"]
    hip = observations(session(RAISE, pack="hip"))[0]
    assert [c["code"] for c in hip["bodySite"]["coding"]] == ["side.right"]
    (angle,) = (
        c for c in observations(session(GLIDE))[0]["component"]
        if c["code"]["text"] == "arm angle deg"
    )  # fmt: skip
    assert [c["system"] for c in angle["code"]["coding"]] == [LOCAL]
    codes = public_codes()
    every = [mode for motion in codes.motions["glenohumeral"].values() for mode in motion.values()]
    assert len(set(every)) == 10


def test_own_codes_are_explained_in_the_bundle() -> None:
    bundle = fhir_bundle([session(GLIDE, RAISE)])
    (system,) = (
        e["resource"] for e in bundle["entry"] if e["resource"]["resourceType"] == "CodeSystem"
    )
    explained = {c["code"] for c in system["concept"]}
    used = {
        v["code"] for name, v in elements(bundle["entry"])
        if name == "coding" and isinstance(v, dict) and v["system"] == LOCAL
    }  # fmt: skip
    assert explained == used


def test_note_with_html_cannot_become_any() -> None:
    """A note is Markdown to the standard."""
    (glide,) = observations(session(GLIDE))
    assert glide["note"][0]["text"] == "sore &lt;b&gt;here&lt;/b&gt; &amp; there"
    table = read_fhir(fhir_text([session(GLIDE)]), "x")
    assert table["note"].tolist() == [GLIDE.note]


def test_status_tells_what_is_to_check_changed_or_taken_back() -> None:
    edit = Edit(1, "pain", 3, 5, "E2", START)
    rows = {
        "final": (GLIDE, ()),
        "preliminary": (replace(GLIDE, status=RowStatus.CHECK), ()),
        "entered-in-error": (replace(GLIDE, status=RowStatus.WITHDRAWN), (edit,)),
        "amended": (replace(GLIDE, pain=5), (edit,)),
    }
    made = replace(
        session(),
        rows=tuple(ExportedRow(i, r, None, e, ()) for i, (r, e) in enumerate(rows.values(), 1)),
    )
    found = observations(made)
    assert [o["status"] for o in found] == list(rows)
    assert found[3]["note"][1]["text"] == "pain: 3 was changed to 5"
    assert found[3]["note"][1]["authorString"] == "E2"


def test_without_codes_and_start_nothing_is_made_up() -> None:
    bundle = fhir_bundle([session(GLIDE, patient_code=None, examiner_code=None, started_at=None)])
    kinds = {entry["resource"]["resourceType"] for entry in bundle["entry"]}
    assert kinds == {"Device", "Observation", "CodeSystem"}
    for entry in bundle["entry"]:
        assert not {"subject", "performer", "effectiveDateTime"} & set(entry["resource"])


def test_patient_of_two_sessions_is_one() -> None:
    one, two = session(GLIDE), replace(session(RAISE), session="tuesday")
    entries = fhir_bundle([one, two])["entry"]
    assert [e["resource"]["resourceType"] for e in entries].count("Patient") == 1


def broken(**changes: Any) -> str:
    """Return a Bundle with changes in the first finding."""
    bundle = fhir_bundle([session(GLIDE)])
    for entry in bundle["entry"]:
        if entry["resource"].get("valueQuantity") or entry["resource"].get("bodySite"):
            entry["resource"] |= changes
    return json.dumps(bundle)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (
            broken(subject={"reference": "urn:uuid:gone"}),
            "the subject of Observation urn:uuid:.* is urn:uuid:gone, which is not in it",
        ),
        (
            broken(derivedFrom=[{"reference": "Observation/7"}]),
            "the derivedFrom of Observation .* is Observation/7",
        ),
        (broken(status="perhaps"), "an element is missing or of another type"),
        (broken(component=[{"code": {}}, 3]), "an element is missing or of another type"),
        ('{"resourceType": "Bundle", "type": "collection"}', "no session of this tool"),
        ('{"resourceType": "Patient"}', "no FHIR Bundle"),
        ('{"resourceType": "Bundle", "entry": [{"fullUrl": "a"}]}', "an element is missing"),
    ],
)
def test_broken_bundle_is_refused_with_a_sentence(text: str, sentence: str) -> None:
    with pytest.raises(SessionError, match=sentence) as caught:
        read_fhir(text, "x.json")
    assert str(caught.value).startswith("x.json ")
    assert "\n" not in str(caught.value)


def test_finding_of_no_session_and_an_entry_twice_are_refused() -> None:
    bundle = fhir_bundle([session(GLIDE)])
    for entry in bundle["entry"]:
        entry["resource"].pop("hasMember", None)
    with pytest.raises(SessionError, match="belongs to no session"):
        read_fhir(json.dumps(bundle), "x")
    bundle = fhir_bundle([session(GLIDE)])
    bundle["entry"].append(bundle["entry"][0])
    with pytest.raises(SessionError, match="stands for two"):
        read_fhir(json.dumps(bundle), "x")
