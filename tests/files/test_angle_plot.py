"""The plot of a practice: well-formed, told in words, true to the trace."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle
from matplotlib.text import Text
from PIL import Image

from logger.core.events import SIDES, ArmAngle, Side
from logger.core.holds import Practice
from logger.core.statements import SetupWindow
from logger.files.angle_plot import PlotText, described, draw, write_plots
from logger.findings.holds import find_holds, find_unseen, judge, targets_of
from logger.findings.pieces import HoldRules

SVG = "{http://www.w3.org/2000/svg}"
RULES = HoldRules()
WINDOWS = {
    "posterior_glide": SetupWindow(30, 60, "invented"),
    "inferior_glide": SetupWindow(30, 90, "invented"),
}
TEXT = PlotText("Setup angle: a <b> & c.mp4", "4 holds.")


def trace(side: Side = "right") -> list[ArmAngle]:
    """Return 20 s: 50 degrees, unseen from 6 to 10 s, then 75 degrees."""
    return [
        ArmAngle(i / 5, side, 50.0 if i < 40 else 75.0, visible=not 30 < i < 50,
                 reason="hands cover the arm" if 30 < i < 50 else "")
        for i in range(101)
    ]  # fmt: skip


def practice(angles: list[ArmAngle], duration_s: float = 20.0) -> Practice:
    targets = targets_of(WINDOWS)
    holds = judge(find_holds(angles, RULES), targets, angles, RULES)
    return Practice(duration_s, holds, find_unseen(angles, duration_s, RULES), targets)


def panels(angles: list[ArmAngle]) -> tuple[Axes, Axes]:
    right, left = draw(practice(angles), angles, ("right", "left"), TEXT).axes
    return right, left


def words(panel: Axes) -> list[str]:
    return [text.get_text() for text in panel.findobj(Text)]


def test_svg_is_well_formed_and_has_title_and_description(tmp_path: Path) -> None:
    angles = trace()
    write_plots(practice(angles), angles, ("right", "left"), TEXT, tmp_path)
    root = ET.parse(tmp_path / "setup.svg").getroot()  # noqa: S314 - our own file
    assert root.tag == f"{SVG}svg"
    titles, descs = root.findall(f"{SVG}title"), root.findall(f"{SVG}desc")
    assert [title.text for title in titles] == ["Setup angle: a <b> & c.mp4"]
    assert root[0] is titles[0]
    told = descs[0].text or ""
    for part in ("4 holds.", "right arm, 0:00.0 to 0:06.0: 50°", "A, B in", "A out, 15° above",
                 "not seen from 0:06.0 to 0:10.0 (hands cover the arm)"):  # fmt: skip
        assert part in told
    assert root.get("role") == "img"
    ids = {element.get("id") for element in root.iter()}
    assert set((root.get("aria-labelledby") or "").split()) <= ids
    assert any("hands cover" in (e.text or "") for e in root.iter(f"{SVG}text")), "text stays text"


def test_same_input_gives_the_same_bytes(tmp_path: Path) -> None:
    angles = trace()
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        write_plots(practice(angles), angles, SIDES, TEXT, tmp_path / name)
    for file in ("setup.png", "setup.svg"):
        assert (tmp_path / "a" / file).read_bytes() == (tmp_path / "b" / file).read_bytes()


def test_png_is_a_picture_that_holds_more_than_paper(tmp_path: Path) -> None:
    angles = trace()
    write_plots(practice(angles), angles, SIDES, TEXT, tmp_path)
    with Image.open(tmp_path / "setup.png") as image:
        pixels = np.asarray(image.convert("RGB"))
    assert pixels.shape[1] >= 1400
    assert 0.1 < (pixels != 255).any(axis=-1).mean() < 0.9


def test_lines_stop_where_nothing_was_seen() -> None:
    right, left = panels(trace())
    seen = [line for line in right.lines if line.get_linewidth() == 1.4]
    spans = [(line.get_xdata()[0], line.get_xdata()[-1]) for line in seen]  # type: ignore[index]
    assert spans == [(0.0, 6.0), (10.0, 20.0)]
    assert not [line for line in left.lines if line.get_linewidth() == 1.4]
    assert "not seen: hands cover\nthe arm" in words(right)
    assert "not seen" in words(left)


def test_holds_are_labelled_and_arms_told_apart_without_colour() -> None:
    right, left = panels([*trace(), *trace("left")])
    labels = {label.replace("\n", " ") for label in words(right)}
    assert "2:  50° A, B in" in labels
    assert "4:  75° A out, 15° above B in" in labels
    assert right.get_title(loc="left") == "Right arm (solid line)"
    assert left.get_title(loc="left") == "Left arm (dashed line)"
    styles = [
        {line.get_linestyle() for line in panel.lines if line.get_linewidth() == 1.4}
        for panel in (right, left)
    ]
    assert styles == [{"-"}, {"--"}]


def test_windows_are_shaded_between_their_limits() -> None:
    right, _ = panels(trace())
    bands = {
        (round(patch.get_y()), round(patch.get_y() + patch.get_height()))
        for patch in right.patches
        if isinstance(patch, Rectangle) and patch.get_alpha() == 0.15
    }
    assert bands == {(30, 60), (30, 90)}


@settings(deadline=None, max_examples=8)
@given(st.lists(st.floats(0, 180), min_size=1, max_size=40), st.floats(0.5, 900))
def test_labels_do_not_lie_on_each_other(levels: list[float], duration_s: float) -> None:
    """However many holds there are; the last resort is a bare number."""
    step_s = duration_s / len(levels)
    angles = [
        ArmAngle(i * step_s + k * step_s / 8, "right", level, visible=True)
        for i, level in enumerate(levels)
        for k in range(8)
    ]
    made = practice(angles, duration_s)
    (panel,) = draw(made, angles, ("right",), TEXT).axes
    boxes = [
        text.get_window_extent()
        for text in panel.texts
        if text.get_text().partition(":")[0].isdigit() and "\n" in text.get_text()
    ]
    for i, box in enumerate(boxes):
        assert not any(box.overlaps(other) for other in boxes[:i])


def test_empty_practice_can_be_drawn(tmp_path: Path) -> None:
    write_plots(practice([], 3.0), [], ("left",), TEXT, tmp_path)
    assert (tmp_path / "setup.svg").stat().st_size > 1000
    write_plots(Practice(0.0, (), (), ()), [], ("left", "right"), TEXT, tmp_path)


@pytest.mark.parametrize("title", ["<", "a & b", '"quoted"'])
def test_any_title_keeps_the_svg_well_formed(title: str) -> None:
    plain = '<?xml version="1.0"?>\n<svg xmlns="http://www.w3.org/2000/svg" width="1">\n</svg>'
    root = ET.fromstring(described(plain, title, "a < b"))  # noqa: S314 - our own text
    assert [child.text for child in root] == [title, "a < b"]
