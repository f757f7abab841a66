"""The pictures in the documents show every state, and can be made again."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from browser import needs_chromium

if TYPE_CHECKING:
    from playwright.sync_api import Playwright

DOCS = Path(__file__).parents[2] / "docs"


@needs_chromium
@pytest.mark.browser
def test_every_picture_of_the_page_is_made_again(playwright: Playwright, tmp_path: Path) -> None:
    from pictures import take_pictures  # noqa: PLC0415 - only where a browser is driven

    made = take_pictures(playwright, tmp_path, tmp_path / "page")
    kept = {path.name for path in (DOCS / "page").glob("*.png")}
    assert {path.name for path in made} == kept
    text = (DOCS / "live.md").read_text(encoding="utf-8")
    assert [name for name in sorted(kept) if f"page/{name}" not in text] == []
    assert all(path.stat().st_size > 5000 for path in made)
