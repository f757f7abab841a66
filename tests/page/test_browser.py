"""The page in a real browser: devices that fail, reloads, kills, strangers, keys and access."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from browser import (
    SMALL,
    TABLET,
    Server,
    begin,
    browser_with,
    end,
    eventually,
    needs_chromium,
    prepare,
    rows,
    script,
    server_in,
    tab_in,
    tab_of,
    until,
    wait_for_view,
)
from media import FakeMedia
from playwright.sync_api import Browser, Page, Playwright
from websockets.sync.client import connect
from websockets.typing import Origin, Subprotocol

from logger.page.guarding import PROTOCOL

pytestmark = [pytest.mark.browser, needs_chromium]

KEEP_STREAMS = script("keep_streams")


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """One server for all tests that only need one."""
    with server_in(tmp_path_factory.mktemp("served")) as server:
        yield server


@pytest.fixture
def served(shared: Server) -> Iterator[Server]:
    """Give the server, and bring it back to its start page whatever became of the test."""
    yield shared
    address = f"ws://127.0.0.1:{shared.port}"
    token = shared.url.split("#")[1]
    with connect(
        f"{address}/live",
        origin=Origin(address.replace("ws", "http")),
        subprotocols=[Subprotocol(PROTOCOL), Subprotocol(f"token.{token}")],
    ) as socket:
        for text in ('{"kind":"hello","page_ms":0}', '{"kind":"take_over"}', '{"kind":"leave"}'):
            socket.send(text)
        while '"left"' not in str(socket.recv(60)):
            pass


@pytest.fixture(scope="module")
def browser(playwright: Playwright) -> Iterator[Browser]:
    """One browser whose fake devices beep and show a clock."""
    with browser_with(playwright) as started:
        yield started


def leave(page: Page) -> None:
    """Go back to the start page, so that the next test begins there."""
    page.click("[data-view=after] [data-act=leave]")
    wait_for_view(page, "start")
    page.context.close()


def serious(page: Page) -> list[str]:
    """Return what axe-core finds that is serious or critical."""
    found = Axe().run(page).response["violations"]
    return [
        f"{each['id']}: {each['nodes'][0]['html']}"
        for each in found
        if each["impact"] in {"serious", "critical"}
    ]


def test_refused_permission_is_said_in_plain_words(playwright: Playwright, served: Server) -> None:
    """What is missing, why, and what to do; testing cannot start."""
    with browser_with(playwright, allow=False) as browser:
        tab = tab_in(browser, served.url, permissions=[])
        wait_for_view(tab.page, "start")
        tab.page.click("#new-session")
        tab.page.click("#allow")
        tab.page.wait_for_selector("[data-trouble=microphone]")
        words = tab.page.inner_text("#device-words")
        assert "told not to let this page use the microphone" in words
        assert "told not to let this page use the camera" in words
        assert "the microphone is off" in tab.page.inner_text("#missing")
        assert serious(tab.page) == []


def test_an_unplugged_device_is_said_and_used_again(browser: Browser, served: Server) -> None:
    """The microphone's track ends in mid-session; "Try again" brings it back."""
    context = browser.new_context(viewport=SMALL)
    context.add_init_script(KEEP_STREAMS)
    page = tab_of(context, served.url).page
    begin(page)
    page.wait_for_selector("#listening[data-is=listening]")
    page.evaluate("streams.at(0).getAudioTracks()[0].dispatchEvent(new Event('ended'))")
    page.wait_for_selector("[data-trouble=microphone]")
    assert "unplugged" in page.inner_text("[data-trouble=microphone]")
    page.wait_for_selector("#listening[data-is=away]")
    page.click("[data-trouble=microphone] button")
    page.wait_for_selector("#listening[data-is=listening]")
    page.wait_for_selector("[data-trouble=microphone]", state="detached")
    page.evaluate("streams.at(0).getVideoTracks()[0].dispatchEvent(new Event('ended'))")
    page.wait_for_selector("[data-trouble=camera]")
    assert "no angle is measured" in page.inner_text("#steady")
    end(page)
    leave(page)


