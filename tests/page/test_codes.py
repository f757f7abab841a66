"""What a patient code is warned of."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.page.codes import code_advice

NAME = "This looks like a name. Use a label such as P-017 instead."
BIRTH = "This looks like a date, perhaps of birth. Use a label such as P-017 instead."
NUMBER = "This looks like a record or insurance number. Use a label such as P-017 instead."


@pytest.mark.parametrize(
    "code", ["", "P-017", "p17", "A12b", "S3", "2026-17", "K 4", "004", "pt 12"]
)
def test_labels_pass(code: str) -> None:
    """What clinics number their cases by."""
    assert code_advice(code) == ""


@pytest.mark.parametrize(
    "code", ["Nomen Nescio", "nescio", "Nescio, A.", "O'Brien", "Éloïse", "Nomen Nescio 3"]
)
def test_names_are_warned_of(code: str) -> None:
    """Words of letters are names until shown otherwise."""
    assert code_advice(code) == NAME


@pytest.mark.parametrize("code", ["4857773456", "943 476 5919", "MRN 123456789"])
def test_long_numbers_are_warned_of(code: str) -> None:
    """Health services number people with nine digits and more (common practice, no source)."""
    assert code_advice(code) == NUMBER


@given(st.text(alphabet="0123456789 -.PxMar", max_size=40))
def test_any_label_is_answered(code: str) -> None:
    """Numbers too long for any calendar too, such as "12345678901234567890 1 2"."""
    assert code_advice(code) in {"", NAME, BIRTH, NUMBER}
    assert code_advice(f"{code} 12345678901234567890 1 2") != ""


@pytest.mark.parametrize("code", ["12 Mar 1964", "Mar 12, 64", "1 january 2001", "P 12.03.1964"])
def test_written_dates_are_warned_of(code: str) -> None:
    """Months may be words, and a date may stand beside something else."""
    assert code_advice(code) == BIRTH


@given(st.dates(date(1910, 1, 1), date(2026, 12, 31)))
def test_every_date_is_warned_of_however_it_is_written(day: date) -> None:
    """The usual ways to write a date, by the standard library's own formatting."""
    for form in (
        "%Y-%m-%d",
        "%d.%m.%Y",
        "%m/%d/%Y",
        "%d/%m/%y",
        "%Y%m%d",
        "%d%m%Y",
        "%d%m%y",
        "%y%m%d",
    ):
        assert code_advice(day.strftime(form)) == BIRTH, form
