"""An educator's afternoon in a real browser."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, Playwright
from practised import ROWS, record

from logger.core.events import Finding
from logger.files.saving import save_session
from logger.files.stored import read_session
from logger.recording.digest import content_digest

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)
DEMO = Path(__file__).parents[2] / "demo_media" / "session.mp4"
SESSIONS = ("bay-1", "bay-2", "bay-3")
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="there is no Chromium to drive"),
]


@pytest.fixture(scope="module")
def browser(playwright: Playwright) -> Iterator[Browser]:
    running = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
    yield running
    running.close()


def _rows() -> list[Finding]:
    """Return twelve findings, of which the second wants a check."""
    more = [replace(ROWS[0], start_s=40.0 + i, end_s=41.0 + i, pain=i % 4) for i in range(9)]
    return [*ROWS, *more]


def _class(root: Path) -> Path:
    for name in SESSIONS:
        made = record(_rows(), examiner=f"student-{name[-1]}")
        facts = replace(made.recording, name="session.mp4", sha256=content_digest(DEMO))
        save_session(root / name, replace(made, recording=facts), ())
    shutil.copy(DEMO, root)
    return root


@contextmanager
def _served(root: Path) -> Iterator[str]:
    command = [sys.executable, "-m", "logger", "review", str(root), "--reviewer", "tutor-1"]
    with subprocess.Popen(  # noqa: S603 - our own program
        [*command, "--port", "0", "--no-browser"], stdout=subprocess.PIPE, text=True
    ) as program:
        assert program.stdout is not None
        try:
            url = next(
                found[0] for line in program.stdout if (found := re.search(r"http://\S+#\S+", line))
            )
            yield url
        finally:
            # As when the power fails: nothing may depend on an orderly end.
            program.kill()


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Serve a class in which no test changes anything."""
    with _served(_class(tmp_path_factory.mktemp("review") / "class")) as url:
        yield url


def _cells(page: Page, session: str) -> list[str]:
    line = page.locator("#class tbody tr", has=page.get_by_role("button", name=session))
    return line.locator("td").all_inner_texts()


def _settled(page: Page) -> None:
    page.get_by_role("button", name=re.compile("Next check")).click()
    page.locator("#settle").click()
    page.locator("#rows .state-check").wait_for(state="detached")


def test_an_educator_reviews_a_class_and_all_of_it_is_there_after_a_restart(
    browser: Browser, tmp_path: Path
) -> None:
    root = _class(tmp_path / "class")
    with _served(root) as url:
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        elsewhere: list[str] = []
        page.on("request", lambda sent: _note_elsewhere(sent.url, elsewhere))
        page.goto(url)
        page.locator("#class tbody tr").first.wait_for()
        assert _cells(page, "bay-1")[3:6] == ["to check", "11", "1"]
        for session in SESSIONS:
            page.get_by_role("button", name=session).click()
            _settled(page)
            page.get_by_role("button", name="Mark as reviewed").click()
            page.get_by_text("reviewed by tutor-1").wait_for()
            page.get_by_role("button", name="All sessions").click()
            page.locator("#class tbody tr").first.wait_for()
        page.get_by_role("button", name="bay-2").click()
        page.get_by_role("button", name="Row 2 at").click()
        page.locator("#force-grade").select_option("3")
        page.locator("#changes", has_text="grade: 2 → 3, by tutor-1").wait_for()
        # The student's pain of rows 4 to 12 is 0, 1, 2, 3, 0, 1, 2, 3, 0; the educator says 0 of
        # all of them and 5 of the second row, as the student did.
        for number in (2, *range(4, 13)):
            page.get_by_role("button", name=f"Row {number} at").click()
            page.locator("#judge-pain").select_option("5" if number == 2 else "0")
            page.locator("#changes", has_text="judged pain").wait_for()
        page.get_by_role("button", name="All sessions").click()
        page.locator("#agreement td", has_text="same value").first.wait_for()
        _check_class(page)
        assert elsewhere == []
    with _served(root) as url:
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        page.goto(url)
        page.locator("#class tbody tr").first.wait_for()
        _check_class(page)
    kept = read_session(root / "bay-2")
    assert [(e.row, e.slot, e.before, e.after) for e in kept.edits] == [
        (2, "status", "check", "logged"),
        (2, "grade", "2", "3"),
    ]
    assert kept.findings == read_session(root / "bay-1").findings