class _Stranger(BaseHTTPRequestHandler):
    def do_GET(self) -> None:
        """Answer with an empty page."""
        self.send_response(200)
        self.send_header("content-type", "text/html")
        self.end_headers()
        self.wfile.write(b"<!doctype html><title>another page</title>")

    def log_message(self, *_: Any) -> None:
        """Say nothing."""


HOSTILE = script("hostile")


def test_a_hostile_page_gets_nowhere(browser: Browser, served: Server) -> None:
    """Even if it has got hold of the token."""
    with ThreadingHTTPServer(("127.0.0.1", 0), _Stranger) as stranger:
        threading.Thread(target=stranger.serve_forever, daemon=True).start()
        context = browser.new_context()
        page = context.new_page()
        page.goto(f"http://127.0.0.1:{stranger.server_address[1]}/")
        token = served.url.split("#")[1]
        tried = page.evaluate(HOSTILE, {"url": served.url, "token": token})
        stranger.shutdown()
        context.close()
    assert tried == {
        "socket": "closed",
        "stolen": "closed",
        "fetch": "refused",
        "blind": "refused",
        "script": "refused",
        "frame": "blocked",
    }


def test_a_page_without_the_token_is_told_where_to_go(browser: Browser, served: Server) -> None:
    """The address without what is behind the #."""
    tab = tab_in(browser, served.url.split("#")[0])
    tab.page.wait_for_selector("[data-trouble=link]")
    assert "not opened by the program" in tab.page.inner_text("[data-trouble=link]")
    tab.page.context.close()


def test_a_second_tab_only_watches(browser: Browser, served: Server) -> None:
    """It is told so, and may take over."""
    context = browser.new_context(viewport=SMALL)
    first = tab_of(context, served.url).page
    begin(first)
    second = tab_of(context, served.url).page
    wait_for_view(second, "testing")
    until(second, "document.getElementById('listening').textContent.includes('Only watching')")
    assert second.is_disabled("#end")
    second.click("#testing-take-over")
    second.wait_for_selector("#listening[data-is=listening]")
    until(first, "document.getElementById('listening').textContent.includes('watching')")
    end(second)
    leave(second)


def test_everything_works_by_keyboard(browser: Browser, served: Server) -> None:
    """From the start page to the saved table without a mouse, the focus always to be seen."""
    page = tab_in(browser, served.url).page
    wait_for_view(page, "start")
    press_until(page, "#new-session")
    page.keyboard.press("Enter")
    wait_for_view(page, "prepare")
    until(page, "document.getElementById('device-words').textContent.includes('is on')")
    press_until(page, "#patient-code")
    page.keyboard.type("P-018")
    press_until(page, "#cautions input")
    for _ in range(page.locator("#cautions > li").count()):
        page.keyboard.press("Space")
        page.keyboard.press("Tab")
    press_until(page, "#begin")
    page.keyboard.press("Enter")
    wait_for_view(page, "testing")
    page.keyboard.press("p")
    page.wait_for_selector("#listening[data-is=paused]")
    page.keyboard.press("p")
    page.wait_for_selector("#listening[data-is=listening]")
    page.keyboard.press(" ")
    until(page, "document.getElementById('heard').textContent.includes('Position: ')")
    page.keyboard.press("Backspace")
    until(page, "document.getElementById('heard').textContent.includes('scratch')")
    press_until(page, "#end")
    page.keyboard.press("Enter")
    press_until(page, "#ask-yes")
    page.keyboard.press("Enter")
    wait_for_view(page, "after")
    press_until(page, "#save")
    page.keyboard.press("Enter")
    until(page, "document.getElementById('saved').textContent.includes('Saved in')")
    leave(page)


