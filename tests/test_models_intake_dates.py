"""Dates with a month's name: English, German and French, in every spelling of the accent."""

from __future__ import annotations

import unicodedata
from zoneinfo import ZoneInfo

import pytest

from models.errors import NotAQuantityError
from models.intake.dates import Order, day_and_month, parse_moment, spelt_out, two_readings
from models.intake.totals import is_total

MONTHS = (
    ("Jan", "january", "Januar", "janv.", "janvier"),
    ("Feb", "February", "févr.", "fév", "février", "FEVR"),
    ("Mar", "March", "März", "mars"),
    ("Apr", "April", "avr.", "avril", "AVR"),
    ("May", "Mai", "mai"),
    ("Jun", "June", "Juni", "juin", "JUIN"),
    ("Jul", "July", "Juli", "juil.", "juillet", "JUIL"),
    ("Aug", "August", "août", "AOUT"),
    ("Sep", "Sept", "septembre"),
    ("Oct", "Okt", "Oktober", "octobre"),
    ("Nov", "novembre"),
    ("Dec", "Dez", "Dezember", "déc.", "décembre", "DEC"),
)


@pytest.mark.parametrize("form", ["NFC", "NFD"])
@pytest.mark.parametrize("written", ["{day} {month} {year}", "{day}-{month}-{year}", "{day}. {month} {year}"])
def test_each_month_is_read_by_its_name(written: str, form: str) -> None:
    for number, names in enumerate(MONTHS, start=1):
        for name in names:
            text = unicodedata.normalize(form, written.format(day=5, month=name, year=2024))  # type: ignore[arg-type]
            moment, has_time = parse_moment(text, Order.BY_ROWS, ZoneInfo("UTC"))
            assert (moment.year, moment.month, moment.day, has_time) == (2024, number, 5, False), text


def test_the_first_of_a_month_and_the_hour_are_read_as_french_writes_them() -> None:
    moment, has_time = parse_moment("1er août 2024 14h30", Order.BY_ROWS, ZoneInfo("UTC"))
    assert (f"{moment:%Y-%m-%d %H:%M}", has_time) == ("2024-08-01 14:30", True)


@pytest.mark.parametrize("dash", ["\u2010", "\u2011", "\u2012", "\u2013", "\u2212"])
def test_every_sign_that_text_programs_put_for_a_dash_parts_a_date(dash: str) -> None:
    """A hyphen that does not break keeps a date on one line; the offset behind a time has a true minus."""
    text = "2026-04-03 14:30-01:00".replace("-", dash)
    moment, has_time = parse_moment(text, Order.BY_ROWS, ZoneInfo("UTC"))
    assert (f"{moment:%Y-%m-%d %H:%M}", has_time) == ("2026-04-03 15:30", True)
    assert two_readings(f"03{dash}04{dash}2026") == ("2026-04-03", "2026-03-04")
    assert day_and_month(f"03{dash}04{dash}2026") == (3, 4, False)
    assert spelt_out(f"03{dash}04{dash}2026", Order.DAY_FIRST) == "2026-04-03"


@pytest.mark.parametrize(
    "text", ["5 jui 2024", "5 jui. 2024", "5 aoat 2024", "5 mo 2024", "31 juin 2024", "5 brumaire 2024"]
)
def test_what_names_no_month_or_two_is_no_date(text: str) -> None:
    """The beginning 'jui' may be June or July."""
    with pytest.raises(NotAQuantityError):
        parse_moment(text, Order.BY_ROWS, ZoneInfo("UTC"))


@pytest.mark.parametrize(
    "text", ["Total août 2024", "Total févr.", "Total: juillet", "Total avril", "Summe März", "Total Apr"]
)
def test_a_total_may_name_its_month(text: str) -> None:
    assert is_total(text)
