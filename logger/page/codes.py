"""What the page says of a patient code that looks like more than a label."""

from __future__ import annotations

from logger.core.codes import telling


def code_advice(code: str) -> str:
    """Return a warning where `code` may lead to a person by itself; else nothing."""
    what = telling(code)
    return f"This looks like {what}. Use a label such as P-017 instead." if what else ""
