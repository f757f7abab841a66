"""The angle of each arm over time as a picture: holds, target windows, and where nothing was seen.

Nothing is told by colour alone: the arms have their own panel, name and line style, a fit has its
own mark and words, and an unseen stretch is hatched and named. The colours are those of Okabe and
Ito, which colour-blind readers can tell apart. Importing this module imports matplotlib.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from pathlib import Path
from typing import Any, Final
from xml.sax.saxutils import escape

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.ticker import FuncFormatter, MaxNLocator, MultipleLocator
from matplotlib.transforms import Bbox

from logger.core.events import ArmAngle, Side
from logger.core.holds import Fit, Hold, HoldKind, JudgedHold, Practice, Target
from logger.core.words import angle_text, clock, fits_text, letter, named, remarks, target_text

_BLUE, _VERMILION, _GREEN = "#0072B2", "#D55E00", "#009E73"
_INK, _GREY = "#222222", "#777777"
_LINE: Final[dict[Side, tuple[str, str | tuple[float, tuple[float, float]]]]] = {
    "right": (_BLUE, "solid"),
    "left": (_VERMILION, (0, (4, 1.5))),
}
_STYLE: Final[dict[Any, Any]] = {
    "font.family": ["DejaVu Sans", "sans-serif"],
    "font.size": 11,
    "hatch.linewidth": 0.6,
    "svg.fonttype": "none",
    "svg.hashsalt": "angle",
    "text.color": _INK,
    "axes.labelcolor": _INK,
    "xtick.color": _INK,
    "ytick.color": _INK,
}
_WIDTH_IN: Final = 12.0
_WIDEST_IN: Final = 26.0
_ROOMY_S: Final = 100.0
"""A longer recording gets a wider picture, up to the widest."""
_PANEL_IN: Final = 3.4
_DPI: Final = 130
_SCREEN_DPI: Final = 100
"""The figure's own, in which places are computed."""
_POINTS_IN: Final = 72
_LETTER_PX: Final = 7.6
"""The width of a letter of the smallest text, in dots of the figure."""
_PLACES: Final = ((11, "bottom"), (-11, "top"), (40, "bottom"), (-40, "top"), (70, "bottom"))
"""Where a label may stand: points above the hold, and which of its edges is there."""
_BREAK_S: Final = 0.5
"""Samples further apart are not joined by a line."""
NOTE: Final = (
    "The setup angle only, between upper arm and trunk as the camera sees it; within its own error "
    "of a limit counts as borderline. Nothing is said about the technique."
)
_KEY: Final = (
    "●  in the window      ◇  borderline      △ ▽  out, pointing to the window      "
    "–  at rest, not judged      hatched: not seen, no angle known"  # noqa: RUF001 - the mark itself
)


@dataclass(frozen=True, slots=True)
class PlotText:
    """What stands around the plot."""

    title: str
    summary: str
    """One sentence, under the title."""


def write_plots(
    practice: Practice, angles: Sequence[ArmAngle], sides: Sequence[Side], text: PlotText, to: Path
) -> None:
    """Write setup.png and setup.svg into the folder `to`; the same input gives the same bytes."""
    with mpl.rc_context(_STYLE):
        figure = draw(practice, angles, sides, text)
        figure.savefig(to / "setup.png", dpi=_DPI, metadata={"Software": None})
        svg = to / "setup.svg"
        figure.savefig(svg, metadata={"Title": text.title, "Date": None, "Creator": None})
    told = described(svg.read_text(encoding="utf-8"), text.title, description(practice, text))
    svg.write_bytes(told.encode("utf-8"))


