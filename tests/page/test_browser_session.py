"""The whole path: browser, socket, recogniser, pose, page, journal, files."""

from __future__ import annotations

import json
import stat
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from browser import (
    SMALL,
    begin,
    browser_with,
    end,
    eventually,
    needs_chromium,
    rows,
    script,
    server_in,
    tab_of,
    until,
    wait_for_view,
)
from media import SESSION, fake_media
from playwright.sync_api import Playwright

from logger.core.statements import SLOTS

pytestmark = [pytest.mark.browser, pytest.mark.model, needs_chromium]

LEAD_S = 14.0
MOST_OFF_DEG = 9.0
"""As far as any of the five sessions was off when it was read from its file."""


@dataclass
class Said:
    """A row as it was said, and how the arm really lay."""

    slots: dict[str, Any]
    arm_deg: float | None
    withdrawn: bool = False


def said_between(start_s: float, end_s: float) -> list[Said]:
    """Return the rows of a part of the session, from what its makers wrote down."""
    told = json.loads(SESSION.with_name("session_said.json").read_text("utf-8"))
    table: list[Said] = []
    for each in told:
        expect = each["expect"]
        if not expect or not start_s <= each["start"] < each["end"] <= end_s:
            continue
        slots = {key: value for key, value in expect.items() if key in SLOTS}
        if "test" in slots or "motion" in slots:
            table.append(Said(slots, each.get("arm_elevation_deg")))
        elif expect.get("command") == "scratch_that":
            table[-1].withdrawn = True
        elif slots:
            table[-1].slots |= slots
    return table


def run_session(playwright: Playwright, folder: Path, part_s: tuple[float, float]) -> Any:
    """Run a part of the session through the browser; return what was shown, saved and measured."""
    media = fake_media(folder, part_s, LEAD_S)
    wanted = said_between(*part_s)
    with server_in(folder) as server, browser_with(playwright, media) as browser:
        context = browser.new_context(viewport=SMALL)
        context.add_init_script(script("record"))
        page = tab_of(context, server.url).page
        begin(page, found_within_s=LEAD_S + 12)
        late_s = LEAD_S + part_s[1] - part_s[0] + 60
        page.wait_for_timeout(1000 * (part_s[1] - part_s[0]))
        eventually(lambda: len(rows(page)) >= min(len(wanted), 6), late_s)
        until(page, "!document.querySelector('[data-trouble=behind]')", late_s)
        page.wait_for_timeout(4000)
        end(page)
        shown = page.locator("#table tbody tr").all_inner_texts()
        page.click("#save")
        until(page, "document.getElementById('saved').textContent.includes('Saved in')")
        recorded = page.evaluate("window.recorded")
        page.click("[data-view=after] [data-act=leave]")
        wait_for_view(page, "start")
        context.close()
    (saved,) = (folder / "out").iterdir()
    assert {stat.S_IMODE(path.stat().st_mode) for path in saved.iterdir()} == {0o600}
    return shown, saved, recorded


def check_rows(wanted: list[Said], shown: list[str], saved: Path) -> None:
    """Compare the page and the saved table with what was said, slot by slot."""
    table = pd.read_csv(saved / "findings.csv", dtype={"grade": "string"})
    assert len(shown) == len(table) == len(wanted)
    for said, (_, row), text in zip(wanted, table.iterrows(), shown, strict=True):
        got = {slot: row[slot] for slot in SLOTS if not pd.isna(row[slot])}
        assert got == said.slots
        assert (row["status"] == "withdrawn") == said.withdrawn
        for value in said.slots.values():
            assert str(value).replace("_", " ") in text
    off = [
        abs(row["arm_angle_deg"] - said.arm_deg)
        for said, (_, row) in zip(wanted, table.iterrows(), strict=True)
        if said.arm_deg is not None and not pd.isna(row["arm_angle_deg"])
    ]
    assert len(off) >= len(wanted) - 1, "setup angles are missing: is the machine too slow?"
    assert max(off) <= MOST_OFF_DEG


def measure(saved: Path, recorded: list[dict[str, Any]]) -> dict[str, float]:
    """Return delays from the end of speech to the page, and the gauge's rate and delay."""
    states = [each for each in recorded if each["kind"] == "state"]
    begun_ms = min(each["at"] - 1000 * each["now_s"] for each in states)
    session = json.loads((saved / "session.json").read_text("utf-8"))
    heard = [each for each in recorded if each["kind"] == "heard" and each["what"] != "refused"]
    heard = [each for each in heard if not each["text"].startswith("[")]
    late_s = [
        (shown["at"] - begun_ms) / 1000 - said["end_s"]
        for shown, said in zip(heard, session["heard"], strict=True)
    ]
    gauges = [each for each in recorded if each["kind"] == "gauge"]
    spent_s = (gauges[-1]["at"] - gauges[0]["at"]) / 1000
    delays = [each["delay_ms"] for each in gauges if each["delay_ms"] is not None]
    return {
        "row_p50_s": float(np.percentile(late_s, 50)),
        "row_p95_s": float(np.percentile(late_s, 95)),
        "gauge_hz": len(gauges) / spent_s,
        "gauge_p50_ms": float(np.percentile(delays, 50)),
        "gauge_p95_ms": float(np.percentile(delays, 95)),
    }


def check_session(playwright: Playwright, folder: Path, part_s: tuple[float, float]) -> None:
    """Run, compare and tell the figures, which `pytest -s` shows."""
    shown, saved, recorded = run_session(playwright, folder, part_s)
    figures = measure(saved, recorded)
    sys.stdout.write(f"{ {name: round(value, 2) for name, value in figures.items()} }\n")
    check_rows(said_between(*part_s), shown, saved)


def test_part_of_a_session_is_logged_as_it_was_said(playwright: Playwright, tmp_path: Path) -> None:
    """Three findings, one of them completed afterwards, between talk."""
    check_session(playwright, tmp_path, (0.0, 51.0))


@pytest.mark.slow
def test_a_whole_session_is_logged_as_it_was_said(playwright: Playwright, tmp_path: Path) -> None:
    """Two minutes, both sides, a correction, a finding taken back, a note."""
    check_session(playwright, tmp_path, (0.0, 123.0))
