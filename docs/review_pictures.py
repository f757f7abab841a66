"""Make the pictures in docs/review: `python docs/review_pictures.py --session FOLDER`.

FOLDER is where the demonstration session was read to; wants Chromium.
"""

from __future__ import annotations

import argparse
import re
import shutil
import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

from playwright.sync_api import Page, ViewportSize, sync_playwright

from logger.files.saving import save_session
from logger.files.stored import read_angles, read_session

HERE = Path(__file__).resolve().parent
DEMO = HERE.parent / "demo_media" / "session.mp4"
SIZE: ViewportSize = {"width": 1280, "height": 1180}


def main() -> None:
    """Take the pictures."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--session", type=Path, required=True)
    session = arguments.parse_args().session
    with tempfile.TemporaryDirectory() as place:
        root = _class(Path(place), session)
        command = [sys.executable, "-m", "logger", "review", str(root), "--reviewer", "tutor-1"]
        with subprocess.Popen(  # noqa: S603 - our own program
            [*command, "--port", "0", "--no-browser"], stdout=subprocess.PIPE, text=True
        ) as program:
            try:
                lines = iter(program.stdout or ())
                _take(next(found[0] for li in lines if (found := re.search(r"http://\S+#\S+", li))))
            finally:
                program.kill()


def _class(root: Path, session: Path) -> Path:
    record, angles = read_session(session), read_angles(session)
    for number in (1, 2, 3):
        facts = replace(record.facts, examiner_code=f"student-{number}")
        save_session(root / f"bay-{number}", replace(record, facts=facts), angles)
    shutil.copy(DEMO, root)
    return root


def _take(url: str) -> None:
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    out = HERE / "review"
    out.mkdir(exist_ok=True)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        page = browser.new_page(viewport=SIZE)
        page.goto(url)
        page.get_by_role("button", name="bay-2").click()
        _work(page)
        page.screenshot(path=out / "session.png")
        page.get_by_role("button", name="All sessions").click()
        page.locator("#agreement tbody tr").first.wait_for()
        page.screenshot(path=out / "list.png")


def _work(page: Page) -> None:
    """Judge every row's mobility, pain as it is but once, and open a row."""
    page.locator("#rows [data-row]").first.wait_for()
    numbers = page.locator("#rows [data-row]").evaluate_all(
        "(all) => all.map((b) => b.dataset.row)"
    )
    for number in numbers:
        page.locator(f"[data-row='{number}']").click()
        mobility = page.locator("#force-mobility").input_value()
        if mobility:
            page.locator("#judge-mobility").select_option(mobility if number != "3" else "normal")
            page.locator("#changes", has_text="judged mobility").wait_for()
    page.locator("[data-row='3']").click()
    page.wait_for_timeout(1500)


if __name__ == "__main__":
    main()