def description(practice: Practice, text: PlotText) -> str:
    """Return everything the picture shows in words, for those who cannot see it."""
    parts = [text.summary]
    for number, target in enumerate(practice.targets):
        window = target_text(target)
        parts.append(f"Window {letter(number)}: {window} for {named(target.tests)}.")
    for judged in practice.holds:
        hold = judged.hold
        hidden = "" if hold.seen_share == 1 else f"seen {100 * hold.seen_share:.0f}% of the time"
        fits = fits_text(judged, practice.targets)
        said = [angle_text(hold), fits, hidden, *remarks(hold)]
        parts.append(
            f"{hold.kind.value.capitalize()} {judged.number}, {hold.side} arm, "
            f"{clock(hold.start_s)} to {clock(hold.end_s)}: {', '.join(filter(None, said))}."
        )
    parts.extend(
        f"The {unseen.side} arm was not seen from {clock(unseen.start_s)} to "
        f"{clock(unseen.end_s)}{f' ({unseen.reason})' if unseen.reason else ''}."
        for unseen in practice.unseen
    )
    return " ".join(parts)


def described(svg: str, title: str, desc: str) -> str:
    """Return an SVG with a title and a description that readers of screens find."""
    start = svg.index("<svg")
    head_end = svg.index(">", start)
    head = svg[start:head_end] + ' role="img" aria-labelledby="plot-title plot-desc">'
    body = svg[head_end + 1 :]
    plain = f"<title>{escape(title)}</title>"
    if body.lstrip().startswith(plain):
        body = body.replace(plain, "", 1)
    told = (
        f'\n <title id="plot-title">{escape(title)}</title>'
        f'\n <desc id="plot-desc">{escape(desc)}</desc>'
    )
    return svg[:start] + head + told + body


def draw(
    practice: Practice, angles: Sequence[ArmAngle], sides: Sequence[Side], text: PlotText
) -> Figure:
    """Return the picture: one panel for each side."""
    width_in = min(max(_WIDTH_IN, _WIDTH_IN * practice.duration_s / _ROOMY_S), _WIDEST_IN)
    height_in = _PANEL_IN * len(sides) + 2.2
    figure = Figure(figsize=(width_in, height_in), facecolor="white", dpi=_SCREEN_DPI)
    FigureCanvasAgg(figure)
    panels = figure.subplots(len(sides), 1, sharex=True, sharey=True, squeeze=False)[:, 0]
    figure.subplots_adjust(
        left=0.75 / width_in,
        right=1 - 2.6 / width_in,
        top=1 - 1.1 / height_in,
        bottom=1.1 / height_in,
        hspace=0.22,
    )
    left = 0.75 / width_in
    figure.text(left, 1 - 0.3 / height_in, text.title, size=16, weight="bold", va="center")
    figure.text(left, 1 - 0.62 / height_in, text.summary, size=11, va="center")
    figure.text(left, 0.42 / height_in, _KEY, size=9, color="#555555", va="center")
    figure.text(left, 0.18 / height_in, NOTE, size=9, color="#555555", va="center")
    top_deg = _top(practice, angles)
    for panel, side in zip(panels, sides, strict=True):
        panel.set_xlim(0, max(practice.duration_s, 1.0))
        panel.set_ylim(0, top_deg)
        _frame(panel, side)
        _windows(panel, practice.targets)
        taken = _unseen(panel, practice, side)
        _trace(panel, angles, side)
        _holds(panel, practice, side, taken)
    panels[-1].set_xlabel("time from the recording's start (minutes:seconds)")
    return figure


def _top(practice: Practice, angles: Sequence[ArmAngle]) -> float:
    seen = [a.angle_deg for a in angles if a.visible and a.angle_deg is not None]
    highest = max([60.0, *seen, *(target.high_deg for target in practice.targets)])
    return min(30.0 * ceil((highest + 30) / 30), 210.0)


def _frame(panel: Axes, side: Side) -> None:
    panel.yaxis.set_major_locator(MultipleLocator(30))
    panel.yaxis.set_major_formatter(FuncFormatter(lambda deg, _: f"{deg:.0f}°"))
    panel.xaxis.set_major_locator(MaxNLocator(14, steps=[1, 1.5, 2, 3, 5, 6, 10], integer=True))
    panel.xaxis.set_major_formatter(FuncFormatter(lambda s, _: clock(s).rpartition(".")[0]))
    panel.set_ylabel("angle to the trunk")
    colour, dashes = _LINE[side]
    name = f"{side.capitalize()} arm ({'solid' if dashes == 'solid' else 'dashed'} line)"
    panel.set_title(name, loc="left", size=12, weight="bold", color=colour, pad=5)
    panel.grid(axis="y", color="#dddddd", linewidth=0.7)
    panel.set_axisbelow(True)
    for edge in ("top", "right"):
        panel.spines[edge].set_visible(False)


