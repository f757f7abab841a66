"""The page: one file, nothing asked of anybody, nothing run, every word escaped."""

from __future__ import annotations

import base64
import hashlib
import re
from html.parser import HTMLParser

import pytest
from hostile import ARABIC, FORMULA, HEBREW, MARKUP, SCRIPT, hostile_session
from invented import PACK, first_session, later_session, trace

from logger.files.session_json import SessionRecord
from logger.report.comparison import compare, comparison_report
from logger.report.occasions import Occasion
from logger.report.page import html_page
from logger.report.session_report import Material, session_report

REQUESTING = {"src", "href", "srcset", "data", "action", "formaction", "poster", "background"}
VOID = {"meta", "br", "img", "input", "link", "hr"}


class Read(HTMLParser):
    """What a page holds."""

    def __init__(self) -> None:
        """Begin with nothing read."""
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str, str]] = []
        self.words: list[str] = []
        self.open: list[str] = []
        self.isolated: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Take an element and its attributes."""
        self.tags.append(tag)
        self.attributes += [(tag, name, value or "") for name, value in attrs]
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        """See that it is the one opened last."""
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        """Take the words."""
        self.words.append(data)
        if "bdi" in self.open:
            self.isolated.append(data)


def page(session: SessionRecord) -> str:
    material = Material(session, PACK, session.pack.version, trace(session))
    return html_page(session_report(material))


def compared() -> str:
    days = [Occasion(f"week-{week}", later_session(week)) for week in range(4)]
    return html_page(comparison_report(compare(days, PACK, "x", {})))


def read(text: str) -> Read:
    parser = Read()
    parser.feed(text)
    parser.close()
    assert not parser.open, "every element is closed"
    return parser


@pytest.mark.parametrize("text", [page(first_session()), page(hostile_session()), compared()])
def test_nothing_is_asked_of_anybody_and_nothing_runs(text: str) -> None:
    found = read(text)
    assert not {"script", "img", "link", "iframe", "object", "form", "base"} & set(found.tags)
    asked = [a for a in found.attributes if a[1].split(":")[-1] in REQUESTING]
    assert not asked
    assert not [a for a in found.attributes if a[1].startswith("on") or a[1] == "style"]
    outside = [a for a in found.attributes if "://" in a[2] and a[1] != "xmlns"]
    assert not outside
    fills = {a[2] for a in found.attributes if "url(" in a[2]}
    assert all(fill.startswith("url(#") for fill in fills)
    assert "@import" not in text
    assert "url(" not in re.findall(r"<style>(.*?)</style>", text, re.DOTALL)[0]


@pytest.mark.parametrize("text", [page(first_session()), page(hostile_session())])
def test_the_policy_lets_in_its_own_style_alone(text: str) -> None:
    (policy,) = [a[2] for a in read(text).attributes if "default-src" in a[2]]
    (style,) = re.findall(r"<style>(.*?)</style>", text, re.DOTALL)
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert policy == (
        f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    )


def test_every_word_of_a_hostile_session_is_shown_as_it_is_and_kept_apart() -> None:
    found = read(page(hostile_session()))
    for words in (SCRIPT, MARKUP, HEBREW, ARABIC, FORMULA):
        assert any(words in isolated for isolated in found.isolated), words
    broken = [words for words in found.words if "a\ufffdb\ufffdc\ufffdd?e\ufffd" in words]
    assert broken, "marks that turn the writing round are shown as broken"
    assert not any(mark in "".join(found.words) for mark in "\0\x07\u202e")


def test_the_page_is_named_and_its_tables_have_heads() -> None:
    text = page(first_session())
    found = read(text)
    assert '<html lang="en">' in text
    title = "<title>Findings of one session, \u2068P-014\u2069, 2026-03-02, 10:15"
    assert title in text
    scopes = [a[2] for a in found.attributes if a[1] == "scope"]
    assert scopes.count("col") == 4 + 4 + 3
    assert scopes.count("row") == 7 + 4 + 1
    assert found.tags.count("h1") == 1


def test_the_same_session_gives_the_same_page() -> None:
    assert page(first_session()) == page(first_session())