def _until(page: Page, true: str) -> None:
    """Wait for an expression; the page's policy forbids Playwright's own way to wait for one."""
    for _ in range(300):
        if page.evaluate(true):
            return
        page.wait_for_timeout(100)
    raise AssertionError(true)


def _note_elsewhere(url: str, elsewhere: list[str]) -> None:
    if not url.startswith(("http://127.0.0.1:", "blob:http://127.0.0.1:", "data:")):
        elsewhere.append(url)


def _check_class(page: Page) -> None:
    assert [_cells(page, name)[3] for name in SESSIONS] == ["reviewed"] * 3
    assert _cells(page, "bay-2")[6:8] == ["2", "4 of 10"]
    line = page.locator("#agreement tbody tr", has_text="pain").filter(has_text="same value")
    assert line.locator("td").all_inner_texts()[:4] == [
        "pain", "students and tutor-1", "same value", "40 %",
    ]  # fmt: skip
    assert line.locator("td").nth(5).inner_text() == "10"


def test_a_click_on_a_row_goes_to_its_moment_and_keys_do_the_rest(
    browser: Browser, address: str
) -> None:
    page = browser.new_page(viewport={"width": 1280, "height": 800})
    page.goto(address)
    page.get_by_role("button", name="bay-1").click()
    _until(page, "document.getElementById('video').readyState > 0")

    def at_s() -> float:
        return float(page.evaluate("document.getElementById('video').currentTime"))

    page.get_by_role("button", name="Row 3 at").click()
    assert at_s() == pytest.approx(29.0)
    page.keyboard.press("b")
    assert at_s() == pytest.approx(26.0)
    page.keyboard.press("p")
    assert at_s() == pytest.approx(19.0)
    page.keyboard.press("n")
    page.keyboard.press("n")
    assert at_s() == pytest.approx(39.0)
    page.keyboard.press("c")
    assert at_s() == pytest.approx(19.0)
    page.locator("#main").focus()
    page.keyboard.press("Space")
    _until(page, "document.getElementById('video').currentTime > 19.2")
    # In a text the keys write.
    page.locator("#note").fill("")
    page.locator("#note").press("n")
    assert page.locator("#note").input_value() == "n"
    assert page.locator("#row-title").inner_text().startswith("Row 2")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [(1280, 720), (768, 1024)])
def test_nothing_stands_in_anyones_way(
    browser: Browser, address: str, scheme: str, size: tuple[int, int]
) -> None:
    page = browser.new_page(
        viewport={"width": size[0], "height": size[1]},
        color_scheme="dark" if scheme == "dark" else "light",
    )
    page.goto(address)
    page.locator("#class tbody tr").first.wait_for()
    _check_access(page)
    page.get_by_role("button", name="bay-1").press("Enter")
    page.get_by_role("button", name="Row 2 at").press("Enter")
    page.locator("#row").wait_for()
    _check_access(page)
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide <= size[0]


def _check_access(page: Page) -> None:
    found = Axe().run(page).response["violations"]
    serious = [each["id"] for each in found if each["impact"] in {"serious", "critical"}]
    assert serious == []


def test_a_wrong_token_is_told(browser: Browser, address: str) -> None:
    page = browser.new_page()
    page.goto(address[:-4] + "nope")
    page.get_by_text("Wrong token: open the address anew.").wait_for()
    assert page.locator("#class tbody tr").count() == 0
