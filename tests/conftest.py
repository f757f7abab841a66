"""What holds for all tests."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from media import FakeMedia
    from playwright.sync_api import Playwright

# A machine that does other things too makes single examples slow: time is no sign of a mistake.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")

LEAD_S = 10.0
"""Stillness at the start, for choosing devices and for finding the patient."""


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    """Start what drives the browser."""
    from playwright.sync_api import sync_playwright  # noqa: PLC0415 - only where one is driven

    with sync_playwright() as driver:
        yield driver


@pytest.fixture(scope="session")
def short_media(tmp_path_factory: pytest.TempPathFactory) -> FakeMedia:
    """Twelve seconds of the session: two findings on the right side."""
    from media import fake_media  # noqa: PLC0415

    return fake_media(tmp_path_factory.mktemp("short"), (17.0, 30.0), LEAD_S)
