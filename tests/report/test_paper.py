"""The report on paper, read back with an independent library (pdfium)."""

from __future__ import annotations

import json
import re
from dataclasses import asdict, replace

import pypdfium2
import pytest
from hostile import HEBREW, hostile_session
from invented import PACK, first_session, later_session, record, row, trace

from logger.core.session import CautionAnswer
from logger.files.session_json import SessionRecord
from logger.report import paper as paper_module
from logger.report.comparison import compare, comparison_report
from logger.report.occasions import Occasion
from logger.report.paper import pdf_pages
from logger.report.session_report import Material, session_report

A4_POINTS = (595, 842)


def paper(session: SessionRecord) -> bytes:
    material = Material(session, PACK, session.pack.version, trace(session))
    return pdf_pages(session_report(material))


def text_of(pdf: bytes) -> list[str]:
    """Return each page's words, with single spaces."""
    pages = pypdfium2.PdfDocument(pdf)
    texts = [page.get_textpage().get_text_range() for page in pages]
    return [re.sub(r"[\s\u2066-\u2069]+", " ", text) for text in texts]


def test_an_ordinary_session_fits_one_a4_page() -> None:
    """A check, a bout, a note, every caution answered, five motions and four directions."""
    pages = pypdfium2.PdfDocument(paper(first_session()))
    assert len(pages) == 1
    assert tuple(round(length) for length in pages[0].get_size()) == A4_POINTS


def test_it_says_what_the_page_says() -> None:
    (words,) = text_of(paper(first_session()))
    for told in (
        "Findings of one session",
        "Patient code: P-014",
        "no diagnosis and no treatment advice",
        "hypomobile, 1 of 6, pain 6, grade 3 [17]",
        "setup confirmed, 52°",
        "abduction agrees (100° against 170°, passive)",
        "Johnson 2007",
        "guards at the start",
        "page 1 of 1",
    ):
        assert told in words, told


def test_it_can_be_read_out() -> None:
    """PDF/UA-1: tagged, with its language and title, and words for the pictures."""
    pdf = paper(first_session())
    pages = pypdfium2.PdfDocument(pdf)
    assert pages.is_tagged()
    assert pages.get_metadata_dict()["Title"].startswith("Findings of one session")
    assert re.search(rb"/Lang\s*\(en\)", pdf)


def test_a_long_session_goes_on_and_loses_no_row() -> None:
    session = first_session()
    many = tuple(
        row(320.0 + 3 * i, "right", "inferior_glide", pain=i % 11, reasons=(f"doubt {i}",))
        for i in range(60)
    )
    longer = replace(session, findings=(*session.findings, *many))
    words = " ".join(text_of(paper(longer)))
    assert len(text_of(paper(longer))) > 1
    for i in range(60):
        assert f"doubt {i}" in words


@pytest.mark.parametrize("present", [True, False])
def test_markup_in_words_is_words(present: bool) -> None:
    session = hostile_session()
    answers = (CautionAnswer("#panic()", present=present, reason='#eval("1") $x$'),)
    facts = replace(session.facts, cautions=answers)
    words = " ".join(text_of(paper(replace(session, facts=facts))))
    assert "#panic()" in words
    assert "#let x = 1; $a^2$ *b* _c_" in words
    assert "</style><script>alert" in words.replace(" ", "")
    # pdfium gives right-to-left words back in the order in which they are seen or read.
    assert HEBREW.split(",")[0] in words or HEBREW.split(",")[0][::-1] in words


@pytest.mark.parametrize(
    "letter",
    ["\ue009", "\U000f0000", "\u0e83", "\u1680"],  # private, private, unassigned, an ogham space
)
def test_a_letter_that_no_font_has_is_told_and_loses_no_page(letter: str) -> None:
    """PDF/UA-1 forbids a letter without a shape: the whole page would be lost."""
    session = record([row(5, "right", "inferior_glide", note=f"guards {letter} here")])
    words = " ".join(text_of(paper(session)))
    assert "guards" in words
    assert "here" in words
    assert "Letters that no font of this machine has" in words or letter in words


def test_every_letter_that_is_let_through_has_a_shape() -> None:
    """All of them in one document, which the standard refuses where one has none."""
    letters = sorted(paper_module._letters())
    assert len(letters) > 5000
    lines = tuple("".join(letters[i : i + 100]) for i in range(0, len(letters), 100))
    document = replace(session_report(Material(record([]), PACK, "x")), notices=lines)
    pdf = paper_module._compiled(json.dumps(asdict(document)))
    assert len(pypdfium2.PdfDocument(pdf)) >= 1


class PanicException(BaseException):
    """What a hard stop of typst looks like."""


def test_a_hard_stop_over_a_mixture_of_scripts_loses_no_page(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    whole = paper_module._compiled
    given: list[str] = []

    def stop_once(document: str) -> bytes:
        given.append(document)
        if len(given) == 1:
            raise PanicException
        return whole(document)

    monkeypatch.setattr(paper_module, "_compiled", stop_once)
    words = " ".join(text_of(paper(record([row(5, "right", "inferior_glide", note="日本")]))))
    assert "\ufffd\ufffd" in words
    assert "Letters that no font of this machine has" in words


def test_other_stops_are_not_kept_quiet(monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(_: str) -> bytes:
        raise KeyboardInterrupt

    monkeypatch.setattr(paper_module, "_compiled", interrupted)
    with pytest.raises(KeyboardInterrupt):
        paper(first_session())


def test_the_same_session_gives_the_same_bytes() -> None:
    assert paper(first_session()) == paper(first_session())


def test_a_comparison_on_paper() -> None:
    days = [Occasion(f"week-{week}", later_session(week)) for week in range(4)]
    words = " ".join(text_of(pdf_pages(comparison_report(compare(days, PACK, "x", {})))))
    assert "right inferior glide: pain 6 → 5 → 3 → 1" in words
    assert "important (2.17 or more)" in words
    assert "Michener 2011" in words