def press_until(page: Page, selector: str, most: int = 120) -> None:
    """Press Tab until an element has the focus, which must be seen at every step."""
    for _ in range(most):
        page.keyboard.press("Tab")
        seen = page.evaluate(script("focus_is_seen"))
        assert seen, page.evaluate("document.activeElement.outerHTML.slice(0, 200)")
        if page.evaluate(f"document.activeElement.matches({selector!r})"):
            return
    raise AssertionError(f"no way to {selector} by Tab")


@pytest.mark.parametrize("size", [SMALL, TABLET], ids=["laptop", "tablet"])
@pytest.mark.parametrize("colours", ["light", "dark"])
def test_every_state_is_accessible_and_fits(
    browser: Browser, served: Server, size: Any, colours: Any
) -> None:
    """axe-core finds nothing serious; nothing is cut off at the side."""
    page = tab_in(browser, served.url, size, color_scheme=colours).page
    check_view(page, "start")
    page.click("#new-practice")
    check_view(page, "practice")
    page.click("#practice-go")
    page.click("[data-view=practice] [data-act=leave]")
    prepare(page, "Nomen Nescio")
    page.locator("#cautions input[value=yes]").nth(2).check()
    until(page, "document.getElementById('code-advice').textContent !== ''")
    check_view(page, "prepare")
    page.locator("#cautions input[value=no]").nth(2).check()
    page.fill("#patient-code", "P-017")
    page.click("#begin")
    check_view(page, "testing")
    if size == SMALL:
        beyond = "(shown) => shown.scrollHeight - shown.clientHeight"
        assert page.locator("main").evaluate(beyond) <= 0
    page.click("#end")
    assert serious(page) == []
    page.click("#ask-yes")
    check_view(page, "after")
    leave(page)


def check_view(page: Page, name: str) -> None:
    """Check one state of the page."""
    wait_for_view(page, name)
    assert serious(page) == [], name
    wide = page.evaluate("document.documentElement.scrollWidth - innerWidth")
    assert wide <= 0, f"{name} is {wide} px too wide"


def test_side_and_test_are_read_from_two_metres(browser: Browser, served: Server) -> None:
    """Letters at least 10 mm high at 2 m: 17 minutes of arc, three times what 6/6 sight needs (5).

    A pixel of the page is 1/96 inch (CSS); a capital of this type is 0.7 of its size.
    """
    page = tab_in(browser, served.url).page
    begin(page)
    sizes = [
        page.locator(each).evaluate("(shown) => parseFloat(getComputedStyle(shown).fontSize)")
        for each in ("#now-side", "#now-test")
    ]
    assert min(sizes) * 0.7 * 25.4 / 96 >= 10
    end(page)
    leave(page)


def test_nothing_is_asked_of_anyone_else(browser: Browser, served: Server) -> None:
    """Every request of a whole session goes to this machine, and the page complains of nothing."""
    tab = tab_in(browser, served.url)
    begin(tab.page)
    tab.page.wait_for_selector("#listening[data-is=listening]")
    end(tab.page)
    leave(tab.page)
    assert tab.complaints == []
    assert all(url.startswith(f"http://127.0.0.1:{served.port}/") for url in tab.asked)
    assert not any(served.url.split("#")[1] in url.split("#")[0] for url in tab.asked)


@pytest.mark.parametrize("rate_hz", [48_000, 44_100, 16_000, 96_000])
def test_sound_is_resampled_faithfully(browser: Browser, served: Server, rate_hz: int) -> None:
    """A chirp to 6.2 kHz is its own formula at the new times within -50 dB; 10 kHz is kept out."""
    page = tab_in(browser, served.url).page
    times = np.arange(rate_hz) / rate_hz
    ours, late = resampled(page, rate_hz, chirp(times))
    wanted = chirp((np.arange(len(ours)) * rate_hz / 16_000 - late) / rate_hz)
    middle = slice(2000, 14_000)
    error = np.sqrt(np.mean((ours[middle] - wanted[middle]) ** 2))
    assert error < 0.5 * 10 ** (-50 / 20)
    if rate_hz > 20_000:
        high, _ = resampled(page, rate_hz, 0.5 * np.sin(2 * np.pi * 10_000 * times))
        assert np.abs(high[2000:-2000]).max() < 0.5 * 10 ** (-60 / 20)
    page.context.close()


