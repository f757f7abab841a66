"""The options that say who a session is of: codes, never names."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import click

from logger.commands.showing import wrapped
from logger.core.codes import telling
from logger.core.events import SIDES, Side
from logger.core.session import SessionFacts

_LONGEST: Final = 40


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
