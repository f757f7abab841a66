"""Make the pictures in docs/report: `python docs/report_pictures.py`; wants Chromium.

The invented session of tests/demo as a page and on paper, four of them compared, and the
demonstration session on paper. `--session FOLDER` says where that was read to.
"""

from __future__ import annotations

import argparse
import shutil
import sys
from pathlib import Path

import pypdfium2
from PIL import Image
from playwright.sync_api import sync_playwright

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "tests" / "demo"))

from invented import PACK, first_session, later_session, trace

from logger.files.stored import read_angles, read_session
from logger.report.comparison import compare, comparison_report
from logger.report.document import Document
from logger.report.occasions import Occasion
from logger.report.page import html_page
from logger.report.paper import pdf_pages
from logger.report.session_report import Material, session_report


def shot(document: Document, to: Path) -> None:
    """Take a picture of the whole page in Chromium."""
    path = shutil.which("chromium")
    if path is None:
        sys.exit("Chromium is missing: install it, or look at the page yourself.")
    with sync_playwright() as started:
        browser = started.chromium.launch(executable_path=path, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 1000, "height": 900})
        page.set_content(html_page(document))
        page.screenshot(path=to, full_page=True)
        browser.close()
    reduced(to)


def printed(document: Document, to: Path) -> None:
    """Take a picture of the first page on paper."""
    pypdfium2.PdfDocument(pdf_pages(document))[0].render(scale=1.7).to_pil().save(to)
    reduced(to)


def reduced(picture: Path) -> None:
    """Make a picture small: grey text needs few colours."""
    Image.open(picture).convert("L").quantize(16).save(picture, optimize=True)


def main() -> None:
    """Make all of them."""
    asked = argparse.ArgumentParser()
    asked.add_argument("--session", type=Path)
    demo = asked.parse_args().session
    out = HERE / "report"
    out.mkdir(exist_ok=True)
    first = first_session()
    report = session_report(Material(first, PACK, first.pack.version, trace(first)))
    shot(report, out / "page.png")
    printed(report, out / "paper.png")
    days = [Occasion(f"week-{week}", later_session(week)) for week in range(4)]
    compared = comparison_report(compare(days, PACK, first.pack.version, {}))
    shot(compared, out / "comparison.png")
    if demo:
        record = read_session(demo)
        material = Material(record, PACK, record.pack.version, read_angles(demo))
        printed(session_report(material), out / "demo-paper.png")
        shot(session_report(material), out / "demo-page.png")


if __name__ == "__main__":
    main()
