"""Invented sessions for the report and the comparison; nothing in them was ever measured."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Sequence
from dataclasses import replace
from math import sin
from pathlib import Path
from typing import Any

from logger.core.events import (
    ArmAngle,
    Finding,
    RowStatus,
    SetupReading,
    SetupStatus,
    Side,
    Utterance,
    Verdict,
)
from logger.core.session import Bout, CautionAnswer, SessionFacts
from logger.files.saving import save_session
from logger.files.session_json import (
    PackFacts,
    RecordingFacts,
    SessionRecord,
    Talk,
    UnplacedWords,
    heard_words,
)
from logger.findings.setup import status_in_window
from logger.grammar.loading import load_pack
from logger.grammar.pack import Pack, pack_digest

PACK = load_pack("glenohumeral")
STEP_S = 8.5


def facts(**changes: Any) -> SessionFacts:
    """Return the facts of the first invented session."""
    known = SessionFacts(
        patient_code="P-014",
        examiner_code="EX-2",
        started_at="2026-03-02T10:15:00+01:00",
        involved_side="right",
        cautions=tuple(
            CautionAnswer(c.text, present="steroids" in c.text, reason="quiet for two years, low "
                          "grades only" if "steroids" in c.text else "")
            for c in PACK.cautions
        ),
    )  # fmt: skip
    return replace(known, **changes)


def record(findings: Iterable[Finding], **changes: Any) -> SessionRecord:
    """Return a session of the findings, in the order of their start."""
    rows = tuple(sorted(findings, key=lambda row: row.start_s))
    duration_s = (rows[-1].end_s if rows else 0.0) + 10.0
    plain = SessionRecord(
        tool_version="0.1.0",
        recording=RecordingFacts("session.mp4", duration_s, has_audio=True, has_video=True,
                                 sample_rate_hz=16000, width=640, height=480, fps=5.0,
                                 rotation_deg=0, truncated_at_s=None),
        pack=PackFacts(PACK.name, pack_digest(PACK)),
        engine="moonshine",
        models=(),
        options={"camera": True},
        findings=rows,
        position_checks=(),
        unplaced=(),
        heard=(),
        talk=Talk(0, ()),
        warnings=(),
        facts=facts(),
    )  # fmt: skip
    return replace(plain, **changes)


def row(start_s: float, side: Side | None, name: str, **slots: Any) -> Finding:
    """Return a row for a test or motion of the pack; `arm_deg` is the setup's angle."""
    arm_deg = slots.pop("arm_deg", None)
    is_test = name in PACK.setup
    setup = SetupReading(SetupStatus.NOT_REQUIRED)
    if is_test:
        setup = SetupReading(SetupStatus.NOT_SEEN)
        if arm_deg is not None:
            status = status_in_window(arm_deg, PACK.setup[name], 6.0)
            setup = SetupReading(status, arm_deg, 2.0, start_s - 1.0, "pose", 6.0)
    score = slots.get("mobility_score")
    if score is not None and "mobility" not in slots:
        slots["mobility"] = PACK.mobility_of_score[score]
    reasons = slots.get("reasons", ())
    status = slots.pop("status", RowStatus.CHECK if reasons else RowStatus.LOGGED)
    what: dict[str, Any] = {"test": name} if is_test else {"motion": name}
    return Finding(start_s, start_s + 3.5, side=side, setup=setup, status=status, said=name,
                   **what, **slots)  # fmt: skip


def _motions(side: Side, start_s: float, degrees: Sequence[int], pain: int) -> list[Finding]:
    names = ("flexion", "abduction", "external_rotation", "internal_rotation", "extension")
    feels = ("firm", "capsular", "capsular", "firm", "firm")
    stiff = side == "right"
    return [
        row(start_s + i * STEP_S, side, name, mode="passive", range_deg=deg,
            pain=pain if stiff else 0, end_feel=feels[i] if stiff else "firm")
        for i, (name, deg) in enumerate(zip(names, degrees, strict=True))
    ]  # fmt: skip


