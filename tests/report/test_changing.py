"""What changed between sessions, and which sessions may be compared at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from invented import PACK, facts, later_session, record, row

from logger.core.errors import UsageError
from logger.core.events import Finding
from logger.core.session import Bout, Edit
from logger.files.session_json import PackFacts, SessionRecord
from logger.report.changing import Change, Verdict, changes, limits_in_use
from logger.report.comparison import compare, course_text, difference_text, verdict_text
from logger.report.course import course_picture
from logger.report.occasions import Occasion, require_comparable, warnings

GLIDE = "inferior_glide"
DAYS = ("2026-03-02T10:00:00+01:00", "2026-03-30T10:00:00+02:00", "2026-05-04T10:00:00+02:00")


def session(day: int, findings: Sequence[Finding], **changed: Any) -> Occasion:
    """Return a session of the invented patient on one of the days."""
    known = facts(**{"started_at": DAYS[day], **changed.pop("facts", {})})
    return Occasion(f"day-{day}", record(findings, facts=known, **changed))


def only(occasions: Sequence[Occasion], slot: str, **yours: float) -> Change:
    """Return the one change of a slot."""
    limits = limits_in_use(occasions, PACK, yours)
    (change,) = [c for c in changes(occasions, PACK, limits) if c.slot == slot]
    return change


def of_pain(first: int, last: int, **yours: float) -> Change:
    rows = [[row(5, "right", GLIDE, pain=pain)] for pain in (first, last)]
    return only([session(0, rows[0]), session(1, rows[1])], "pain", **yours)


def of_range(first: int, last: int, **examiner: str | None) -> Change:
    findings = [[row(5, "right", "flexion", mode="passive", range_deg=deg)]
                for deg in (first, last)]  # fmt: skip
    later = session(1, findings[1], facts={"examiner_code": examiner.get("later", "EX-2")})
    return only([session(0, findings[0]), later], "range_deg")


@pytest.mark.parametrize(
    ("first", "last", "difference", "verdict"),
    [
        (6, 3, -3, Verdict.COUNTS),
        (3, 6, 3, Verdict.COUNTS),
        (6, 4, -2, Verdict.DOES_NOT_COUNT),
        (0, 0, 0, Verdict.DOES_NOT_COUNT),
    ],
)
def test_pain_against_the_packs_important_difference(
    first: int, last: int, difference: int, verdict: Verdict
) -> None:
    change = of_pain(first, last)
    assert (change.difference, change.verdict) == (difference, verdict)
    assert change.limit is not None
    assert change.limit.value == 2.17
    assert "Michener" in change.limit.source


def test_a_users_limit_takes_the_place_of_the_packs() -> None:
    change = of_pain(6, 4, pain=2)
    assert change.verdict is Verdict.COUNTS
    assert verdict_text(change) == "reaches your 2"
    assert change.limit is not None
    assert change.limit.yours


@pytest.mark.parametrize(
    ("first", "last", "examiner", "verdict", "limit"),
    [
        (100, 115, {}, Verdict.DOES_NOT_COUNT, 15),
        (100, 116, {}, Verdict.COUNTS, 15),
        # Another examiner, or one not known: two people may have measured.
        (100, 116, {"later": "EX-3"}, Verdict.DOES_NOT_COUNT, 25),
        (100, 126, {"later": "EX-3"}, Verdict.COUNTS, 25),
        (100, 116, {"later": None}, Verdict.DOES_NOT_COUNT, 25),
    ],
)
def test_range_against_measurement_error(
    first: int, last: int, examiner: dict[str, str | None], verdict: Verdict, limit: float
) -> None:
    change = of_range(first, last, **examiner)
    assert change.verdict is verdict
    assert change.limit is not None
    assert change.limit.value == limit


def test_a_mobility_score_has_no_limit_but_yours() -> None:
    days = [session(day, [row(5, "right", GLIDE, mobility_score=score)])
            for day, score in ((0, 1), (1, 3))]  # fmt: skip
    change = only(days, "mobility_score")
    assert (change.difference, change.verdict) == (2, Verdict.NO_LIMIT)
    assert only(days, "mobility_score", mobility_score=2).verdict is Verdict.COUNTS


@pytest.mark.parametrize(
    ("findings", "verdict"),
    [
        ([row(5, "right", GLIDE, pain=2, reasons=("pain: 2 or 10?",))], Verdict.TO_CHECK),
        ([row(5, "right", GLIDE, pain=2), row(9, "right", GLIDE, pain=5)], Verdict.TO_CHECK),
        ([row(5, "right", GLIDE, mobility_score=2)], Verdict.NOT_COMPARED),
        ([row(5, "left", GLIDE, mobility_score=2)], Verdict.NOT_COMPARED),
        ([], Verdict.NOT_COMPARED),
    ],
)
def test_no_number_where_there_is_none_to_give(findings: list[Finding], verdict: Verdict) -> None:
    days = [session(0, [row(5, "right", GLIDE, pain=6)]), session(1, findings)]
    change = only(days, "pain")
    assert change.verdict is verdict
    assert change.difference is None
    assert not difference_text(change)


def test_the_course_over_many_sessions_and_what_one_does_not_say() -> None:
    pains = ([row(5, "right", GLIDE, pain=6)], [row(5, "right", GLIDE)],
             [row(5, "right", GLIDE, pain=1)])  # fmt: skip
    change = only([session(day, pains[day]) for day in range(3)], "pain")
    assert course_text(change) == "6 → – → 1"  # noqa: RUF001 - an en dash for nothing
    assert change.difference == -5


def test_the_first_testing_of_a_session_counts_and_not_that_after_a_bout() -> None:
    treated = session(
        0,
        [row(5, "right", GLIDE, pain=6), row(90, "right", GLIDE, pain=2)],
        bouts=(Bout(30, 60, "right", GLIDE),),
    )
    assert only([treated, session(1, [row(5, "right", GLIDE, pain=5)])], "pain").difference == -1


def test_what_people_changed_is_in_force() -> None:
    edited = session(
        0, [row(5, "right", GLIDE, pain=6)], edits=(Edit(1, "pain", 6, 4, "EX-1", DAYS[0]),)
    )
    assert only([edited, session(1, [row(5, "right", GLIDE, pain=4)])], "pain").difference == 0


def test_words_are_told_where_they_differ() -> None:
    days = [
        session(day, [row(5, "right", GLIDE, mobility=mobility, end_feel=feel, arm_deg=deg)])
        for day, (mobility, feel, deg) in enumerate(
            [("hypomobile", "capsular", 50.0), ("normal", "capsular", 110.0)]
        )
    ]
    found = {c.slot: c for c in changes(days, PACK, {})}
    assert found["mobility"].verdict is Verdict.CHANGED
    assert course_text(found["setup"]) == "in range → out of range"
    assert "end_feel" not in found
    scored = [session(day, [row(5, "right", GLIDE, mobility_score=score)])
              for day, score in ((0, 1), (1, 3))]  # fmt: skip
    assert "mobility" not in {c.slot for c in changes(scored, PACK, {})}, "its score tells it"


def refused(*occasions: Occasion) -> str:
    with pytest.raises(UsageError) as caught:
        require_comparable(occasions)
    return str(caught.value)


PAIN = [row(5, "right", GLIDE, pain=6)]
LESS = [row(5, "right", GLIDE, pain=2)]


def renamed(occasion: Occasion, **changed: Any) -> Occasion:
    return Occasion("other", replace(occasion.record, **changed))


def with_digest(occasion: Occasion, digest: str) -> Occasion:
    recording = replace(occasion.record.recording, sha256=digest)
    return Occasion(occasion.name, replace(occasion.record, recording=recording))


def test_sessions_that_are_no_earlier_and_later_are_refused() -> None:
    first, last = session(0, PAIN), session(1, LESS)
    assert "only one session" in refused(first)
    assert "is later than" in refused(last, first)
    assert "same session" in refused(first, renamed(first))
    assert "same session" in refused(with_digest(first, "ab"), with_digest(last, "ab"))
    assert "started at the same moment" in refused(first, session(0, LESS))
    assert "different patients" in refused(first, session(1, LESS, facts={"patient_code": "P-9"}))
    other = replace(last.record, pack=PackFacts("elbow", "1"))
    assert "different packs" in refused(first, Occasion("elbow-session", other))


def test_clocks_of_different_offsets_are_put_in_order() -> None:
    """11:30 at +02:00 is 09:30 UTC, before 10:00 at +00:00."""
    early = session(0, PAIN, facts={"started_at": "2026-03-02T11:30:00+02:00"})
    late = session(0, LESS, facts={"started_at": "2026-03-02T10:00:00+00:00"})
    require_comparable([early, late])
    assert "is later than" in refused(late, early)


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"facts": {"patient_code": None}}, "No patient code in day-1"),
        ({"facts": {"started_at": None}}, "No date with its offset in day-1"),
        ({"facts": {"started_at": "2026-03-30 10:00"}}, "No date with its offset in day-1"),
        ({"facts": {"started_at": "yesterday"}}, "No date with its offset in day-1"),
        ({"facts": {"involved_side": "left"}}, "different involved sides"),
        ({"pack": PackFacts(PACK.name, "old")}, "another version of the pack: day-1"),
    ],
)
def test_what_must_be_known_is_told(changed: dict[str, Any], told: str) -> None:
    days = [session(0, PAIN), session(1, LESS, **changed)]
    require_comparable(days)
    sentences = warnings(days, days[0].record.pack.version)
    assert len(sentences) == 1
    assert told in sentences[0]


def test_nothing_is_told_of_sessions_that_are_in_order() -> None:
    days = [session(0, PAIN), session(1, LESS)]
    assert not warnings(days, days[0].record.pack.version)


def whole() -> list[SessionRecord]:
    return [later_session(week) for week in range(4)]


def test_the_picture_is_an_svg_with_its_content_in_words() -> None:
    days = [Occasion(f"week-{week}", one) for week, one in enumerate(whole())]
    found = compare(days, PACK, days[0].record.pack.version, {})
    svg = course_picture(found.changes, days, PACK)
    root = ET.fromstring(svg)  # noqa: S314 - our own picture
    space = "{http://www.w3.org/2000/svg}"
    desc = root.findtext(f"{space}desc") or ""
    assert root.get("role") == "img"
    assert root.findtext(f"{space}title")
    assert "right inferior glide, pain: 6, 5, 3, 1." in desc
    assert "right posterior glide, pain: 3, 3, 2 to check, 1." in desc
    # Dates to scale: 14, 14 and 21 days; each panel has a dot for each sure value.
    marks = [t for t in root.iter(f"{space}text") if t.text == "?"]
    assert len(marks) == 2, "the row to check has a score and a pain"