def _windows(panel: Axes, targets: Sequence[Target]) -> None:
    """Shade the windows; where they overlap the shade is deeper. Each is named at the right."""
    last_deg = -np.inf
    for number, target in sorted(enumerate(targets), key=lambda item: _label_deg(item[1], targets)):
        panel.axhspan(target.low_deg, target.high_deg, color=_GREEN, alpha=0.15, linewidth=0)
        for limit in (target.low_deg, target.high_deg):
            panel.axhline(limit, color=_GREEN, linewidth=0.9, alpha=0.8)
        name = f"{letter(number)}  " if len(targets) > 1 else ""
        told = textwrap.fill(named(target.tests), 30).split("\n")
        told = [*told[:3], "…"] if len(told) > 4 else told  # noqa: PLR2004 - lines of room
        lines = [f"{name}{target_text(target)}", *told]
        height_deg = 9.0 * len(lines)
        at_deg = max(_label_deg(target, targets), last_deg + height_deg / 2 + 2)
        last_deg = at_deg + height_deg / 2
        panel.annotate(
            "\n".join(lines),
            (1.0, at_deg),
            xycoords=panel.get_yaxis_transform(),
            xytext=(8, 0),
            textcoords="offset points",
            va="center",
            size=9.5,
            color="#00664b",
            annotation_clip=False,
        )


def _label_deg(target: Target, targets: Sequence[Target]) -> float:
    """Return a height within the window, above the narrower windows inside it where there is."""
    inside = [t.high_deg for t in targets if t.high_deg < target.high_deg and t != target]
    low_deg = max([target.low_deg, *inside])
    return (low_deg + target.high_deg) / 2


def _unseen(panel: Axes, practice: Practice, side: Side) -> list[Bbox]:
    """Hatch the unseen stretches and return where words stand."""
    taken: list[Bbox] = []
    for unseen in practice.unseen:
        if unseen.side != side:
            continue
        panel.axvspan(
            unseen.start_s,
            unseen.end_s,
            facecolor="#f2f2f2",
            edgecolor="#9a9a9a",
            hatch="////",
            linewidth=0,
        )
        panel.axvspan(unseen.start_s, unseen.end_s, facecolor="none", edgecolor="#9a9a9a", lw=0.6)
        width_px = panel.get_window_extent().width * (unseen.end_s - unseen.start_s)
        room = int(width_px / max(practice.duration_s, 1.0) / _LETTER_PX)
        if room < len("not seen"):
            continue
        label = panel.text(
            (unseen.start_s + unseen.end_s) / 2,
            0.975,
            textwrap.fill(f"not seen: {unseen.reason}".removesuffix(": "), room),
            transform=panel.get_xaxis_transform(),
            ha="center",
            va="top",
            size=8.5,
            color="#444444",
            bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.85, "pad": 1},
        )
        taken.append(label.get_window_extent())
    return taken


def _trace(panel: Axes, angles: Sequence[ArmAngle], side: Side) -> None:
    colour, dashes = _LINE[side]
    seen = sorted(
        (a.time_s, a.angle_deg)
        for a in angles
        if a.side == side and a.visible and a.angle_deg is not None
    )
    if not seen:
        return
    time_s, angle_deg = np.array(seen).T
    breaks = np.flatnonzero(np.diff(time_s) > _BREAK_S + 1e-6) + 1
    for times, values in zip(np.split(time_s, breaks), np.split(angle_deg, breaks), strict=True):
        panel.plot(times, values, color=colour, linestyle=dashes, linewidth=1.4, zorder=3)


