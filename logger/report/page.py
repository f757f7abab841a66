"""A report as one HTML file that asks nobody for anything."""

from __future__ import annotations

import base64
import hashlib
from importlib import resources

from jinja2 import Environment, StrictUndefined
from markupsafe import Markup

from logger.report.document import Block, Document, Table


def html_page(document: Document) -> str:
    """Return the page: its style is inside, its policy lets nothing else in, no script runs.

    All words are escaped. The style and the drawings are put in as they are: the one is a file of
    this package, the others are made by `svg.Drawing`, which escapes what it is given.
    """
    templates = resources.files("logger.report") / "templates"
    style = (templates / "report.css").read_text(encoding="utf-8") + _widths(document)
    environment = Environment(autoescape=True, undefined=StrictUndefined)
    environment.filters["as_it_is"] = Markup
    template = environment.from_string((templates / "report.html").read_text(encoding="utf-8"))
    return template.render(document=document, style=style, style_hash=_hash(style))


def _widths(document: Document) -> str:
    """Return the classes of the columns' widths: the policy lets no style attributes in."""
    blocks: list[Block] = [block for part in document.sections for block in part.blocks]
    shares = {
        (share, round(100 * share / sum(block.widths), 2))
        for block in blocks
        if isinstance(block, Table)
        for share in block.widths
    }
    return "".join(f".w{share} {{ width: {percent:g}%; }}\n" for share, percent in sorted(shares))


def _hash(style: str) -> str:
    digest = hashlib.sha256(style.encode("utf-8")).digest()
    return f"sha256-{base64.b64encode(digest).decode('ascii')}"
