"""Half an hour of the whole path in a real browser: the same rows, and memory that stays flat."""

from __future__ import annotations

import json
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from browser import (
    SMALL,
    Server,
    begin,
    browser_with,
    end,
    needs_chromium,
    server_in,
    tab_of,
    until,
)
from media import fake_media
from playwright.sync_api import CDPSession, Playwright
from test_browser_session import said_between

from logger.core.statements import SLOTS

pytestmark = [pytest.mark.browser, pytest.mark.model, pytest.mark.slow, needs_chromium]

PART_S = (0.0, 123.0)
LEAD_S = 14.0
ROUNDS = 14
SETTLED_ROUNDS = 3
"""Until then caches fill: the models' own, the browser's, the rows that are shown."""
MOST_GROWTH_MB = {"server": 25.0, "page": 3.0}


def memory_mb(server: Server, tab: CDPSession) -> dict[str, float]:
    """Return what the program holds, and what the page's scripts hold after clearing up."""
    tab.send("HeapProfiler.collectGarbage")
    got = {each["name"]: each["value"] for each in tab.send("Performance.getMetrics")["metrics"]}
    return {"server": server.memory_mb(), "page": got["JSHeapUsedSize"] / 2**20}


def growth(samples: list[dict[str, float]]) -> dict[str, float]:
    """Return how much more is held in the last rounds than in the first settled ones, in MB."""
    settled = samples[SETTLED_ROUNDS:]
    early, late = settled[: len(settled) // 3], settled[-(len(settled) // 3) :]
    return {
        name: float(np.median([s[name] for s in late]) - np.median([s[name] for s in early]))
        for name in MOST_GROWTH_MB
    }


def slots_of(table: pd.DataFrame) -> list[dict[str, object]]:
    """Return the slots that were said of each row that stands."""
    rows = table[table["status"] != "withdrawn"].to_dict("records")
    return [{slot: row[slot] for slot in SLOTS if not pd.isna(row[slot])} for row in rows]


@pytest.mark.timeout(3600)
def test_half_an_hour_is_logged_in_flat_memory(playwright: Playwright, tmp_path: Path) -> None:
    """The same two minutes fourteen times over, as one session."""
    media = replace(fake_media(tmp_path, PART_S, LEAD_S), looped=True)
    samples = []
    with server_in(tmp_path) as server, browser_with(playwright, media) as browser:
        context = browser.new_context(viewport=SMALL)
        page = tab_of(context, server.url).page
        tab = context.new_cdp_session(page)
        tab.send("Performance.enable")
        begin(page, found_within_s=LEAD_S + 12)
        begun_s = time.monotonic()
        for number in range(1, ROUNDS + 1):
            left_s = begun_s + number * (LEAD_S + PART_S[1]) - time.monotonic()
            page.wait_for_timeout(1000 * max(left_s, 0.0))
            samples.append(memory_mb(server, tab))
            sys.stdout.write(f"{number} {time.monotonic() - begun_s:.0f} s {samples[-1]}\n")
        end(page)
        page.click("#save")
        until(page, "document.getElementById('saved').textContent.includes('Saved in')")
        context.close()
    (saved,) = (tmp_path / "out").iterdir()
    table = pd.read_csv(saved / "findings.csv", dtype={"grade": "string"})
    once = [said.slots for said in said_between(*PART_S) if not said.withdrawn]
    got = slots_of(table)
    heard = len(json.loads((saved / "session.json").read_text("utf-8"))["heard"])
    sys.stdout.write(f"{len(got)} rows, {heard} heard, growth in MB {growth(samples)}\n")
    assert got[: len(once) * (ROUNDS - 1)] == once * (ROUNDS - 1)
    assert all(mb < MOST_GROWTH_MB[name] for name, mb in growth(samples).items())
