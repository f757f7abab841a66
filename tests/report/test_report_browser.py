"""The page in a real browser: nothing is asked for, nothing runs, and everybody can read it."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from hostile import hostile_session
from invented import PACK, first_session, later_session, trace

from logger.report.comparison import compare, comparison_report
from logger.report.document import Document
from logger.report.occasions import Occasion
from logger.report.page import html_page
from logger.report.session_report import Material, session_report

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page, Playwright

pytestmark = pytest.mark.browser
WIDTHS = (360, 800, 1280)


def documents() -> dict[str, Document]:
    """Return a report of each kind."""
    days = [Occasion(f"week-{week}", later_session(week)) for week in range(4)]
    reports = {"ordinary": first_session(), "hostile": hostile_session()}
    return {
        name: session_report(Material(one, PACK, one.pack.version, trace(one)))
        for name, one in reports.items()
    } | {"compared": comparison_report(compare(days, PACK, "x", {}))}


@pytest.fixture(scope="module")
def browser(playwright: Playwright) -> Iterator[Browser]:
    """Start the Chromium of this machine; skip where there is none."""
    path = shutil.which("chromium") or shutil.which("google-chrome") or shutil.which("msedge")
    if path is None:
        pytest.skip("no Chromium on this machine")
    chromium = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
    yield chromium
    chromium.close()


def opened(browser: Browser, folder: Path, name: str, **context: Any) -> tuple[Page, list[str]]:
    """Open a page from its file, and return it with everything it asked for or complained of."""
    path = folder / f"{name}.html"
    path.write_text(html_page(documents()[name]), encoding="utf-8")
    page = browser.new_context(**context).new_page()
    told: list[str] = []
    page.on("request", lambda request: told.append(request.url))
    page.on("console", lambda message: told.append(message.text))
    page.on("dialog", lambda dialog: told.append(dialog.message))
    page.goto(path.as_uri())
    assert told[:1] == [path.as_uri()]
    return page, told[1:]


@pytest.mark.parametrize("name", ["ordinary", "hostile", "compared"])
def test_nothing_is_asked_for_and_nothing_complains(
    browser: Browser, tmp_path: Path, name: str
) -> None:
    page, told = opened(browser, tmp_path, name)
    assert not told
    assert page.title().startswith("Findings of")
    # The policy lets the page's own style in: the heading is larger than the text.
    size = page.eval_on_selector("h1", "e => parseFloat(getComputedStyle(e).fontSize)")
    assert size > 20


@pytest.mark.parametrize("name", ["ordinary", "hostile", "compared"])
def test_no_width_makes_the_page_scroll_sideways(
    browser: Browser, tmp_path: Path, name: str
) -> None:
    page, _ = opened(browser, tmp_path, name)
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 800})
        assert page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("name", ["ordinary", "hostile", "compared"])
def test_axe_finds_nothing(browser: Browser, tmp_path: Path, name: str) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    # axe is put into the page, which the policy would not let in.
    page, _ = opened(browser, tmp_path, name, bypass_csp=True)
    found = axe.Axe().run(page).response["violations"]
    assert not [(one["id"], one["nodes"][0]["html"]) for one in found]


def test_an_ordinary_session_prints_on_one_page(browser: Browser, tmp_path: Path) -> None:
    pdfium = pytest.importorskip("pypdfium2")
    page, _ = opened(browser, tmp_path, "ordinary")
    printed = pdfium.PdfDocument(page.pdf(prefer_css_page_size=True))
    assert len(printed) == 1
