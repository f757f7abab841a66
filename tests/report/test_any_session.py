"""Whatever a session's file may hold, the report is made of it or refused with a sentence."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from invented import PACK, facts, record, row

from logger.core.errors import SessionError
from logger.core.events import ArmAngle, Finding, Side
from logger.core.session import Bout, Edit
from logger.files.session_json import SessionRecord
from logger.report.page import html_page
from logger.report.paper import pdf_pages
from logger.report.session_report import Material, session_report

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "files"))

from records import TEXT, of_type, records

_SLOW = [HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much]


def finding() -> st.SearchStrategy[Finding]:
    """Return rows of the pack's tests and motions with any values, times and texts."""
    sides: list[Side | None] = ["left", "right", None]
    return st.builds(
        row,
        st.floats(-10, 700),
        st.sampled_from(sides),
        st.sampled_from([*PACK.setup, "flexion", "abduction", "external_rotation", "odd"]),
        mode=st.sampled_from(["active", "passive", None]),
        range_deg=st.none() | st.integers(-5, 400),
        mobility_score=st.none() | st.integers(0, 6),
        pain=st.none() | st.integers(-3, 30),
        end_feel=st.none() | TEXT,
        note=st.none() | TEXT,
        reasons=st.lists(TEXT, max_size=1).map(tuple),
        arm_deg=st.none() | st.floats(-20, 400),
        comparison=st.sampled_from(["same_as_left", "against_other_side", None]),
    )


def made(session: SessionRecord, angles: Sequence[ArmAngle] = ()) -> str:
    """Return the page; every drawing in it is whole."""
    document = session_report(Material(session, PACK, "x", tuple(angles)))
    text = html_page(document)
    for part in text.split("<svg")[1:]:
        ET.fromstring(f"<svg{part.partition('</svg>')[0]}</svg>")  # noqa: S314 - our own drawing
    return text


@settings(max_examples=60, suppress_health_check=_SLOW)
@given(
    st.lists(finding(), max_size=12),
    st.lists(of_type(Bout), max_size=3),
    st.lists(of_type(ArmAngle), max_size=6),
    st.floats(0, 700),
)
def test_any_rows(
    rows: list[Finding], bouts: list[Bout], angles: list[ArmAngle], duration_s: float
) -> None:
    session = record(rows, bouts=tuple(bouts), facts=facts(cautions=()))
    timed = replace(session, recording=replace(session.recording, duration_s=duration_s))
    text = made(timed, angles)
    for number, one in enumerate(timed.findings, start=1):
        named = f"[{number}" in text or f", {number}" in text or f"Row {number}," in text
        assert named, (number, one)


@settings(max_examples=60, suppress_health_check=_SLOW)
@given(records())
def test_any_file(session: SessionRecord) -> None:
    try:
        made(session)
    except SessionError as error:
        assert "edits" in str(error)  # noqa: PT017 - most are refused for none


@settings(max_examples=10, suppress_health_check=_SLOW)
@given(st.lists(finding(), max_size=6))
def test_any_rows_on_paper(rows: list[Finding]) -> None:
    document = session_report(Material(record(rows), PACK, "x"))
    assert pdf_pages(document).startswith(b"%PDF-")


@pytest.mark.parametrize(
    ("slot", "after"), [("colour", "red"), ("status", "perhaps"), ("start_s", 3)]
)
def test_a_change_that_cannot_be_is_refused_with_a_sentence(slot: str, after: str | int) -> None:
    edit = Edit(1, slot, None, after, "EX-1", "2026-03-03T08:00:00+01:00")
    with pytest.raises(SessionError, match="Mend the edits"):
        made(record([row(5, "right", "inferior_glide")], edits=(edit,)))