def _holds(panel: Axes, practice: Practice, side: Side, taken: list[Bbox]) -> None:
    """Draw the holds of one arm, and their labels where nothing is `taken`."""
    colour, _ = _LINE[side]
    mine = [judged for judged in practice.holds if judged.hold.side == side]
    for judged in mine:
        hold = judged.hold
        line = _GREY if best_fit(judged) is Fit.AT_REST else colour
        times = (hold.start_s, hold.end_s)
        style = {"linewidth": 4, "solid_capstyle": "butt", "alpha": 0.55, "zorder": 4}
        panel.plot(times, _ends_deg(hold), color=line, **style)  # type: ignore[arg-type]
        panel.plot(*_middle(hold), **_mark(judged, line))  # type: ignore[arg-type]
        x, y = panel.transData.transform(_middle(hold))
        taken.append(Bbox.from_extents(x - 6, y - 6, x + 6, y + 6))
    for judged in mine:
        _label(panel, judged, practice.targets, taken)


def _ends_deg(hold: Hold) -> tuple[float, float]:
    if hold.kind is HoldKind.DRIFT:
        return hold.first_deg, hold.last_deg
    return hold.angle_deg, hold.angle_deg


def _middle(hold: Hold) -> tuple[float, float]:
    return (hold.start_s + hold.end_s) / 2, sum(_ends_deg(hold)) / 2


def best_fit(judged: JudgedHold) -> Fit | None:
    """Return the fit to the window it fits best; None without windows."""
    order = (Fit.IN_RANGE, Fit.BORDERLINE, Fit.OUT_OF_RANGE, Fit.AT_REST)
    return min((c.fit for c in judged.comparisons), key=order.index, default=None)


def _mark(judged: JudgedHold, colour: str) -> dict[str, object]:
    """Return a mark that tells the fit without colour."""
    fit = best_fit(judged)
    style: dict[str, object] = {
        "marker": "o",
        "markersize": 9,
        "markeredgewidth": 1.6,
        "color": colour,
        "markerfacecolor": colour,
        "zorder": 5,
    }
    if fit is Fit.OUT_OF_RANGE:
        above = min(judged.comparisons, key=lambda c: abs(c.off_deg)).off_deg > 0
        style |= {"marker": "v" if above else "^", "markerfacecolor": "white", "markersize": 11}
    elif fit is Fit.BORDERLINE:
        style |= {"marker": "D", "markerfacecolor": "white", "markersize": 8}
    elif fit is Fit.AT_REST:
        style |= {"marker": "_"}
    return style


def _label(panel: Axes, judged: JudgedHold, targets: tuple[Target, ...], taken: list[Bbox]) -> None:
    """Write number, angle and fit beside the hold, above or below what is there already."""
    rest = best_fit(judged) is Fit.AT_REST
    kind = "drift " if judged.hold.kind is HoldKind.DRIFT else ""
    fits = fits_text(judged, targets).replace("; ", "\n")
    text = f"{judged.number}:  {kind}{angle_text(judged.hold)}{', ' if rest else chr(10)}{fits}"
    for offset, side in _PLACES:
        label = panel.annotate(
            text.strip(),
            _middle(judged.hold),
            xytext=(0, offset),
            textcoords="offset points",
            ha="center",
            va=side,
            size=9.5,
            linespacing=1.15,
            color="#666666" if rest else _INK,
            zorder=6,
            bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 1},
        )
        box = _within(panel, label)
        if box is not None and not any(box.overlaps(other) for other in taken):
            taken.append(box)
            return
        label.remove()
    # No room for words: the number finds the hold in the table.
    label = panel.annotate(
        str(judged.number),
        _middle(judged.hold),
        xytext=(0, 9),
        textcoords="offset points",
        ha="center",
        size=9.5,
        weight="bold",
        zorder=6,
    )
    taken.append(label.get_window_extent())


def _within(panel: Axes, label: Text) -> Bbox | None:
    """Return a label's place, moved sideways into the panel; None where it is too high or low."""
    room, box = panel.get_window_extent(), label.get_window_extent()
    beyond = max(room.x0 - box.x0, 0) - max(box.x1 - room.x1, 0)
    if beyond:
        x, y = label.get_position()
        label.set_position((x + beyond * _POINTS_IN / _SCREEN_DPI, y))
        box = label.get_window_extent()
    return box if box.y0 >= room.y0 and box.y1 <= room.y1 + 12 else None
