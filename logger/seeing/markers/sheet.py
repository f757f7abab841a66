"""The sheets to print: strips of markers, and the calibration board, at true size as a PDF.

Everything is drawn as lines and areas in millimetres, from the page's lower left corner.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal

import cv2
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.patches import Circle, FancyArrow, FancyBboxPatch, Polygon, Rectangle
from numpy.typing import NDArray

from logger.core.errors import OutputError, UsageError
from logger.seeing.markers.board import CELLS_A_SQUARE, SQUARE_MM, SQUARES, board_cells
from logger.seeing.markers.sheet_words import ON_ARM, SAFETY, STEPS, TITLES
from logger.seeing.markers.strips import (
    DICTIONARY,
    STRIPS,
    TRUNK_STRIPS,
    Strip,
    StripName,
    Vector,
    folded,
)

Paper = Literal["a4", "letter"]
PAPERS: Final[dict[Paper, tuple[float, float]]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Width and height in millimetres, held upright."""
CARD_MM: Final = (85.60, 53.98)
"""A bank or identity card, ISO/IEC 7810 ID-1."""
BAR_MM: Final = 100.0

_MM_PER_INCH: Final = 25.4
_TOP_BAND_MM: Final = 14.0
_BOTTOM_BAND_MM: Final = 7.0
_FOOT_MM: Final = 14.0
_GREY: Final = "0.45"


@dataclass(frozen=True, slots=True)
class _Page:
    """A page to draw on, in millimetres from its lower left corner."""

    axes: Axes
    width: float
    height: float

    def ink(
        self, start: tuple[float, float], end: tuple[float, float], *, dashed: bool = False
    ) -> None:
        """Draw a line; dashed where the paper is to be folded."""
        xs, ys = zip(start, end, strict=True)
        style, colour = ((0, (6, 5)), _GREY) if dashed else ("solid", "black")
        self.axes.plot(xs, ys, color=colour, linewidth=0.6, linestyle=style)

    def arrow(self, start: tuple[float, float], reach: tuple[float, float], width: float) -> None:
        """Draw an arrow with its shaft `width` wide."""
        length = float(np.hypot(*reach))
        head = min(4.0 * width, length / 2)
        self.axes.add_patch(
            FancyArrow(
                *start,
                *reach,
                width=width,
                length_includes_head=True,
                head_width=2.4 * width,
                head_length=head,
                color="black",
                linewidth=0,
            )
        )

    def text(self, x: float, y: float, words: str, size: float, **more: Any) -> None:
        """Write from the upper left corner (x, y); `size` in points."""
        self.axes.text(x, y, words, fontsize=size, **{"va": "top", "color": "black"} | more)

    def cells(self, black: NDArray[np.bool_], left: float, top: float, cell_mm: float) -> None:
        """Draw the black cells of a grid, its top row first.

        Runs along the rows and along the columns lie over each other: cell by cell, viewers would
        show hairlines of white in between.
        """
        for row, column, length in _runs(black):
            y = top - (row + 1) * cell_mm
            self._black(left + column * cell_mm, y, length * cell_mm, cell_mm)
        for column, row, length in _runs(black.T):
            y = top - (row + length) * cell_mm
            self._black(left + column * cell_mm, y, cell_mm, length * cell_mm)

    def _black(self, x: float, y: float, width: float, height: float) -> None:
        self.axes.add_patch(Rectangle((x, y), width, height, facecolor="black", linewidth=0))


def write_strips(path: Path, paper: Paper) -> None:
    """Write the sheet with the strips and how to put them on.

    Raises:
        UsageError: if `path` does not end in .pdf.
        OutputError: if it cannot be written.

    """
    arms = (_arm_page(paper, name) for name in ("right_arm", "left_arm"))
    _write(path, [_instructions(paper), _trunk_page(paper), *arms])


def write_board(path: Path, paper: Paper) -> None:
    """Write the calibration board; errors as of `write_strips`."""
    _write(path, [_board_page(paper)])


def _write(path: Path, pages: list[Figure]) -> None:
    if path.suffix.lower() != ".pdf":
        raise UsageError(f"The sheet is a PDF: {path} must end in .pdf.")
    try:
        # Without a date, the same sheet gives the same bytes.
        with PdfPages(path, metadata={"CreationDate": None, "Title": "Marker strips"}) as pdf:
            for page in pages:
                pdf.savefig(page)
    except OSError as error:
        raise OutputError(
            f"The sheet cannot be written to {path}: {error.strerror or error}; give another --out."
        ) from error


