"""A report as a PDF of A4 pages."""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Set as AbstractSet
from dataclasses import asdict, replace
from importlib import resources
from pathlib import Path
from typing import Final

import matplotlib as mpl
import typst
from matplotlib.ft2font import FT2Font

from logger.report.document import Document

_FONTS: Final = Path(mpl.get_data_path()) / "fonts" / "ttf"
_BLANK: Final = frozenset(" \u2068\u2069")
"""The space, and the marks that keep a direction of writing to itself."""
_SHAPELESS: Final = "\N{REPLACEMENT CHARACTER}"
_NOTICE: Final = (
    f"Letters that no font of this machine has are shown as {_SHAPELESS} on paper; report.html has "
    "them as they were written."
)


def pdf_pages(document: Document) -> bytes:
    """Return the PDF, tagged for readers of screens (PDF/UA-1); the same input, the same bytes.

    The words are handed over as data and never read as markup. Letters that DejaVu Sans lacks are
    taken from the machine's fonts; where these have none either, the standard forbids to leave
    them blank, so they are replaced, and the paper says so.
    """
    try:
        return _compiled(json.dumps(asdict(document)))
    except BaseException as error:
        # Typst stops hard over some rare mixtures of scripts, which comes through as a panic.
        if not isinstance(error, typst.TypstError) and type(error).__name__ != "PanicException":
            raise
    told = replace(document, notices=(*document.notices, _NOTICE))
    return _compiled(json.dumps(_drawable(asdict(told), _letters())))


def _compiled(document: str) -> bytes:
    template = resources.files("logger.report") / "templates" / "report.typ"
    compiler = typst.Compiler(
        template.read_bytes(),
        font_paths=typst.Fonts(font_paths=[_FONTS]),
        sys_inputs={"document": document},
    )
    pages = compiler.compile(format="pdf", pdf_standards="ua-1", timestamp=0)
    if not isinstance(pages, bytes):
        raise TypeError("typst gave something else than one PDF")
    return pages


def _letters() -> frozenset[str]:
    """Return the letters that surely have a shape: those of DejaVu Sans that are not blank."""
    font = FT2Font(str(_FONTS / "DejaVuSans.ttf"))
    known = (chr(code) for code in font.get_charmap())
    return _BLANK | {letter for letter in known if unicodedata.category(letter)[0] not in "CZ"}


def _drawable(value: object, known: AbstractSet[str]) -> object:
    """Return the same document with every letter that is not `known` replaced."""
    if isinstance(value, str):
        return "".join(letter if letter in known else _SHAPELESS for letter in value)
    if isinstance(value, dict):
        return {key: _drawable(inner, known) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_drawable(inner, known) for inner in value]
    return value
