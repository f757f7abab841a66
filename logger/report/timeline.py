"""A session's picture over time: both arms' angles, the tests' windows, the findings by number.

Nothing is told by colour: arms have panels and line styles of their own, a setup its own mark.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import ceil
from typing import Final

from logger.core.events import ArmAngle, Finding, RowStatus, SetupStatus, Side
from logger.core.session import Bout
from logger.core.statements import SetupWindow
from logger.core.words import clock, status_text
from logger.report.svg import GREY, INK, Drawing, Point
from logger.report.tested import Row
from logger.report.wording import plain

_WIDTH: Final = 760.0
_LEFT: Final = 52.0
_RIGHT: Final = 8.0
_PANEL: Final = 62.0
_LANE: Final = 10.0
_LANES: Final = 3
_GAP_S: Final = 0.7
"""Samples further apart are not joined."""
_LETTER: Final = 5.7
_STEPS_S: Final = (5, 10, 15, 30, 60, 120, 300, 600, 1200, 1800, 3600)
_MOST_TICKS: Final = 14
_DASHES: Final[Mapping[Side, str]] = {"right": "none", "left": "5 2"}
KEY: Final = (
    "Numbers are rows. I: the test's window; ● in it, ◇ borderline, △ ▽ out, × not seen; "  # noqa: RUF001 - the mark itself
    "? to check; hatched: a bout; the left arm's line is dashed; a gap: the arm was not seen"
)


@dataclass(frozen=True, slots=True)
class Course:
    """What the picture shows."""

    rows: tuple[Row, ...]
    """Withdrawn ones are left out of the picture."""
    angles: Sequence[ArmAngle]
    bouts: Sequence[Bout]
    windows: Mapping[str, SetupWindow]
    duration_s: float


@dataclass(frozen=True, slots=True)
class _Scale:
    end_s: float
    top_deg: float

    def x(self, time_s: float) -> float:
        share = min(max(time_s / self.end_s, 0.0), 1.0)
        return _LEFT + share * (_WIDTH - _LEFT - _RIGHT)

    def y(self, angle_deg: float, base: float) -> float:
        return base - min(angle_deg, self.top_deg) / self.top_deg * _PANEL


def timeline(course: Course) -> str:
    """Return the picture as SVG."""
    sides: tuple[Side, Side] = ("right", "left")
    scale = _scale(course)
    placed = {side: _placed(course, side, scale) for side in sides}
    heads = {side: _LANE * (1 + max((lane for *_, lane in placed[side]), default=0)) + 8
             for side in sides}  # fmt: skip
    height = sum(heads.values()) + 2 * _PANEL + 18
    drawing = Drawing("timeline", (_WIDTH, height), "The session over time", described(course))
    base = 0.0
    for side in sides:
        base += heads[side] + _PANEL
        _frame(drawing, side, base, scale)
        _bouts(drawing, course, side, base, scale)
        for times in _trace(course.angles, side, scale, base):
            drawing.path(times, stroke_width=1.1, stroke_dasharray=_DASHES[side])
        _findings(drawing, course, placed[side], base, scale)
    _times(drawing, base, scale)
    return drawing.svg()


def described(course: Course) -> str:
    """Return what the picture shows in words."""
    parts = [f"The session lasts {clock(course.duration_s)}."]
    for row in _shown(course):
        finding = row.finding
        setup = finding.setup
        angle = "" if setup.angle_deg is None else f" at {setup.angle_deg:.0f} degrees"
        told = f", setup {status_text(setup.status)}{angle}" if finding.test else ""
        check = ", to check" if finding.status is RowStatus.CHECK else ""
        what = plain(finding.test or finding.motion or "no test")
        side = finding.side or "side unknown"
        parts.append(f"{clock(finding.start_s)}, row {row.number}: {side} {what}{told}{check}.")
    for bout in course.bouts:
        until = "not ended" if bout.end_s is None else f"until {clock(bout.end_s)}"
        parts.append(f"Bout of treatment from {clock(bout.start_s)}, {until}.")
    return " ".join(parts)


def _shown(course: Course) -> list[Row]:
    return [row for row in course.rows if row.finding.status is not RowStatus.WITHDRAWN]


def _scale(course: Course) -> _Scale:
    # A row after the end has a wrong time; it stands at the edge and does not squeeze the rest.
    last = [row.finding.end_s for row in course.rows] if course.duration_s <= 0 else []
    seen = [a.angle_deg for a in course.angles if a.visible and a.angle_deg is not None]
    highest = max([60.0, *seen, *(window.high_deg for window in course.windows.values())])
    return _Scale(max([course.duration_s, 1.0, *last]), min(30.0 * ceil((highest + 1) / 30), 180.0))


def _frame(drawing: Drawing, side: Side, base: float, scale: _Scale) -> None:
    for angle in range(0, int(scale.top_deg) + 1, 30):
        y = scale.y(angle, base)
        drawing.line((_LEFT, y), (_WIDTH - _RIGHT, y), stroke="#d4d4d4", stroke_width=0.6)
        if angle % 60 == 0:
            drawing.text((_LEFT - 4, y + 3), f"{angle}°", font_size=8, text_anchor="end", fill=GREY)
    drawing.line((_LEFT, base), (_LEFT, base - _PANEL), stroke=GREY, stroke_width=0.8)
    drawing.text((0, base - _PANEL / 2 - 2), side, font_weight="bold")
    drawing.text((0, base - _PANEL / 2 + 9), "arm", font_weight="bold")


def _times(drawing: Drawing, base: float, scale: _Scale) -> None:
    step = next((s for s in _STEPS_S if scale.end_s / s <= _MOST_TICKS), _STEPS_S[-1])
    for time_s in range(0, int(scale.end_s) + 1, step):
        x = scale.x(time_s)
        drawing.line((x, base), (x, base + 3), stroke=GREY, stroke_width=0.8)
        words = clock(time_s).rpartition(".")[0]
        anchor = "end" if x > _WIDTH - 20 else "middle"
        drawing.text((x, base + 13), words, font_size=9, text_anchor=anchor, fill=GREY)


def _bouts(drawing: Drawing, course: Course, side: Side, base: float, scale: _Scale) -> None:
    for bout in course.bouts:
        if bout.side not in (None, side):
            continue
        start, end = scale.x(bout.start_s), scale.x(bout.end_s or scale.end_s)
        size = max(end - start, 2.0), _PANEL
        drawing.box((start, base - _PANEL), size, fill=drawing.hatch(), stroke=GREY,
                    stroke_width=0.6)  # fmt: skip


def _trace(
    angles: Sequence[ArmAngle], side: Side, scale: _Scale, base: float
) -> Iterator[list[Point]]:
    """Yield the seen stretches; within a unit of the picture only the extremes are kept."""
    stretch: list[ArmAngle] = []
    for sample in sorted((a for a in angles if a.side == side), key=lambda a: a.time_s):
        seen = sample.visible and sample.angle_deg is not None
        if stretch and (not seen or sample.time_s - stretch[-1].time_s > _GAP_S):
            yield _thinned(stretch, scale, base)
            stretch = []
        if seen:
            stretch.append(sample)
    if stretch:
        yield _thinned(stretch, scale, base)


def _thinned(stretch: Sequence[ArmAngle], scale: _Scale, base: float) -> list[Point]:
    columns: dict[int, list[Point]] = {}
    for sample in stretch:
        point = scale.x(sample.time_s), scale.y(sample.angle_deg or 0.0, base)
        columns.setdefault(int(point[0]), []).append(point)
    kept: list[Point] = []
    for points in columns.values():
        extremes = {0, len(points) - 1}
        heights = [y for _, y in points]
        extremes |= {heights.index(min(heights)), heights.index(max(heights))}
        kept.extend(points[i] for i in sorted(extremes))
    return kept


def _placed(course: Course, side: Side, scale: _Scale) -> list[tuple[Row, str, int]]:
    """Return the rows of a panel with their labels, and the lane in which each has room."""
    free = [-1.0] * _LANES
    placed: list[tuple[Row, str, int]] = []
    for row in _shown(course):
        finding = row.finding
        # A row without a side stands in both panels: it may belong to either.
        if finding.side not in (side, None):
            continue
        unsure = finding.status is RowStatus.CHECK or finding.side is None
        label = f"{row.number}?" if unsure else f"{row.number}"
        x = scale.x(finding.start_s)
        lane = next((i for i, until in enumerate(free) if until < x), free.index(min(free)))
        free[lane] = x + len(label) * _LETTER + 3
        placed.append((row, label, lane))
    return placed


def _findings(
    drawing: Drawing,
    course: Course,
    placed: Sequence[tuple[Row, str, int]],
    base: float,
    scale: _Scale,
) -> None:
    for row, label, lane in placed:
        finding = row.finding
        x, top = scale.x(finding.start_s), base - _PANEL - 4 - lane * _LANE
        drawing.line((x, base), (x, top), stroke="#a6a6a6", stroke_width=0.5)
        edge = x + len(label) * _LETTER + 1 > _WIDTH
        place = (x - 1, "end") if edge else (x + 1, "start")
        drawing.text((place[0], top), label, font_size=9, font_weight="bold",
                     text_anchor=place[1])  # fmt: skip
        if finding.test:
            _setup(drawing, finding, course.windows.get(finding.test), base, scale)


def _setup(
    drawing: Drawing, finding: Finding, window: SetupWindow | None, base: float, scale: _Scale
) -> None:
    setup = finding.setup
    x = scale.x(finding.start_s if setup.at_s is None else setup.at_s)
    if window:
        low, high = scale.y(window.low_deg, base), scale.y(window.high_deg, base)
        drawing.line((x, low), (x, high), stroke=INK, stroke_width=0.9)
        for y in (low, high):
            drawing.line((x - 2.5, y), (x + 2.5, y), stroke=INK, stroke_width=0.9)
    if setup.angle_deg is None:
        _cross(drawing, (x, base - 5))
        return
    at = x, scale.y(setup.angle_deg, base)
    if setup.status is SetupStatus.IN_RANGE:
        drawing.disc(at, 2.6, fill=INK)
    elif setup.status is SetupStatus.BORDERLINE:
        _shape(drawing, at, ((0, -4), (4, 0), (0, 4), (-4, 0)))
    elif setup.status is SetupStatus.OUT_OF_RANGE and window:
        way = 1 if setup.angle_deg > window.high_deg else -1
        _shape(drawing, at, ((0, 4 * way), (4, -3 * way), (-4, -3 * way)))
    else:
        drawing.disc(at, 2.2, fill="white")


def _shape(drawing: Drawing, at: Point, corners: Sequence[Point]) -> None:
    points = [(at[0] + x, at[1] + y) for x, y in corners]
    drawing.path(points, closed=True, fill="white", stroke_width=1.1)


def _cross(drawing: Drawing, at: Point) -> None:
    x, y = at
    for way in (-1, 1):
        drawing.line((x - 3, y - 3 * way), (x + 3, y + 3 * way), stroke_width=1.1)
