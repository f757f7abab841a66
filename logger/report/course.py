"""The course over several sessions: a small picture for each test and number, both sides in it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil
from typing import Final

from logger.core.events import SIDES, Side
from logger.grammar.pack import NumberSlot, Pack
from logger.report.changing import NUMBERS, Change
from logger.report.occasions import Occasion
from logger.report.svg import GREY, Drawing, Point
from logger.report.tested import Said
from logger.report.wording import plain

_COLUMNS: Final = 4
_WIDTH: Final = 190.0
_HEIGHT: Final = 118.0
_LEFT: Final = 30.0
_RIGHT: Final = 12.0
_TOP: Final = 32.0
_BOTTOM: Final = 20.0
_NAMES: Final[Mapping[str, str]] = {
    "range_deg": "degrees",
    "mobility_score": "mobility",
    "pain": "pain",
}
KEY: Final = (
    "Right: ● and a solid line. Left: ○ and a broken line. ? to be checked; no line "
    "leads to it, nor across a session that does not say."
)


@dataclass(frozen=True, slots=True)
class _Panel:
    title: str
    unit: str
    low: float
    high: float
    sides: Mapping[Side, tuple[Said, ...]]


def course_picture(changes: Sequence[Change], occasions: Sequence[Occasion], pack: Pack) -> str:
    """Return the picture as SVG; times are drawn to scale where every session has its date."""
    panels = list(_panels(changes, pack))
    rows = max(ceil(len(panels) / _COLUMNS), 1)
    size = _COLUMNS * _WIDTH, rows * _HEIGHT + 4
    drawing = Drawing("course", size, "The course over the sessions", described(changes, occasions))
    for number, panel in enumerate(panels):
        corner = number % _COLUMNS * _WIDTH, number // _COLUMNS * _HEIGHT
        _draw(drawing, panel, corner, occasions)
    if not panels:
        drawing.text((10, 40), "No number was said in two sessions.")
    return drawing.svg()


def described(changes: Sequence[Change], occasions: Sequence[Occasion]) -> str:
    """Return what the picture shows in words."""
    dates = ", ".join(occasion.label for occasion in occasions)
    told = [f"Sessions: {dates}."]
    for change in changes:
        if change.slot in NUMBERS:
            values = ", ".join(_value(point) for point in change.points)
            mode = f", {change.what.mode}" if change.what.mode else ""
            name = f"{change.what.side} {plain(change.what.name)}{mode}"
            told.append(f"{name}, {_NAMES[change.slot]}: {values}.")
    return " ".join(told)


def _value(point: Said) -> str:
    if not point.values:
        return "not said"
    return f"{'/'.join(map(str, point.values))}{'' if point.sure else ' to check'}"


def _panels(changes: Sequence[Change], pack: Pack) -> Iterator[_Panel]:
    groups: dict[tuple[str, str | None, str], dict[Side, tuple[Said, ...]]] = {}
    for change in changes:
        said = [point for point in change.points if point.values]
        if change.slot in NUMBERS and said:
            key = change.what.name, change.what.mode, change.slot
            groups.setdefault(key, {})[change.what.side] = change.points
    for (name, mode, slot), sides in groups.items():
        if not any(len([p for p in points if p.values]) > 1 for points in sides.values()):
            continue
        rule = pack.slots.get(slot)
        low, high = (rule.low, rule.high) if isinstance(rule, NumberSlot) else (0, 10)
        if slot == "range_deg":
            high = 30 * ceil(max(_numbers(sides), default=30) / 30 + 0.01)
        title = f"{plain(name)}{f', {mode}' if mode else ''}"
        yield _Panel(title, _NAMES[slot], low, high, sides)


def _numbers(sides: Mapping[Side, tuple[Said, ...]]) -> list[int]:
    values = (v for points in sides.values() for point in points for v in point.values)
    return [value for value in values if isinstance(value, int)]


def _draw(drawing: Drawing, panel: _Panel, corner: Point, occasions: Sequence[Occasion]) -> None:
    x0, y0 = corner
    drawing.text((x0 + 2, y0 + 12), panel.title, font_weight="bold", font_size=9.5)
    drawing.text((x0 + 2, y0 + 23), panel.unit, font_size=9, fill=GREY)
    base = y0 + _HEIGHT - _BOTTOM
    for share in (0.0, 0.5, 1.0):
        value = panel.low + share * (panel.high - panel.low)
        y = _y(value, panel, y0)
        drawing.line((x0 + _LEFT, y), (x0 + _WIDTH - _RIGHT, y), stroke="#d4d4d4", stroke_width=0.6)
        drawing.text((x0 + _LEFT - 7, y + 3), f"{value:g}", font_size=8, text_anchor="end",
                     fill=GREY)  # fmt: skip
    places = [x0 + x for x in _places(occasions)]
    for label, x, anchor in (
        (occasions[0].label, places[0], "start"),
        (occasions[-1].label, places[-1], "end"),
    ):
        drawing.text((x, base + 13), label[-12:], font_size=8, text_anchor=anchor, fill=GREY)
    for side in SIDES:
        _side(drawing, panel, side, (places, y0))


def _places(occasions: Sequence[Occasion]) -> list[float]:
    """Return where the sessions stand from a panel's left."""
    times = [occasion.at for occasion in occasions]
    known = [at for at in times if at is not None]
    room = _WIDTH - _LEFT - _RIGHT
    if len(known) == len(times) and known[-1] > known[0]:
        whole_s = (known[-1] - known[0]).total_seconds()
        return [_LEFT + room * (at - known[0]).total_seconds() / whole_s for at in known]
    return [_LEFT + room * i / max(len(times) - 1, 1) for i in range(len(times))]


def _y(value: float, panel: _Panel, top: float) -> float:
    room = _HEIGHT - _TOP - _BOTTOM
    return top + _TOP + room * (panel.high - value) / (panel.high - panel.low)


def _side(
    drawing: Drawing, panel: _Panel, side: Side, place: tuple[Sequence[float], float]
) -> None:
    places, top = place
    points = panel.sides.get(side, ())
    at = [
        (x, _y(said.number, panel, top)) if said.sure and said.number is not None else None
        for x, said in zip(places, points, strict=False)
    ]
    dashes = "none" if side == "right" else "4 2"
    for one, two in pairwise(at):
        if one and two:
            drawing.line(one, two, stroke_width=1.2, stroke_dasharray=dashes)
    for x, said in zip(places, points, strict=False):
        for value in () if said.sure else said.values:
            if isinstance(value, int):
                drawing.text((x, _y(value, panel, top) + 3.5), "?", font_weight="bold",
                             text_anchor="middle")  # fmt: skip
    for spot in filter(None, at):
        drawing.disc(spot, 2.8, fill="#1b1b1b" if side == "right" else "white", stroke_width=1.1)