def _page(paper: Paper, *, upright: bool = True) -> tuple[Figure, _Page]:
    width, height = PAPERS[paper] if upright else PAPERS[paper][::-1]
    figure = Figure(figsize=(width / _MM_PER_INCH, height / _MM_PER_INCH))
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_xlim(0, width)
    axes.set_ylim(0, height)
    axes.set_axis_off()
    return figure, _Page(axes, width, height)


def _instructions(paper: Paper) -> Figure:
    figure, page = _page(paper)
    left, top = 20.0, page.height - 16
    page.text(left, top, "Marker strips for the arm-to-trunk angle", 17, weight="bold")
    top -= 12
    for number, step in enumerate(STEPS, 1):
        lines = textwrap.wrap(" ".join(step.split()), 98)
        page.text(left, top, str(number), 11, weight="bold")
        page.text(left + 7, top, "\n".join(lines), 9.5, linespacing=1.25)
        top -= 4.3 * len(lines) + 2.6
    page.text(left + 7, top, "\n".join(textwrap.wrap(SAFETY, 92)), 9.5, weight="bold")
    _drawings(page, left, top - 16)
    _scale_check(page, left)
    return figure


def _scale_check(page: _Page, left: float) -> None:
    bottom = 14.0
    page.axes.add_patch(
        Rectangle((left, bottom), *CARD_MM, fill=False, edgecolor="black", linewidth=0.6)
    )
    page.text(
        left + CARD_MM[0] / 2,
        bottom + CARD_MM[1] / 2,
        f"A bank card fits exactly:\n{CARD_MM[0]:.2f} x {CARD_MM[1]:.2f} mm (ISO/IEC 7810 ID-1)",
        8.5,
        ha="center",
        va="center",
    )
    y = bottom + CARD_MM[1] + 7
    page.ink((left, y), (left + BAR_MM, y))
    for tick in range(0, int(BAR_MM) + 1, 10):
        page.ink((left + tick, y), (left + tick, y + (3.5 if tick % 50 == 0 else 2)))
    page.text(left + BAR_MM / 2, y + 8.5, f"{BAR_MM:.0f} mm", 8.5, ha="center")


def _drawings(page: _Page, left: float, top: float) -> None:
    """Show both strips from their ends, and where they go on the body."""
    y = top - 26
    _end_view(page, STRIPS["chest"], (left + 22, y + 6), feet=True)
    page.text(left + 22, y - 14, "trunk strip, seen from its end", 8, ha="center")
    _end_view(page, STRIPS["right_arm"], (left + 76, y + 14), feet=False)
    page.axes.add_patch(Circle((left + 76, y + 2.0), 10.5, fill=False, edgecolor=_GREY))
    page.text(left + 76, y - 14, "arm strip, round the arm", 8, ha="center")
    _body(page, (page.width - 55, 48.0))


def _end_view(page: _Page, strip: Strip, top: tuple[float, float], *, feet: bool) -> None:
    """Draw a folded strip a quarter of its size, seen along its arrow."""
    shape = folded(strip, np.radians(np.full(strip.facets - 1, strip.fold_deg)))
    half = strip.pitch_mm / 2 * shape.rightward
    ends = np.concatenate([shape.centres_mm - half, (shape.centres_mm + half)[-1:]])[:, [0, 2]]
    path = ends / 4 + top
    page.axes.plot(*path.T, color="black", linewidth=1.6)
    if feet:
        for end, out in ((path[0], -4.0), (path[-1], 4.0)):
            page.ink((end[0], end[1]), (end[0] + out, end[1]))


def _body(page: _Page, foot: tuple[float, float]) -> None:
    """Draw a patient from the front, the right arm away from the trunk."""
    x, y = foot
    style: dict[str, Any] = {"fill": False, "edgecolor": _GREY, "linewidth": 1.0}
    page.axes.add_patch(Circle((x, y + 84), 9, **style))
    page.axes.add_patch(
        FancyBboxPatch((x - 15, y), 30, 70, boxstyle="round,pad=0,rounding_size=7", **style)
    )
    for sign, angle_deg in ((-1, 55.0), (1, 12.0)):
        turn = np.radians(angle_deg)
        along = np.array([sign * np.sin(turn), -np.cos(turn)])
        shoulder = np.array([x + sign * 18.5, y + 65])
        ends = np.stack([shoulder, shoulder + 38 * along])
        page.axes.plot(*ends.T, color="0.85", linewidth=19, solid_capstyle="round", zorder=0)
        _small_strip(page, shoulder + 20 * along, -along, 7.5)
    _small_strip(page, np.array([x, y + 52]), np.array([0.0, 1.0]), 11)
    page.text(x - 27, y + 82, "patient's\nRIGHT", 8, ha="center")
    page.text(x + 27, y + 82, "patient's\nLEFT", 8, ha="center")


