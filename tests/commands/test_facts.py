"""Codes for people: what looks like more than a code, and that it is not repeated."""

from __future__ import annotations

import click
import pytest
from click.testing import CliRunner, Result

from logger.commands.facts import facts_of, facts_options
from logger.core.codes import telling
from logger.core.events import Side


@pytest.mark.parametrize(
    "code",
    ["P12", "p-0042", "case 7", "Patient_031", "A1", "2026-014", "X", "7", "K3-L", "ab-12.3"],
)
def test_codes_are_not_taken_for_people(code: str) -> None:
    assert telling(code) is None


@pytest.mark.parametrize(
    ("code", "like"),
    [
        ("Nobody Invented", "a name"),
        ("invented_n", "a name"),
        ("Ønsket", "a name"),
        ("אבגד", "a name"),
        ("nobody1980", "a name"),
        ("12.05.1980", "a date"),
        ("P-1980-05-12", "a date"),
        ("5/12/80", "a date"),
        ("19800512", "a date"),
        ("x12051980", "a date"),
    ],
)
def test_names_and_birth_dates_are_noticed(code: str, like: str) -> None:
    assert str(telling(code)).startswith(like)


def test_eight_digits_that_are_no_day_are_a_code() -> None:
    assert telling("99999999") is None
    assert telling("12345678") is None


@click.command()
@facts_options
def shown(patient_code: str | None, examiner: str | None, involved_side: Side | None) -> None:
    facts = facts_of(patient_code, examiner, involved_side)
    click.echo(f"{facts.patient_code} {facts.examiner_code} {facts.involved_side}")


def run(*args: str) -> Result:
    return CliRunner().invoke(shown, args)


def test_what_looks_like_a_name_is_warned_of_and_not_repeated() -> None:
    result = run("--patient-code", "Nobody Invented", "--examiner", "E2")
    assert result.exit_code == 0
    assert "looks like a name" in result.stderr
    assert "Nobody" not in result.stderr
    assert result.stdout == "Nobody Invented E2 None\n"
    assert all(len(line) <= 80 for line in result.stderr.splitlines())
    assert run("--patient-code", " P1 ", "--involved-side", "left").output == "P1 None left\n"


@pytest.mark.parametrize("code", ["", "  ", "a\tb", "x" * 41, "a\u202eb"])
def test_what_is_no_code_is_refused(code: str) -> None:
    assert run("--patient-code", code).exit_code == 2
