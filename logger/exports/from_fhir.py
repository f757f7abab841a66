"""Reads the table back from a Bundle that `as_fhir` wrote."""

from __future__ import annotations

import html
import json
from collections.abc import Iterator, Mapping
from dataclasses import fields
from typing import Any

import pandas as pd

from logger.core.errors import SessionError
from logger.core.session import Edit, Judgement
from logger.exports.as_fhir import (
    AMENDED,
    CODED,
    COMPONENTS,
    IN_CODES,
    STATUSES,
    Resource,
)
from logger.exports.codes import LOCAL, value_of
from logger.exports.sessions import EXPORT_COLUMNS, OF_SESSION, as_text
from logger.files.tables import column_type, table_frame


def read_fhir(text: str, shown: str) -> pd.DataFrame:
    """Return the table of a Bundle, with the columns of `EXPORT_COLUMNS`.

    Raises:
        SessionError: if it is no Bundle of this tool, or refers to what is not in it; `shown`
            names the file.

    """
    try:
        bundle = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise SessionError(f"{shown} is no JSON file, or is cut off: {error}.") from error
    if not isinstance(bundle, dict) or bundle.get("resourceType") != "Bundle":
        raise SessionError(f"{shown} is no FHIR Bundle: give one of `export --as fhir`.")
    try:
        resources = _resources(bundle)
        _check_references(resources)
        lines = list(_lines(resources))
    except (AttributeError, KeyError, TypeError, IndexError, ValueError) as error:
        # A message of ours is a sentence; the name of a key alone would be none.
        why = (
            str(error) if type(error) is ValueError else "an element is missing or of another type"
        )
        raise SessionError(f"{shown} is no Bundle that can be used: {why}.") from error
    return table_frame(lines, EXPORT_COLUMNS)


def _resources(bundle: Mapping[str, Any]) -> dict[str, Resource]:
    found: dict[str, Resource] = {}
    for entry in bundle.get("entry", ()):
        if entry["fullUrl"] in found:
            raise ValueError(f"{entry['fullUrl']} stands for two of its entries")
        found[entry["fullUrl"]] = entry["resource"]
    return found


def _check_references(resources: Mapping[str, Resource]) -> None:
    for url, resource in resources.items():
        for element, target in _references(resource):
            if target not in resources:
                raise ValueError(
                    f"the {element} of {resource['resourceType']} {url} is {target}, which is not "
                    "in it: export the session anew"
                )


def _references(value: Any, element: str = "") -> Iterator[tuple[str, str]]:
    if isinstance(value, dict):
        if "reference" in value:
            yield element, value["reference"]
        for name, inner in value.items():
            yield from _references(inner, name)
    elif isinstance(value, list):
        for inner in value:
            yield from _references(inner, element)


def _lines(resources: Mapping[str, Resource]) -> Iterator[dict[str, object]]:
    sessions = [r for r in resources.values() if _kind(r) == "session"]
    if not sessions:
        raise ValueError("it holds no session of this tool")
    members = set()
    for session in sessions:
        about = {name: cell for name, cell in _components(session) if name in OF_SESSION}
        for member in session.get("hasMember", ()):
            members.add(member["reference"])
            finding = resources[member["reference"]]
            yield {**dict.fromkeys(EXPORT_COLUMNS), **about, **_finding(finding)}
    for url, resource in resources.items():
        is_finding = resource["resourceType"] == "Observation" and _kind(resource) != "session"
        if is_finding and url not in members:
            raise ValueError(f"the Observation {url} belongs to no session in it")


def _kind(resource: Resource) -> str | None:
    if resource["resourceType"] != "Observation":
        return None
    return value_of({**resource["code"], "text": None}, "kind")


def _finding(observation: Resource) -> dict[str, object]:
    known = (*COMPONENTS, *IN_CODES)
    cells: dict[str, object] = {n: c for n, c in _components(observation) if n in known}
    for what in IN_CODES:
        element = observation.get("method" if what == "mode" else "code", {})
        cells.setdefault(what, value_of({**element, "text": None}, what))
    cells["side"] = value_of(observation.get("bodySite"), "side")
    if "valueQuantity" in observation:
        cells["range_deg"] = observation["valueQuantity"]["value"]
    own = [note["text"] for note in observation.get("note", ()) if "authorString" not in note]
    cells["note"] = html.unescape(own[0]) if own else None
    cells["status"] = _status(observation["status"])
    edits = [Edit(**values) for values in _changes(observation, "edit", Edit)]
    judged = [Judgement(**values) for values in _changes(observation, "judgement", Judgement)]
    return {**cells, "edits": as_text(edits), "judgements": as_text(judged)}


def _status(given: str) -> str:
    known = {fhir: status.value for status, fhir in STATUSES.items()}
    return {**known, AMENDED: "logged"}[given]


def _components(observation: Resource) -> Iterator[tuple[str, object]]:
    for component in observation.get("component", ()):
        name = value_of(component["code"], "column")
        if name is not None:
            yield name, _cell(name, component)


def _cell(name: str, component: Resource) -> object:
    kind = column_type(name)
    if kind == "Int64":
        return component["valueInteger"]
    if kind == "Float64":
        return component["valueQuantity"]["value"]
    if name in CODED:
        return value_of(component["valueCodeableConcept"], name)
    return component["valueString"]


def _changes(observation: Resource, name: str, kind: type[Any]) -> Iterator[dict[str, Any]]:
    for extension in observation.get("extension", ()):
        if extension["url"] == f"{LOCAL}#{name}":
            values: dict[str, Any] = {
                field.name: "" if field.type == "str" else None for field in fields(kind)
            }
            for part in extension["extension"]:
                values[part["url"]] = part.get("valueInteger", part.get("valueString"))
            yield values