def _small_strip(page: _Page, middle: Vector, up: Vector, width: float) -> None:
    across, along = np.array([up[1], -up[0]]) * width / 2, up * 5.0
    corners = [
        middle + sign_x * across + sign_y * along
        for sign_x, sign_y in ((1, 1), (-1, 1), (-1, -1), (1, -1))
    ]
    page.axes.add_patch(Polygon(corners, facecolor="white", edgecolor="black", linewidth=1.0))
    start = middle - along * 0.7
    page.arrow((start[0], start[1]), (up[0] * 7.0, up[1] * 7.0), 0.8)


def _trunk_page(paper: Paper) -> Figure:
    figure, page = _page(paper)
    height = _strip_height(STRIPS["chest"])
    gap = (page.height - 2 * height) / 3
    for number, name in enumerate(TRUNK_STRIPS):
        _strip(page, STRIPS[name], page.height - gap - number * (height + gap), foot_mm=_FOOT_MM)
    return figure


def _arm_page(paper: Paper, name: StripName) -> Figure:
    figure, page = _page(paper, upright=False)
    strip = STRIPS[name]
    _strip(page, strip, page.height / 2 + _strip_height(strip) / 2, foot_mm=0.0)
    below = page.height / 2 - _strip_height(strip) / 2 - 6
    page.text(page.width / 2, below, ON_ARM, 9, ha="center")
    return figure


def _strip_height(strip: Strip) -> float:
    return strip.rows * strip.pitch_mm + _TOP_BAND_MM + _BOTTOM_BAND_MM


def _strip(page: _Page, strip: Strip, top: float, foot_mm: float) -> None:
    """Draw one strip, in the middle of the page from side to side."""
    title, where = TITLES[strip.name]
    width = strip.facets * strip.pitch_mm
    left, bottom = (page.width - width) / 2, top - _strip_height(strip)
    middle = page.width / 2
    outline = Rectangle(
        (left - foot_mm, bottom), width + 2 * foot_mm, top - bottom, fill=False, linewidth=0.8
    )
    page.axes.add_patch(outline)
    for fold in range(0 if foot_mm else 1, strip.facets + (1 if foot_mm else 0)):
        x = left + fold * strip.pitch_mm
        page.ink((x, bottom), (x, top), dashed=True)
    for number in strip.ids:
        _marker(page, strip, number, (left, top - _TOP_BAND_MM))
    page.arrow((middle, top - _TOP_BAND_MM + 1.5), (0.0, _TOP_BAND_MM - 3.5), 3.0)
    # A white ground: the folds run through the words.
    style: dict[str, Any] = {
        "weight": "bold",
        "bbox": {"facecolor": "white", "edgecolor": "none", "pad": 1.5},
    }
    page.text(middle + 6, top - 4, where, 9, **style)
    page.text(middle - 6, top - 4, title, 9, ha="right", **style)
    ids = f"markers {strip.ids[0]} to {strip.ids[-1]}, {strip.marker_mm:.0f} mm"
    page.text(middle, bottom + 4.5, ids, 7, ha="center", color=_GREY)


def _marker(page: _Page, strip: Strip, number: int, corner: tuple[float, float]) -> None:
    dictionary = cv2.aruco.getPredefinedDictionary(DICTIONARY)
    fields = dictionary.markerSize + 2
    black = np.asarray(cv2.aruco.generateImageMarker(dictionary, number, fields)) == 0
    place, rim = strip.place(number), (strip.pitch_mm - strip.marker_mm) / 2
    left = corner[0] + place.facet * strip.pitch_mm + rim
    top = corner[1] - place.row * strip.pitch_mm - rim
    page.cells(black, left, top, strip.marker_mm / fields)


def _board_page(paper: Paper) -> Figure:
    figure, page = _page(paper, upright=False)
    width, height = SQUARES[0] * SQUARE_MM, SQUARES[1] * SQUARE_MM
    left, top = (page.width - width) / 2, page.height - 7
    page.cells(board_cells(), left, top, SQUARE_MM / CELLS_A_SQUARE)
    words = (
        "Calibration board. Glue it onto something stiff and flat. Film it for half a minute with "
        "the camera and setting of the sessions: near and far, in every corner of the picture, "
        "tipped to all sides, held still now and then."
    )
    page.text(left, top - height - 3, "\n".join(textwrap.wrap(words, 170)), 8)
    return figure


def _runs(black: NDArray[np.bool_]) -> Iterator[tuple[int, int, int]]:
    """Yield (row, first column, length) of each run of black cells in a row."""
    for row, cells in enumerate(black):
        edges = np.flatnonzero(np.diff(np.concatenate([[False], cells, [False]]).astype(int)))
        for start, end in edges.reshape(-1, 2).tolist():
            yield row, start, end - start