def chirp(times_s: Any) -> Any:
    """Return a tone that rises from 200 to 6200 Hz in a second."""
    return 0.5 * np.sin(2 * np.pi * (200 * times_s + 3000 * times_s**2))


def resampled(page: Page, rate_hz: int, sound: Any) -> tuple[Any, int]:
    """Run the page's resampler in blocks as the sound thread does; with its delay in samples."""
    out, late = page.evaluate(
        script("resample"),
        {"rate": rate_hz, "sound": [float(value) for value in sound]},
    )
    return np.array(out), late


SPEAKER = script("speaker")


def test_findings_are_read_back_while_the_microphone_is_mute(
    playwright: Playwright, served: Server, short_media: FakeMedia
) -> None:
    """By a local voice alone; the sound sent meanwhile is silence, and the program is told when."""
    with browser_with(playwright, short_media) as browser:
        context = browser.new_context(viewport=SMALL)
        context.add_init_script(SPEAKER)
        page = tab_of(context, served.url).page
        prepare(page)
        page.check("#read-back")
        page.click("#begin")
        until(page, "window.spoken.length > 0", 90)
        until(page, "(window.texts ?? []).some((m) => m.kind === 'played')")
        said = page.evaluate("window.spoken[0]")
        played = page.evaluate("window.texts.find((m) => m.kind === 'played')")
        assert said["voice"] == "local"
        assert said["text"].startswith("right, l")
        assert played["end_ms"] - played["start_ms"] >= 1500 + 400 - 50
        blocks = page.evaluate("window.blocks")
        start, end_ = said["at"] + 250, said["at"] + 1500
        within = [block["loudest"] for block in blocks if start < block["at"] < end_]
        assert len(within) > 5
        assert max(within) == 0
        assert page.evaluate("document.body.dataset.lastTone") in {"logged", "completed", "check"}
        end(page)
        leave(page)


def test_a_reload_in_mid_session_goes_on(
    playwright: Playwright, served: Server, short_media: FakeMedia
) -> None:
    """With the rows that were there, and listening again by itself."""
    with browser_with(playwright, short_media) as browser:
        page = tab_in(browser, served.url, permissions=["camera", "microphone"]).page
        begin(page)
        eventually(lambda: len(rows(page)) >= 1, 90)
        before = rows(page)
        page.reload()
        wait_for_view(page, "testing")
        assert rows(page)[-len(before) :] == before
        page.wait_for_selector("#listening[data-is=listening]")
        eventually(lambda: len(rows(page)) > len(before), 90)
        end(page)
        leave(page)


def test_a_killed_program_goes_on_where_it_stopped(
    playwright: Playwright, tmp_path: Path, short_media: FakeMedia
) -> None:
    """Kill -9 while the second finding is spoken; the row before it is there after the restart."""
    server = Server(tmp_path)
    server.start()
    with browser_with(playwright, short_media) as browser:
        page = tab_in(browser, server.url).page
        begin(page)
        eventually(lambda: len(rows(page)) >= 1, 90)
        kept = rows(page)
        server.end(signal.SIGKILL)
        page.wait_for_selector("[data-trouble=link]")
        assert "Start it again" in page.inner_text("[data-trouble=link]")
        page.context.close()
        try:
            page = tab_in(browser, server.start()).page
            wait_for_view(page, "start")
            assert "P-017" in page.inner_text("#going-on-text")
            page.click("#go-on")
            wait_for_view(page, "testing")
            assert rows(page)[-len(kept) :] == kept
            page.wait_for_selector("#listening[data-is=listening]")
            eventually(lambda: len(rows(page)) > len(kept), 90)
        finally:
            server.end()
