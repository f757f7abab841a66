"""The report's content, in words."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from invented import PACK, facts, first_session, record, row, trace

from logger.core.events import Finding, PositionCheck, RowStatus, SetupReading, SetupStatus, Side
from logger.core.session import Bout, Edit, Judgement, SessionFacts
from logger.files.session_json import SessionRecord
from logger.grammar.loading import load_pack
from logger.report.changing import Verdict
from logger.report.comparison import compare
from logger.report.document import Document, Items, Picture, Table, Text
from logger.report.occasions import Occasion
from logger.report.session_report import Material, session_report

SVG = "{http://www.w3.org/2000/svg}"


def report(session: SessionRecord, involved: Side | None = None) -> Document:
    version = session.pack.version
    return session_report(Material(session, PACK, version, trace(session), involved))


def words(document: Document, title: str) -> str:
    """Return everything a section says, one line a line."""
    (section,) = [part for part in document.sections if part.title.startswith(title)]
    told: list[str] = []
    for block in section.blocks:
        if isinstance(block, Text):
            told.append(block.words)
        elif isinstance(block, Items):
            told += [f"{item.label} {item.words} {item.free}".strip() for item in block.items]
        elif isinstance(block, Table):
            told.append(" | ".join(block.head))
            told += [" | ".join(f"{c.first} {c.second}".strip() for c in line)
                     for line in block.lines]  # fmt: skip
        else:
            told.append(block.desc)
    return "\n".join(told)


def of(*findings: Finding, **changed: Any) -> Document:
    return report(record(findings, **changed))


def test_an_ordinary_session() -> None:
    document = report(first_session())
    tests = words(document, "Accessory")
    assert "Direction | Involved: right | Other side: left | Difference" in tests
    assert (
        "inferior glide | hypomobile, 1 of 6, pain 6, grade 3  [17] capsular end feel; "
        "symptoms reproduced; setup confirmed, 52° | normal, 3 of 6, pain 0  [18] firm end feel; "
        "setup confirmed, 55° | less mobile \N{MINUS SIGN}2 on the scale"
    ) in tests
    assert "setup not confirmed, 74° (window" in tests
    assert "setup borderline, 58° (window" in tests
    assert "setup not seen" in tests
    assert "[21?]" in tests
    screening = words(document, "Motions")
    assert "flexion, active | 120°  [1] | 165°  [2] | \N{MINUS SIGN}45°" in screening
    assert "\N{MINUS SIGN}10°, within error" in screening
    checks = words(document, "Still to check")
    assert "Row 21, 3:50.0: right anterior glide. pain: 5 or 9?" in checks
    assert "in no row: (no row follows it) other side" in checks
    assert "Withdrawn and not counted: 23." in checks
    assert "4:22.0: right inferior glide, grade 3, 30 s" in words(document, "Bouts")
    assert "pain 6" in words(document, "Bouts")
    assert "guards at the start" in words(document, "Notes")
    assert not document.notices
    assert "no diagnosis" in document.is_not
    assert "no medical device" in document.is_not


def test_correlation_stands_beside_its_doubt() -> None:
    told = words(report(first_session()), "Read together")
    assert "right inferior glide: limited; abduction agrees (100° against 170°, passive)" in told
    assert "horizontal adduction not screened" in told
    assert "right anterior glide: limited (?); external rotation to check" in told
    assert "right lateral distraction: limited; taught for the joint as a whole" in told
    assert (
        "Capsular pattern, right (external rotation > abduction > internal rotation): met" in told
    )
    assert "external rotation 59 %, abduction 41 %, internal rotation 31 %" in told
    for source in ("Johnson 2007", "Baeyens 2000", "Brandt 2007", "Neumann 2012", "Rundquist"):
        assert source in told
    assert "more than 15° less" in told


def test_cautions_as_they_were_answered() -> None:
    told = words(report(first_session()), "Cautions")
    assert "Present (take care): Osteoporosis" in told
    assert told.count("quiet for two years") == 1
    # All 14 of the pack are named: one present, the others answered no.
    assert told.count(";") >= 12
    assert "not asked" in words(of(facts=facts(cautions=())), "Cautions")


def test_a_side_that_nobody_named_is_not_made_the_involved_one() -> None:
    document = of(
        row(5, "right", "inferior_glide", mobility_score=1),
        row(9, "left", "inferior_glide", mobility_score=3),
        facts=SessionFacts(),
    )
    told = words(document, "Accessory")
    assert "Direction | Right | Left | Difference" in told
    assert "right less mobile" in told
    assert "nvolved" not in told
    known = {fact.name: fact.value for fact in document.facts}
    assert known["Involved side"] == "not said"
    assert known["Patient code"] == "not said"
    assert known["Date"] == "not said"
    session = record([row(5, "left", "inferior_glide")], facts=SessionFacts())
    given = {fact.name: fact.value for fact in report(session, "left").facts}
    assert given["Involved side"] == "left (given for this report)"


def test_one_side_only_and_no_screening() -> None:
    document = of(row(5, "right", "inferior_glide", mobility_score=1))
    assert "not tested | not compared the other side was not tested" in words(document, "Acc")
    assert words(document, "Motions") == "No motion was screened."
    told = words(document, "Read together")
    assert "limited; the other side was not tested, so held against no motion." in told
    assert "not computable" in told


def test_a_session_without_findings_says_so() -> None:
    document = of()
    assert "The session has no findings." in document.notices
    assert words(document, "Accessory") == "No accessory movement was tested."


def test_contradictory_rows_give_no_value_and_are_to_check() -> None:
    document = of(
        row(5, "right", "inferior_glide", mobility="hypomobile", pain=3),
        row(9, "right", "inferior_glide", mobility="normal", pain=3),
        row(20, "left", "inferior_glide", mobility="normal"),
        row(30, "right", "flexion", mode="passive", range_deg=100),
        row(35, "right", "flexion", mode="passive", range_deg=140),
        row(40, "left", "flexion", mode="passive", range_deg=170),
    )
    tests = words(document, "Accessory")
    assert "hypomobile / normal (contradictory), pain 3  [1, 2]" in tests
    assert "not compared (?)" in tests
    assert "100 / 140° (contradictory)  [4, 5] | 170°  [6] | to check" in words(document, "Motions")
    checks = words(document, "Still")
    assert (
        "Rows 1, 2, right inferior glide, said in two ways: mobility hypomobile / normal" in checks
    )
    assert "said to be limited and not to be" in words(document, "Read together")


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"warnings": ("The sound is clipped.",)}, "The sound is clipped."),
        ({"bouts": (Bout(50, 20, "right"),)}, "Bout 1 ends before it begins"),
        ({"facts": facts(started_at="2026-03-02")}, "is no time with its offset"),
        (
            {"edits": (Edit(1, "pain", 3, 4, "EX-1", "2020-01-01T00:00:00+00:00"),)},
            "EX-1 are dated before the session began: the clocks disagree",
        ),
        (
            {"judgements": (Judgement(1, "pain", 4, "EX-1", "2020-01-01T00:00:00+00:00"),)},
            "EX-1 are dated before the session began: the clocks disagree",
        ),
    ],
)
def test_what_is_wrong_with_a_session_is_told_first(changed: dict[str, Any], told: str) -> None:
    document = of(row(5, "right", "inferior_glide", pain=3), **changed)
    assert len(document.notices) == 1
    assert told in document.notices[0]


def test_a_session_cut_short_and_rows_after_its_end() -> None:
    session = record([row(5, "right", "inferior_glide"), row(90, "left", "inferior_glide")])
    cut = replace(session.recording, duration_s=60.0, truncated_at_s=58.0)
    told = " ".join(report(replace(session, recording=cut)).notices)
    assert "cut short at 0:58.0" in told
    assert "Rows after the recording's end at 1:00.0: 2." in told
    backwards = replace(session.findings[0], end_s=1.0)
    document = report(replace(session, findings=(backwards, session.findings[1])))
    assert "Rows that end before they begin: 1." in document.notices


def test_another_version_of_the_pack_is_told() -> None:
    session = first_session()
    document = session_report(Material(session, PACK, "0123456789ab"))
    assert any("0123456789ab" in notice for notice in document.notices)


def test_changes_by_hand_are_in_force_and_told() -> None:
    edit = Edit(1, "mobility_score", 1, 2, "EX-7", "2026-03-03T08:00:00+01:00")
    settled = Edit(1, "status", "check", "logged", "EX-7", "2026-03-03T08:01:00+01:00")
    document = of(
        row(5, "right", "inferior_glide", mobility_score=1, reasons=("heard unsurely",)),
        edits=(edit, settled),
    )
    assert "hypomobile, 2 of 6  [1]" in words(document, "Accessory")
    assert words(document, "Still") == "No row is left to check."
    assert "1 changed by hand" in {fact.name: fact.value for fact in document.facts}["Rows"]
    assert "mobility score" in words(document, "Notes")
    assert "EX-7" in words(document, "Notes")


def test_a_row_without_a_side_is_in_no_table_and_in_the_checks() -> None:
    document = of(row(5, None, "inferior_glide", mobility_score=1, reasons=("side: not said",)))
    assert words(document, "Accessory") == "No accessory movement was tested."
    assert "Row 1, 0:05.0: inferior glide, side not said. side: not said" in words(
        document, "Still"
    )
    picture = words(document, "The session over time")
    assert "row 1: side unknown inferior glide" in picture


def test_a_row_that_was_settled_without_a_side_is_not_lost() -> None:
    settled = Edit(1, "status", "check", "logged", "EX-7", "2026-03-03T08:01:00+01:00")
    sideless = row(5, None, "inferior_glide", mobility_score=1, reasons=("side: not said",))
    told = words(of(sideless, edits=(settled,)), "Still")
    assert "Row 1, 0:05.0: inferior glide, side not said. In no table" in told


ELBOW = """
title = "Elbow: traction"
[utterance]
opens_row = ["test"]
completes_row = ["pain", "mobility"]
bare_side_with = ["test"]
[slots.side.values]
left = ["left elbow"]
right = ["right elbow"]
[slots.test.values]
traction = ["elbow traction"]
[slots.pain]
low = 0
high = 10
phrases = ["pain {}"]
[slots.mobility.values]
tight = ["tight"]
free = ["free"]
[commands]
correction = ["correction"]
withdraw = ["scratch that"]
other_side = ["other side"]
check_position = ["check position"]
note = ["note"]
"""


def test_a_pack_that_says_nothing_of_what_findings_say_together(tmp_path: Path) -> None:
    """Another joint, other words, no scale, no limits: what is said is shown, and no more."""
    path = tmp_path / "elbow.toml"
    path.write_text(ELBOW, encoding="utf-8")
    pack = load_pack(str(path))
    rows = [
        replace(row(5, "right", "inferior_glide"), test="traction", mobility="tight", pain=3),
        replace(row(9, "left", "inferior_glide"), test="traction", mobility="free", pain=0),
    ]
    document = session_report(Material(record(rows), pack, "x"))
    told = words(document, "Accessory")
    assert "traction | tight, pain 3  [1]" in told
    assert "not compared the pack has no order of mobilities" in told
    assert not [part for part in document.sections if part.title.startswith("Read together")]
    assert document.beside is not None
    assert "●" not in document.beside.key
    later = [replace(one, pain=1) for one in rows]
    days = [Occasion("a", record(rows, facts=SessionFacts())),
            Occasion("b", record(later, facts=SessionFacts()))]  # fmt: skip
    found = compare(days, pack, "x", {})
    verdicts = {(c.what.side, c.slot): c.verdict for c in found.changes}
    assert verdicts["right", "pain"] is Verdict.NO_LIMIT


def test_positions_that_were_checked_are_told() -> None:
    seen = PositionCheck(4.0, "right", SetupReading(SetupStatus.NOT_REQUIRED, 52.0))
    unseen = PositionCheck(8.0, "left", SetupReading(SetupStatus.NOT_SEEN))
    document = of(row(9, "right", "inferior_glide"), position_checks=(seen, unseen))
    told = words(document, "The session over time")
    assert "Positions checked: 0:04.0 right 52°; 0:08.0 left not seen." in told


def parsed(picture: Picture) -> ET.Element:
    return ET.fromstring(picture.svg)  # noqa: S314 - our own picture


def pictures(document: Document) -> list[Picture]:
    inside = [b for part in document.sections for b in part.blocks if isinstance(b, Picture)]
    return [*inside, *([document.beside] if document.beside else [])]


def test_pictures_say_in_words_what_they_show() -> None:
    for picture in pictures(report(first_session())):
        root = parsed(picture)
        names = (root.get("aria-labelledby") or "").split()
        told = {one.get("id"): one.text for one in root.iter() if one.get("id") in names}
        assert root.get("role") == "img"
        assert len(told) == 2
        assert all(told.values())
        assert not any("style" in one.attrib for one in root.iter()), "the policy lets none in"


def test_the_timeline_has_every_row_that_counts_and_a_mark_for_each_setup() -> None:
    (picture,) = [p for p in pictures(report(first_session())) if "Bout" in p.desc]
    root = parsed(picture)
    labels = {text.text for text in root.iter(f"{SVG}text") if text.get("font-weight") == "bold"}
    expected = {f"{number}" for number in range(1, 25) if number not in (21, 23)} | {"21?"}
    assert expected <= labels
    assert "23" not in labels, "withdrawn"
    fills = [disc.get("fill") for disc in root.iter(f"{SVG}circle")]
    assert len([fill for fill in fills if fill != "white"]) == 6, "setups in range"
    assert len(list(root.iter(f"{SVG}polygon"))) == 2, "one borderline, one out of range"


def test_an_empty_session_still_has_its_pictures() -> None:
    empty = replace(record([]), recording=replace(record([]).recording, duration_s=0.0))
    for picture in pictures(report(empty)):
        parsed(picture)


def test_a_long_session_keeps_a_small_picture() -> None:
    session = first_session()
    long = replace(session, recording=replace(session.recording, duration_s=3600.0))
    (picture,) = [p for p in pictures(report(long)) if "Bout" in p.desc]
    assert len(trace(long)) == 36_000
    assert len(picture.svg) < 120_000


def test_withdrawn_bouts_and_unknown_lengths() -> None:
    document = of(
        row(5, "right", "inferior_glide"), bouts=(Bout(6, None, None, reasons=("not ended",)),)
    )
    told = words(document, "Bouts")
    assert "side not said no direction, length not known (?) not ended" in told


def test_withdrawn_rows_are_counted_nowhere() -> None:
    gone = row(5, "right", "inferior_glide", mobility_score=1, status=RowStatus.WITHDRAWN)
    document = of(gone)
    assert words(document, "Accessory") == "No accessory movement was tested."
    assert "1 withdrawn" in {fact.name: fact.value for fact in document.facts}["Rows"]