def first_session() -> SessionRecord:
    """Return a whole session: both sides, a check, a note, a withdrawn row and a bout."""
    both: list[tuple[Side, str, int]] = [
        ("right", "flexion", 120), ("left", "flexion", 165),
        ("right", "abduction", 95), ("left", "abduction", 165),
    ]  # fmt: skip
    active = [
        row(20 + i * STEP_S, side, name, mode="active", range_deg=deg)
        for i, (side, name, deg) in enumerate(both)
    ]  # fmt: skip
    right = _motions("right", 60, (128, 100, 35, 45, 40), 4)
    left = _motions("left", 105, (170, 170, 85, 65, 50), 0)
    tests = [
        row(160, "right", "lateral_distraction", mobility_score=2, pain=2, end_feel="firm",
            symptoms="eased", arm_deg=47.0),
        row(170, "left", "lateral_distraction", mobility_score=3, pain=0, arm_deg=45.0),
        row(182, "right", "inferior_glide", mobility_score=1, pain=6, end_feel="capsular",
            symptoms="reproduced", arm_deg=52.0, grade="3"),
        row(194, "left", "inferior_glide", mobility_score=3, pain=0, end_feel="firm",
            arm_deg=55.0),
        row(206, "right", "posterior_glide", mobility_score=2, pain=3, end_feel="capsular",
            symptoms="unchanged", arm_deg=58.0, note="guards at the start, better after a pause"),
        row(218, "left", "posterior_glide", mobility_score=3, pain=0, arm_deg=50.0),
        row(230, "right", "anterior_glide", mobility_score=2, pain=5, end_feel="capsular",
            arm_deg=74.0, reasons=("pain: 5 or 9?",)),
        row(242, "left", "anterior_glide", mobility="normal", pain=0,
            comparison="against_other_side"),
        row(254, "left", "anterior_glide", mobility="normal", status=RowStatus.WITHDRAWN),
        row(300, "right", "inferior_glide", mobility_score=2, pain=4, end_feel="capsular",
            arm_deg=54.0),
    ]  # fmt: skip
    unsure = Utterance("other side", 248.0, 249.0, 0.4, Verdict.UNSURE)
    return record(
        [*active, *right, *left, *tests],
        bouts=(Bout(262.0, 292.0, "right", "inferior_glide", "3"),),
        unplaced=(UnplacedWords(heard_words(unsure), "no row follows it"),),
    )


def later_session(week: int) -> SessionRecord:
    """Return a shorter session of the same invented patient, so many weeks later."""
    started = ("2026-03-02", "2026-03-16", "2026-03-30", "2026-04-20")[week]
    offset = "+02:00" if week >= 2 else "+01:00"
    gain = (0, 12, 28, 45)[week]
    right = _motions("right", 20, (128 + gain, 100 + gain, 35 + gain // 2, 45 + gain // 4, 40), 2)
    left = _motions("left", 70, (170, 168, 84, 65, 50), 0)
    tests = [
        row(130, "right", "inferior_glide", mobility_score=(1, 2, 2, 3)[week],
            pain=(6, 5, 3, 1)[week], arm_deg=50.0),
        row(142, "left", "inferior_glide", mobility_score=3, pain=0, arm_deg=52.0),
        row(154, "right", "posterior_glide", mobility_score=(2, 2, 3, 3)[week],
            pain=(3, 3, 2, 1)[week], arm_deg=52.0,
            reasons=("pain: 2 or 3?",) if week == 2 else ()),
    ]  # fmt: skip
    return record([*right, *left, *tests], facts=facts(started_at=f"{started}T10:05:00{offset}"))


def trace(session: SessionRecord, pack: Pack = PACK) -> tuple[ArmAngle, ...]:
    """Return an angle trace that goes through the setups of a session, 5 samples a second."""
    del pack
    samples: list[ArmAngle] = []
    for side in ("right", "left"):
        held = [(r.setup.at_s, r.setup.angle_deg) for r in session.findings if r.side == side]
        known = [(at, deg) for at, deg in held if at is not None and deg is not None]
        for tick in range(int(session.recording.duration_s * 5)):
            time_s = tick / 5
            near = min(known, key=lambda one: abs(one[0] - time_s), default=None)
            close = near is not None and -6.0 < time_s - near[0] < 5.0
            angle = near[1] if near and close else 12 + 4 * sin(time_s / 9)
            hidden = (tick // 60) % 9 == 4 and not close
            samples.append(
                ArmAngle(
                    time_s,
                    side,
                    None if hidden else angle + sin(time_s * 3),
                    visible=not hidden,
                    reason="hands cover it" if hidden else "",
                )
            )
    return tuple(sorted(samples, key=lambda a: a.time_s))  # fmt: skip


def save(session: SessionRecord, folder: Path) -> Path:
    """Write a session with its trace and return its folder."""
    save_session(folder, session, trace(session))
    return folder


if __name__ == "__main__":
    target = Path(sys.argv[1])
    save(first_session(), target / "week-0")
    for number in (1, 2, 3):
        save(later_session(number), target / f"week-{number}")
