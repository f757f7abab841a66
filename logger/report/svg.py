"""A small SVG under construction: plain shapes with attributes, safe to put into a page."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final
from xml.etree.ElementTree import Element, SubElement, tostring

from logger.report.wording import clean

INK: Final = "#1b1b1b"
GREY: Final = "#595959"
_FONT: Final = "DejaVu Sans, Segoe UI, Helvetica, Arial, sans-serif"

Point = tuple[float, float]


class Drawing:
    """Shapes in a box of its own units; x grows to the right, y downward.

    There is no style and no script in it, so that the strictest page policy lets it through.
    """

    def __init__(self, name: str, size: tuple[float, float], title: str, desc: str) -> None:
        """Begin an empty drawing; `name` keeps its identifiers apart from those of others."""
        self._name = name
        width, height = size
        self._root = Element(
            "svg",
            {
                "xmlns": "http://www.w3.org/2000/svg",
                "viewBox": f"0 0 {width:g} {height:g}",
                "role": "img",
                "aria-labelledby": f"{name}-title {name}-desc",
                "font-family": _FONT,
                "font-size": "10",
                "fill": INK,
            },
        )
        SubElement(self._root, "title", {"id": f"{name}-title"}).text = clean(title)
        SubElement(self._root, "desc", {"id": f"{name}-desc"}).text = clean(desc)
        self._hatched = False

    def line(self, one: Point, two: Point, **look: str | float) -> None:
        """Draw a line."""
        ends = {"x1": one[0], "y1": one[1], "x2": two[0], "y2": two[1]}
        self._add("line", {**ends, "stroke": INK, **look})

    def box(self, corner: Point, size: tuple[float, float], **look: str | float) -> None:
        """Draw a rectangle from its upper left corner."""
        place = {"x": corner[0], "y": corner[1], "width": size[0], "height": size[1]}
        self._add("rect", {**place, "fill": "none", **look})

    def disc(self, middle: Point, radius: float, **look: str | float) -> None:
        """Draw a circle."""
        place = {"cx": middle[0], "cy": middle[1], "r": radius}
        self._add("circle", {**place, "stroke": INK, **look})

    def path(self, points: Sequence[Point], *, closed: bool = False, **look: str | float) -> None:
        """Draw straight lines through the points."""
        steps = " ".join(f"{_short(x)},{_short(y)}" for x, y in points)
        kind = "polygon" if closed else "polyline"
        self._add(kind, {"points": steps, "fill": "none", "stroke": INK, **look})

    def text(self, at: Point, words: str, **look: str | float) -> None:
        """Write words from their baseline's start, or as `text_anchor` says."""
        self._add("text", {"x": at[0], "y": at[1], **look}).text = clean(words)

    def hatch(self) -> str:
        """Return a fill of slanting lines, which reads without colour."""
        name = f"{self._name}-hatch"
        if not self._hatched:
            self._hatched = True
            pattern = SubElement(
                self._root,
                "pattern",
                {"id": name, "width": "5", "height": "5", "patternUnits": "userSpaceOnUse"},
            )
            SubElement(pattern, "path", {"d": "M-1,1 l2,-2 M0,5 l5,-5 M4,6 l2,-2",
                                         "stroke": "#8a8a8a", "stroke-width": "0.7"})  # fmt: skip
        return f"url(#{name})"

    def svg(self) -> str:
        """Return the drawing."""
        return tostring(self._root, encoding="unicode")

    def _add(self, kind: str, look: dict[str, str | float]) -> Element:
        told = {
            key.replace("_", "-") if key != "viewBox" else key: value
            if isinstance(value, str)
            else _short(value)
            for key, value in look.items()
        }
        return SubElement(self._root, kind, told)


def _short(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")
