"""The sheets at true size: rendered by another program (PDFium) and measured in the picture."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import cv2
import numpy as np
import pypdfium2
import pytest
from click.testing import CliRunner
from numpy.typing import NDArray

from logger.cli import main
from logger.core.errors import OutputError, UsageError
from logger.seeing.markers.board import SQUARE_MM, charuco_board
from logger.seeing.markers.detecting import MarkerDetector
from logger.seeing.markers.sheet import PAPERS, Paper, write_board, write_strips
from logger.seeing.markers.strips import STRIPS, Vector, strip_of

DPI: Final = 200
PX_PER_MM: Final = DPI / 25.4
PAPER_NAMES: Final[tuple[Paper, ...]] = ("a4", "letter")


def pages(path: Path) -> list[NDArray[np.uint8]]:
    """Return the pages as RGB pictures at `DPI`."""
    document = pypdfium2.PdfDocument(path)
    try:
        return [
            np.asarray(page.render(scale=DPI / 72).to_pil().convert("RGB")) for page in document
        ]
    finally:
        document.close()


@pytest.fixture(scope="module", params=PAPER_NAMES)
def strips(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> list[NDArray[np.uint8]]:
    path = tmp_path_factory.mktemp("sheet") / "markers.pdf"
    write_strips(path, request.param)
    return pages(path)


def test_pages_have_the_papers_size(tmp_path: Path) -> None:
    """ISO 216 A4 is 210 x 297 mm; US Letter is 8.5 x 11 inches."""
    assert PAPERS["a4"] == (210, 297)
    assert PAPERS["letter"] == pytest.approx((8.5 * 25.4, 11 * 25.4))
    for paper in PAPER_NAMES:
        write_strips(tmp_path / "m.pdf", paper)
        document = pypdfium2.PdfDocument(tmp_path / "m.pdf")
        sizes = [sorted(side / 72 * 25.4 for side in page.get_size()) for page in document]
        document.close()
        assert sizes == [pytest.approx(PAPERS[paper], abs=0.05)] * 4


def test_markers_are_on_the_paper_where_the_reader_takes_them_to_be(
    strips: list[NDArray[np.uint8]],
) -> None:
    found: dict[int, Vector] = {}
    for page in strips:
        corners = MarkerDetector().find(page).corners_px
        assert not found.keys() & corners.keys()
        found |= {n: (c + 0.5) / PX_PER_MM * (1, -1) for n, c in corners.items()}
    assert set(found) == {number for strip in STRIPS.values() for number in strip.ids}
    for number, corners_mm in found.items():
        strip = strip_of(number)
        assert strip is not None
        # PDFium draws up to a pixel, 0.13 mm, outwards.
        sides = np.linalg.norm(corners_mm - np.roll(corners_mm, 1, axis=0), axis=1)
        assert sides == pytest.approx(np.full(4, strip.marker_mm), abs=0.2)
        # From the strip's first marker, as the layout says.
        place, first = strip.place(number), found[strip.first_id]
        wanted = first + np.array((place.facet, -place.row)) * strip.pitch_mm
        assert corners_mm == pytest.approx(wanted, abs=0.15)


def test_everything_lies_within_what_printers_can_print(strips: list[NDArray[np.uint8]]) -> None:
    """Home printers leave about 5 mm free at each edge; common practice, no source."""
    rim = round(5 * PX_PER_MM)
    for page in strips:
        inner = np.zeros(page.shape[:2], bool)
        inner[rim:-rim, rim:-rim] = True
        assert (page[~inner] > 250).all()
        assert (page[inner] < 100).any()


def test_bar_and_card_are_true(strips: list[NDArray[np.uint8]]) -> None:
    """A card is 85.60 x 53.98 mm (ISO/IEC 7810 ID-1, from memory); the bar is 100 mm."""
    black = (strips[0].min(axis=-1) < 110).astype(np.uint8)
    kernel = np.ones((1, round(60 * PX_PER_MM)), np.uint8)
    lines = cv2.morphologyEx(black, cv2.MORPH_OPEN, kernel)
    _, _, stats, _ = cv2.connectedComponentsWithStats(lines)
    rows = sorted((int(s[1]), s[2] / PX_PER_MM) for s in stats[1:])
    lengths = [length for _, length in rows]
    assert lengths == pytest.approx([100, 85.60, 85.60], abs=0.35)
    assert (rows[2][0] - rows[1][0]) / PX_PER_MM == pytest.approx(53.98, abs=0.15)


def test_arrow_end_of_a_strip_is_its_top(strips: list[NDArray[np.uint8]]) -> None:
    """The arrow is the only large black thing above the markers, and it narrows upwards."""
    page = strips[2]
    tops = [c[:, 1].min() for c in MarkerDetector().find(page).corners_px.values()]
    band = page[round(min(tops) - 18 * PX_PER_MM) : round(min(tops) - 5.5 * PX_PER_MM)]
    middle = page.shape[1] // 2
    part = band[:, middle - round(4 * PX_PER_MM) : middle + round(4 * PX_PER_MM)].min(axis=-1) < 128
    widths = part.sum(axis=1)
    inked = widths[widths > 0]
    assert inked[:4].mean() < inked.max() / 4
    assert np.argmax(inked) < 0.7 * len(inked)


def test_board_is_the_one_that_calibrates(tmp_path: Path) -> None:
    for paper in PAPER_NAMES:
        write_board(tmp_path / "board.pdf", paper)
        (page,) = pages(tmp_path / "board.pdf")
        corners, numbers, _, _ = cv2.aruco.CharucoDetector(charuco_board()).detectBoard(
            cv2.cvtColor(page, cv2.COLOR_RGB2GRAY)
        )
        assert numbers is not None
        assert len(numbers) == 24
        points = np.asarray(corners).reshape(-1, 2) / PX_PER_MM
        steps = np.linalg.norm(np.diff(points[:6], axis=0), axis=1)
        assert steps == pytest.approx(np.full(5, SQUARE_MM), abs=0.1)


def test_same_sheet_is_the_same_file(tmp_path: Path) -> None:
    write_strips(tmp_path / "a.pdf", "a4")
    write_strips(tmp_path / "b.pdf", "a4")
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()


def test_sheet_says_what_a_clinician_needs(tmp_path: Path) -> None:
    write_strips(tmp_path / "a.pdf", "letter")
    document = pypdfium2.PdfDocument(tmp_path / "a.pdf")
    words = [page.get_textpage().get_text_bounded() for page in document]
    document.close()
    for word in ("actual size", "acromion", "no medical device", "breastbone", "100 mm"):
        assert word in " ".join(words[0].split())
    assert "CHEST" in words[1]
    assert "BACK" in words[1]
    assert "RIGHT" in words[2]
    assert "LEFT" in words[3]


def test_wrong_names_and_places_are_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"must end in \.pdf"):
        write_strips(tmp_path / "markers.png", "a4")
    with pytest.raises(OutputError, match="cannot be written"):
        write_strips(tmp_path / "no folder" / "markers.pdf", "a4")
    (tmp_path / "taken.pdf").mkdir()
    with pytest.raises(OutputError, match="cannot be written"):
        write_board(tmp_path / "taken.pdf", "a4")
    assert not list((tmp_path / "taken.pdf").iterdir())


def test_command_writes_both_sheets(tmp_path: Path) -> None:
    for more in ([], ["--board", "--paper", "letter"]):
        out = tmp_path / f"{len(more)}.PDF"
        result = CliRunner().invoke(main, ["markers", "--out", str(out), *more])
        assert result.exit_code == 0, result.output
        assert out.read_bytes().startswith(b"%PDF")
        assert "actual size" in result.output


def test_command_leaves_with_the_code_of_the_mistake(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    for name, code in (("a.txt", 2), ("no folder/a.pdf", 6)):
        monkeypatch.setattr(
            "sys.argv", ["spoken-findings", "markers", "--out", str(tmp_path / name)]
        )
        with pytest.raises(SystemExit) as left:
            main()
        assert left.value.code == code
        assert len(capsys.readouterr().err.strip().splitlines()) == 1
