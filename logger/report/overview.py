"""A small drawing of the body from the front that says where the findings are."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from logger.core.events import SIDES, Side
from logger.report.svg import GREY, INK, Drawing, Point

_SIZE: Final = (340.0, 118.0)
_MIDDLE: Final = 170.0
_RIGHT_HALF: Final[tuple[Point, ...]] = (
    (0, 25), (-6, 26), (-7, 32), (-25, 37), (-32, 45), (-36, 66), (-40, 90), (-43, 104),
    (-37, 106), (-32, 90), (-27, 68), (-23, 56), (-21, 76), (-22, 96), (-23, 114), (0, 114),
)  # fmt: skip
"""The outline's half that the reader sees on the left: the patient's right."""
_JOINTS: Final[Mapping[str, Point]] = {
    "shoulder": (-26, 43),
    "elbow": (-33, 70),
    "wrist": (-39, 98),
    "hip": (-16, 104),
}


@dataclass(frozen=True, slots=True)
class SideSummary:
    """What was found on one side, in few words."""

    tested: int
    """How many directions."""
    limited: int
    to_check: bool
    lines: tuple[str, ...]
    """At most four."""


def overview(sides: Mapping[Side, SideSummary], joint: str, involved: Side | None) -> str:
    """Return the drawing as SVG: ● limited, ○ tested and not limited, dashed not tested."""
    desc = ". ".join(f"{side}: {', '.join(sides[side].lines)}" for side in SIDES)
    drawing = Drawing("body", _SIZE, "Overview, the body seen from the front", f"{desc}.")
    outline = [(_MIDDLE + x, y) for x, y in _RIGHT_HALF]
    mirrored = [(_MIDDLE - x, y) for x, y in reversed(_RIGHT_HALF)]
    drawing.path(outline + mirrored, fill="#f4f4f4", stroke_width=1)
    drawing.disc((_MIDDLE, 15), 11, fill="#f4f4f4", stroke_width=1)
    for side in SIDES:
        _side(drawing, side, sides[side], joint, involved=side == involved)
    return drawing.svg()


def _side(
    drawing: Drawing, side: Side, summary: SideSummary, joint: str, *, involved: bool
) -> None:
    way = 1 if side == "right" else -1
    name = f"{side.upper()}{' (involved)' if involved else ''}"
    # The patient's right is on the reader's left.
    edge, anchor = (_MIDDLE - 52, "end") if side == "right" else (_MIDDLE + 52, "start")
    drawing.text((edge, 18), name, font_weight="bold", text_anchor=anchor)
    for number, line in enumerate(summary.lines):
        drawing.text((edge, 34 + 13 * number), line, text_anchor=anchor, font_size=9.5)
    place = _JOINTS.get(joint)
    if place is None:
        return
    at = (_MIDDLE + way * place[0], place[1])
    if not summary.tested:
        drawing.disc(at, 6, fill="white", stroke=GREY, stroke_dasharray="2 2")
    else:
        drawing.disc(at, 6, fill=INK if summary.limited else "white", stroke_width=1.4)
    if summary.to_check:
        drawing.text((at[0] + way * -10, at[1] - 6), "?", font_weight="bold", text_anchor="middle")
