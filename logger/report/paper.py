"""A report as a PDF of A4 pages."""

from __future__ import annotations

import json
from dataclasses import asdict
from importlib import resources
from pathlib import Path

import matplotlib as mpl
import typst

from logger.report.document import Document


def pdf_pages(document: Document) -> bytes:
    """Return the PDF, tagged for readers of screens (PDF/UA-1); the same input, the same bytes.

    The words are handed over as data and never read as markup.
    """
    template = resources.files("logger.report") / "templates" / "report.typ"
    compiler = typst.Compiler(
        template.read_bytes(),
        font_paths=typst.Fonts(font_paths=[Path(mpl.get_data_path()) / "fonts" / "ttf"]),
        sys_inputs={"document": json.dumps(asdict(document))},
    )
    pages = compiler.compile(format="pdf", pdf_standards="ua-1", timestamp=0)
    if not isinstance(pages, bytes):
        raise TypeError("typst gave something else than one PDF")
    return pages
