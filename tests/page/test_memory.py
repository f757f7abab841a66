"""A long session holds no more memory than a short one, but for its rows."""

from __future__ import annotations

import gc
import tracemalloc
from pathlib import Path

import pytest
from room_kit import TALK, Page, room_in

SCRIPT = ("", TALK)
MOST_GROWTH_KB = 400


def spend(page: Page, seconds: int, number: int) -> int:
    """Let time go by: ten blocks of sound and ten pictures a second, and now and then talk."""
    for second in range(seconds):
        for tenth in range(10):
            page.speak(int(second % 10 == 5 and tenth == 0))
            page.show(number, 60)
            page.until("ack", lambda m, n=number: m["number"] == n)  # type: ignore[misc]
            number += 1
        page.read.clear()
    return number


@pytest.mark.parametrize(
    "seconds", [30, pytest.param(1800, marks=[pytest.mark.slow, pytest.mark.timeout(3600)])]
)
def test_memory_stays_flat(tmp_path: Path, seconds: int) -> None:
    """After the first minute of it: half a minute, and half an hour where there is time."""
    with room_in(tmp_path, SCRIPT, haste=1000) as room, room.page() as page:
        page.begin()
        number = spend(page, 60, 0)
        gc.collect()
        tracemalloc.start()
        before = tracemalloc.get_traced_memory()[0]
        spend(page, seconds, number)
        gc.collect()
        after = tracemalloc.get_traced_memory()[0]
        tracemalloc.stop()
    assert (after - before) / 1024 < MOST_GROWTH_KB
