"""Codes for what is exported: public ones where there is a source, otherwise the tool's own."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from typing import Any, Final

LOCAL: Final = "urn:uuid:1d8f4d3e-6f5c-5b0f-9a35-0c9c4f2b7a61"
"""The tool's own code system; its codes are "what.value", such as "test.inferior_glide"."""
UCUM: Final = "http://unitsofmeasure.org"
_CODE: Final = re.compile(r"[^\s]+(?:\s[^\s]+)*")
"""What the standard takes for a code."""


@dataclass(frozen=True, slots=True)
class PublicCodes:
    """The codes of codes.toml."""

    systems: Mapping[str, str]
    slots: Mapping[str, Mapping[str, str]]
    sides: Mapping[str, Mapping[str, Mapping[str, str]]]
    motions: Mapping[str, Mapping[str, Mapping[str, str]]]

    def of_slot(self, slot: str) -> list[dict[str, str]]:
        """Return the public code for what a slot holds, in a list; none gives an empty one."""
        return self._coding(self.slots.get(slot))

    def of_side(self, pack: str, side: str) -> list[dict[str, str]]:
        """Return the public code of the body part on a side."""
        return self._coding(self.sides.get(pack, {}).get(side))

    def of_motion(self, pack: str, motion: str, mode: str | None) -> list[dict[str, str]]:
        """Return the public code for the range of a motion, which only these modes have."""
        code = self.motions.get(pack, {}).get(motion, {}).get(mode or "")
        return [] if code is None else [{"system": self.systems["loinc"], "code": code}]

    def _coding(self, entry: Mapping[str, str] | None) -> list[dict[str, str]]:
        if entry is None:
            return []
        system = self.systems[entry["system"]]
        return [{"system": system, "code": entry["code"], "display": entry["display"]}]


def public_codes() -> PublicCodes:
    """Return the codes that come with the program."""
    text = resources.files("logger.exports").joinpath("codes.toml").read_text(encoding="utf-8")
    data = tomllib.loads(text)
    return PublicCodes(data["systems"], data["slots"], data["sides"], data["motions"])


def local_coding(what: str, value: str) -> list[dict[str, str]]:
    """Return the tool's own code in a list; none for a value that makes no code."""
    if not _CODE.fullmatch(value) or not value.isprintable():
        return []
    return [{"system": LOCAL, "code": f"{what}.{value}", "display": value.replace("_", " ")}]


def concept(text: str, *codings: list[dict[str, str]]) -> dict[str, Any]:
    """Return a CodeableConcept; the text says it all where there is no code."""
    coding = [one for some in codings for one in some]
    return {**({"coding": coding} if coding else {}), "text": text}


def value_of(given: Mapping[str, Any] | None, what: str) -> str | None:
    """Return the value of a CodeableConcept whose own code starts with `what`, else its text."""
    if given is None:
        return None
    for coding in given.get("coding", ()):
        code = str(coding.get("code", ""))
        if coding.get("system") == LOCAL and code.startswith(f"{what}."):
            return code.removeprefix(f"{what}.")
    text = given.get("text")
    return None if text is None else str(text)
