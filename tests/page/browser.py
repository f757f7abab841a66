"""A real browser before a real server, with fake devices."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from media import FakeMedia
from playwright.sync_api import Browser, BrowserContext, Page, Playwright, ViewportSize

CHROMIUM = Path(os.environ.get("CHROMIUM", shutil.which("chromium") or "/usr/bin/chromium"))
needs_chromium = pytest.mark.skipif(
    not CHROMIUM.exists(), reason="no chromium is installed: apt-get install chromium"
)
SMALL: ViewportSize = {"width": 1280, "height": 720}
TABLET: ViewportSize = {"width": 768, "height": 1024}


def script(name: str) -> str:
    """Return one of the scripts that the tests run in the browser."""
    return (Path(__file__).parent / "scripts" / f"{name}.js").read_text("utf-8")


@dataclass
class Server:
    """`spoken-findings live` as a process of its own, which may be killed and started again."""

    folder: Path
    more: tuple[str, ...] = ()
    process: subprocess.Popen[str] | None = None
    url: str = ""
    printed: list[str] = field(default_factory=list)

    def start(self, port: int = 0) -> str:
        """Start it and return the address that it prints."""
        command = [sys.executable, "-m", "logger", "live", "--no-browser", "--port", str(port)]
        places = ["--out", str(self.folder / "out"), "--journal", str(self.folder / "journal.db")]
        self.process = subprocess.Popen(  # noqa: S603 - this very program
            [*command, *places, *self.more],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            env=os.environ | {"OMP_NUM_THREADS": "1", "PYTHONUNBUFFERED": "1"},
        )
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.printed.append(line)
            if found := re.search(r"http://\S+", line):
                self.url = found.group()
                return self.url
        raise AssertionError("".join(self.printed))

    @property
    def port(self) -> int:
        """Return where it listens."""
        found = re.search(r":(\d+)/", self.url)
        assert found
        return int(found.group(1))

    def end(self, how: int = signal.SIGTERM) -> None:
        """End it, or kill it."""
        if self.process is None:
            return
        self.process.send_signal(how)
        rest, _ = self.process.communicate(timeout=60)
        self.printed.append(rest)
        self.process = None

    def memory_mb(self) -> float:
        """Return the memory that it holds, as Linux counts it."""
        assert self.process is not None
        status = Path(f"/proc/{self.process.pid}/status").read_text()
        found = re.search(r"VmRSS:\s+(\d+) kB", status)
        assert found
        return int(found.group(1)) / 1024


@contextmanager
def server_in(folder: Path, *more: str) -> Iterator[Server]:
    """Serve the page with journal and results in `folder`."""
    server = Server(folder, more)
    server.start()
    try:
        yield server
    finally:
        server.end()


@contextmanager
def browser_with(
    playwright: Playwright, media: FakeMedia | None = None, allow: bool = True
) -> Iterator[Browser]:
    """Start the browser; without media its fake devices beep and show a clock."""
    flags = [
        "--no-sandbox",
        "--use-fake-device-for-media-stream",
        "--autoplay-policy=document-user-activation-required",
    ]
    if allow:
        flags.append("--use-fake-ui-for-media-stream")
    if media:
        once = "" if media.looped else "%noloop"
        flags.append(f"--use-file-for-fake-audio-capture={media.wav}{once}")
        flags.append(f"--use-file-for-fake-video-capture={media.y4m}")
    browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=flags)
    try:
        yield browser
    finally:
        browser.close()


@dataclass
class Tab:
    """A page in the browser, with what it complained of and asked for."""

    page: Page
    complaints: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)


def tab_in(browser: Browser, url: str, size: ViewportSize = SMALL, **options: Any) -> Tab:
    """Open the page in a context of its own."""
    context = browser.new_context(viewport=size, **options)
    return tab_of(context, url)


def tab_of(context: BrowserContext, url: str) -> Tab:
    """Open the page in a context."""
    tab = Tab(context.new_page())
    tab.page.on("pageerror", lambda error: tab.complaints.append(str(error)))
    tab.page.on(
        "console",
        lambda said: tab.complaints.append(said.text) if said.type == "error" else None,
    )
    tab.page.on("request", lambda request: tab.asked.append(request.url))
    tab.page.goto(url)
    return tab


def wait_for_view(page: Page, name: str) -> None:
    """Wait until a view is shown."""
    page.wait_for_selector(f"body[data-stage={name}]", timeout=60_000)


def until(page: Page, script: str, within_s: float = 60.0) -> None:
    """Wait until a script of the test's own says true; the page's policy lets it poll for none."""
    eventually(lambda: bool(page.evaluate(script)), within_s)


def prepare(page: Page, code: str = "P-017") -> None:
    """Go through what comes before testing, up to the last button."""
    wait_for_view(page, "start")
    page.click("#new-session")
    until(page, "document.getElementById('device-words').textContent.includes('is on')")
    page.fill("#patient-code", code)
    page.fill("#examiner-code", "T2")
    page.click("#none-left")
    page.wait_for_selector("#begin[aria-disabled=false]")


def begin(page: Page, code: str = "P-017", found_within_s: float = 0.0) -> None:
    """Begin a session, at once or when the patient was found."""
    prepare(page, code)
    if found_within_s:
        seen = "document.getElementById('view-check').textContent.includes('patient is found')"
        until(page, seen, found_within_s)
    page.click("#begin")
    wait_for_view(page, "testing")


def end(page: Page) -> None:
    """End the session by its button."""
    page.click("#end")
    page.click("#ask-yes")
    wait_for_view(page, "after")


def rows(page: Page) -> list[str]:
    """Return the rows that are shown, the newest first, each as one line."""
    return [" ".join(text.split()) for text in page.locator("#last-rows li").all_inner_texts()]


def eventually(what: Callable[[], bool], within_s: float = 60.0) -> None:
    """Wait until something holds."""
    until = time.monotonic() + within_s
    while not what():
        assert time.monotonic() < until, "it did not come to hold in time"
        time.sleep(0.1)
