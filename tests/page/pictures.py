"""Pictures of every state of the page, for the documents.

python tests/page/pictures.py docs/page
"""

from __future__ import annotations

import sys
import tempfile
from contextlib import suppress
from pathlib import Path

from browser import (
    SMALL,
    TABLET,
    Server,
    begin,
    browser_with,
    end,
    eventually,
    prepare,
    rows,
    script,
    server_in,
    tab_of,
    until,
    wait_for_view,
)
from media import fake_media
from playwright.sync_api import Page, Playwright, sync_playwright

PART_S = (0.0, 51.0)
LEAD_S = 14.0


def take_pictures(playwright: Playwright, work: Path, out: Path) -> tuple[Path, ...]:
    """Go through the page with a part of the demonstration session; return the pictures."""
    out.mkdir(parents=True, exist_ok=True)
    media = fake_media(work, PART_S, LEAD_S)
    with server_in(work) as server, browser_with(playwright, media) as browser:
        context = browser.new_context(viewport=SMALL)
        context.add_init_script(script("keep_streams"))
        _session(tab_of(context, server.url).page, out)
        context.close()
        _practice(browser.new_context(viewport=SMALL).new_page(), server, out)
    return tuple(sorted(out.glob("*.png")))


def _session(page: Page, out: Path) -> None:
    prepare(page, "Nomen Nescio")
    page.locator("#cautions input[value=yes]").nth(1).check()
    page.locator("#cautions").evaluate("(list) => { list.parentElement.scrollTop = 0; }")
    until(page, "document.getElementById('code-advice').textContent !== ''")
    page.screenshot(path=out / "before.png")
    page.locator("#cautions input[value=no]").nth(1).check()
    page.fill("#patient-code", "P-017")
    until(page, "document.getElementById('view-check').textContent.includes('is found')", 25)
    page.screenshot(path=out / "before-found.png")
    page.click("#begin")
    wait_for_view(page, "testing")
    page.screenshot(path=out / "testing-begins.png")
    eventually(lambda: len(rows(page)) >= 2, 120)
    with suppress(AssertionError):
        # The moment to be shown is when no hands are on the arm; a busy machine may miss it.
        until(page, "document.getElementById('angle-words').dataset.fit === 'in_range'", 15)
    page.screenshot(path=out / "testing.png")
    page.emulate_media(color_scheme="dark")
    page.screenshot(path=out / "testing-dark.png")
    page.emulate_media(color_scheme="light")
    eventually(lambda: len(rows(page)) >= 3, 180)
    page.set_viewport_size(TABLET)
    page.screenshot(path=out / "testing-tablet.png")
    page.set_viewport_size(SMALL)
    page.keyboard.press("p")
    page.wait_for_selector("#listening[data-is=paused]")
    page.screenshot(path=out / "paused.png")
    page.keyboard.press("p")
    page.evaluate("streams.at(0).getAudioTracks()[0].dispatchEvent(new Event('ended'))")
    page.wait_for_selector("[data-trouble=microphone]")
    page.screenshot(path=out / "unplugged.png")
    end(page)
    page.locator(".cell[data-slot=pain]").first.click()
    page.keyboard.type("2")
    page.keyboard.press("Enter")
    page.wait_for_selector(".cell.edited")
    page.screenshot(path=out / "after.png")
    page.click("[data-view=after] [data-act=leave]")
    wait_for_view(page, "start")
    begin(page, "P-018")
    end(page)
    page.click("[data-view=after] [data-act=leave]")
    wait_for_view(page, "start")
    page.screenshot(path=out / "start.png")


def _practice(page: Page, server: Server, out: Path) -> None:
    page.goto(server.url)
    wait_for_view(page, "start")
    page.click("#new-practice")
    wait_for_view(page, "practice")
    page.select_option("#practice-test", "lateral_distraction")
    page.click("#practice-go")
    until(page, "document.querySelectorAll('#sheet tbody tr').length > 0", 90)
    page.screenshot(path=out / "practice.png")
    page.click("[data-view=practice] [data-act=leave]")
    wait_for_view(page, "start")


if __name__ == "__main__":
    with sync_playwright() as driver, tempfile.TemporaryDirectory() as folder:
        for picture in take_pictures(driver, Path(folder), Path(sys.argv[1])):
            sys.stdout.write(f"{picture}\n")
