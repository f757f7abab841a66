"""The options that say who a session is of: codes, never names."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from typing import Any, Final

import click

from logger.commands.showing import wrapped
from logger.core.events import SIDES, Side
from logger.core.session import SessionFacts

_LONGEST: Final = 40
_CODE_WORDS: Final = frozenset(
    {"patient", "pat", "case", "code", "subject", "student", "examiner", "rater", "test", "demo"}
    | {"session", "class", "group", "pilot", "left", "right", "none"}
)
_WORD: Final = re.compile(r"[^\W\d_]{3,}")
_DATE: Final = re.compile(r"(?<!\d)(\d{1,4})[./ -](\d{1,2})[./ -](\d{1,4})(?!\d)")
_EIGHT: Final = re.compile(r"(?<!\d)(?:(\d{4})(\d\d)(\d\d)|(\d\d)(\d\d)(\d{4}))(?!\d)")
_BORN_SINCE: Final = 1900


def telling(code: str) -> str:
    """Return what a code looks like that could lead to a person: "a name", "a date", or nothing.

    A word of three letters or more may be a name, unless it is one that codes are made with.
    """
    if any(word.casefold() not in _CODE_WORDS for word in _WORD.findall(code)):
        return "a name"
    if _DATE.search(code) or any(_is_date(match) for match in re.finditer(_EIGHT, code)):
        return "a date such as a birth date"
    return ""


def _is_date(match: re.Match[str]) -> bool:
    text = match[0]
    orders = ((text[:4], text[4:6], text[6:]), *_day_and_month_first(text))
    return any(_possible(*(int(part) for part in parts)) for parts in orders)


def _day_and_month_first(text: str) -> tuple[tuple[str, str, str], ...]:
    return ((text[4:], text[2:4], text[:2]), (text[4:], text[:2], text[2:4]))


def _possible(year: int, month: int, day: int) -> bool:
    try:
        return date(year, month, day).year >= _BORN_SINCE
    except ValueError:
        return False


def _code(_context: click.Context, option: click.Parameter, value: str | None) -> str | None:
    if value is None:
        return None
    code = value.strip()
    if not code or len(code) > _LONGEST or not code.isprintable():
        raise click.BadParameter(f"give a code of 1 to {_LONGEST} letters, digits and signs.")
    if what := telling(code):
        # The code itself is not repeated: what is printed may be kept in a log.
        name = option.opts[0]
        sentence = (
            f"the {name} given looks like {what}. It is written into the results as it is: give a "
            "code that leads to the person only by a list kept elsewhere."
        )
        click.echo(wrapped("warning: ", sentence), err=True)
    return code


def facts_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add --patient-code, --examiner and --involved-side to a command; see `facts_of`."""
    for option in (
        click.option(
            "--involved-side", type=click.Choice(SIDES), help="The side that is complained of."
        ),
        click.option(
            "--examiner", metavar="CODE", callback=_code, help="Who tested: a code, no name."
        ),
        click.option(
            "--patient-code",
            metavar="CODE",
            callback=_code,
            help="Who was tested: a code, no name.",
        ),
    ):
        command = option(command)
    return command


def facts_of(
    patient_code: str | None, examiner: str | None, involved_side: Side | None
) -> SessionFacts:
    """Return the facts that the options of `facts_options` give."""
    return SessionFacts(
        patient_code=patient_code, examiner_code=examiner, involved_side=involved_side
    )
