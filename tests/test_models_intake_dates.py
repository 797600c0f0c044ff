"""Dates with a month's name: English, German and French, in every spelling of the accent."""

from __future__ import annotations

import unicodedata
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from models.errors import NotAQuantityError
from models.intake.clocks import Doubt, with_clock
from models.intake.dates import (
    Order,
    day_and_month,
    parse_moment,
    read_day,
    read_moment,
    spelt_out,
    two_readings,
)
from models.intake.totals import is_total

MONTHS = (
    ("Jan", "january", "Januar", "janv.", "janvier"),
    ("Feb", "February", "févr.", "fév", "février", "FEVR"),
    ("Mar", "March", "März", "mars", "Mrz"),
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
@pytest.mark.parametrize(
    "written",
    [
        "{day} {month} {year}",
        "{day}-{month}-{year}",
        "{day}. {month} {year}",
        "{month} {day}, {year}",
        "{month}-{day}-{year}",
    ],
)
def test_each_month_is_read_by_its_name(written: str, form: str) -> None:
    for number, names in enumerate(MONTHS, start=1):
        for name in names:
            text = unicodedata.normalize(form, written.format(day=5, month=name, year=2024))  # type: ignore[arg-type]
            moment, has_time = parse_moment(text, Order.BY_ROWS, ZoneInfo("UTC"))
            assert (moment.year, moment.month, moment.day, has_time) == (2024, number, 5, False), text


@pytest.mark.parametrize("cell", ["20120304", "20120304 00:00", 20120304.0, 20120304, "Mar 4th, 2012"])
def test_a_day_in_eight_digits_is_read(cell: object) -> None:
    assert read_day(cell, Order.BY_ROWS, TODAY, may_lie_ahead=False)[0] == date(2012, 3, 4)


@pytest.mark.parametrize(
    ("cell", "found"),
    [("04032012", "04032012"), (41000.0, "41000"), ("20121304", "20121304"), ("Mar 2012", "Mar 2012")],
)
def test_what_is_no_day_in_eight_digits_is_told_as_it_stands(cell: object, found: str) -> None:
    with pytest.raises(NotAQuantityError) as fault:
        read_day(cell, Order.BY_ROWS, TODAY, may_lie_ahead=False)
    assert fault.value.found == found


def test_the_first_of_a_month_and_the_hour_are_read_as_french_writes_them() -> None:
    moment, has_time = parse_moment("1er août 2024 14h30", Order.BY_ROWS, ZoneInfo("UTC"))
    assert (f"{moment:%Y-%m-%d %H:%M}", has_time) == ("2024-08-01 14:30", True)


@pytest.mark.parametrize("dash", ["\u2010", "\u2011", "\u2012", "\u2013", "\u2212"])
def test_every_sign_that_text_programs_put_for_a_dash_parts_a_date(dash: str) -> None:
    """A hyphen that does not break keeps a date on one line; the offset behind a time has a true minus."""
    text = "2026-04-03 14:30:00-01:00".replace("-", dash)
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


@pytest.mark.parametrize(
    "text",
    ["2026-05-01 15:00 AM", "2026-05-01 24:00 PM", "2026-05-01 25:30 pm", "1.5.2026 13:30 a.m.", "2026-05-01 24:00"],
)
def test_a_time_that_no_clock_shows_is_refused(text: str) -> None:
    """By the half of the day alone 15:00 AM would be 03:00, and 25:30 PM 13:30."""
    with pytest.raises(NotAQuantityError, match="a time of day such as"):
        parse_moment(text, Order.BY_ROWS, ZoneInfo("UTC"))


@pytest.mark.parametrize(
    ("typed", "read"),
    [("12:30 AM", "00:30"), ("0:30 am", "00:30"), ("12:30 PM", "12:30"), ("1:05 p.m.", "13:05"), ("15:00 PM", "15:00")],
)
def test_the_half_of_a_day_is_read_where_it_fits(typed: str, read: str) -> None:
    moment, _ = parse_moment(f"2026-05-01 {typed}", Order.BY_ROWS, ZoneInfo("UTC"))
    assert f"{moment:%H:%M}" == read


@pytest.mark.parametrize("offset", ["+99:99", "+14:01", "-12:30", "+0560", "-23:00"])
def test_an_offset_that_no_clock_shows_is_refused(offset: str) -> None:
    with pytest.raises(NotAQuantityError, match="offset from UTC"):
        parse_moment(f"2026-05-01 10:00 {offset}", Order.BY_ROWS, ZoneInfo("UTC"))


@pytest.mark.parametrize(
    ("offset", "read"), [("+14:00", "04-30 20:00"), ("-1200", "05-01 22:00"), ("+05:45", "05-01 04:15")]
)
def test_offsets_that_clocks_show_are_read(offset: str, read: str) -> None:
    moment, _ = parse_moment(f"2026-05-01 10:00 {offset}", Order.BY_ROWS, ZoneInfo("UTC"))
    assert f"{moment:%m-%d %H:%M}" == read


@pytest.mark.parametrize("text", ["5 Junk 2026", "5 Marker 2026", "5. marraskuu 2026", "5 Maybe 26", "5 Decade 2026"])
def test_a_word_that_only_begins_like_a_month_is_none(text: str) -> None:
    with pytest.raises(NotAQuantityError):
        parse_moment(text, Order.BY_ROWS, ZoneInfo("UTC"))


@pytest.mark.parametrize("text", ["2026-05-01 until further notice", "01.05.2026 - 01.06.2026", "2026-05-01 25:00"])
def test_what_stands_behind_a_day_is_not_passed_over(text: str) -> None:
    today = date(2026, 11, 25)
    with pytest.raises(NotAQuantityError, match="a date such as"):
        read_day(text, Order.DAY_FIRST, today, may_lie_ahead=True)
    assert read_day("2026-05-01 00:00:00", Order.DAY_FIRST, today, may_lie_ahead=True)[0] == date(2026, 5, 1)


@pytest.mark.parametrize("cell", [timedelta(days=1), timedelta(hours=36), timedelta(hours=-1), "24:00", "15:00 AM"])
def test_what_is_no_time_of_day_moves_no_date(cell: object) -> None:
    noon, zone = datetime(2026, 5, 1, 12, tzinfo=UTC), ZoneInfo("Europe/Lisbon")
    with pytest.raises(NotAQuantityError, match="a time of day such as"):
        with_clock(noon, cell, zone)
    for fits in (timedelta(hours=15), "3:00 PM"):
        assert with_clock(noon, fits, zone) == (datetime(2026, 5, 1, 14, tzinfo=UTC), None)


@pytest.mark.parametrize(
    "span", ["22:00-06:00", "23:30-01:00", "08:00\u201310:00", "08:00-17:00", "07:30\u221209:00", "06:00-12:00"]
)
def test_a_span_of_time_is_no_time_in_another_zone(span: str) -> None:
    zone = ZoneInfo("Europe/Lisbon")
    with pytest.raises(NotAQuantityError, match="one time of day"):
        parse_moment(f"2026-10-06 {span}", Order.BY_ROWS, zone)
    with pytest.raises(NotAQuantityError, match="one time of day"):
        with_clock(datetime(2026, 10, 6, 12, tzinfo=UTC), span, zone)


@pytest.mark.parametrize(
    ("text", "zone", "read"),
    [
        ("2026-10-06T22:00-06:00", "Europe/Lisbon", "10-07 04:00"),  # a program wrote it
        ("2026-10-06 22:00:00-06:00", "Europe/Lisbon", "10-07 04:00"),
        ("2026-10-06 22:00-04:00", "America/New_York", "10-07 02:00"),  # the site's own
        ("2026-11-01 01:30-05:00", "America/New_York", "11-01 06:30"),  # the second of two
        ("2026-10-06 22:00+02:00", "Europe/Lisbon", "10-06 20:00"),
    ],
)
def test_an_offset_that_is_no_span_is_read(text: str, zone: str, read: str) -> None:
    assert f"{parse_moment(text, Order.BY_ROWS, ZoneInfo(zone))[0]:%m-%d %H:%M}" == read


TODAY = date(2026, 11, 25)


def short(text: str, order: Order = Order.BY_ROWS) -> tuple[date, tuple[Doubt, ...]]:
    moment, doubts = read_moment(text, order, ZoneInfo("UTC"), TODAY)
    assert read_day(text, order, TODAY, may_lie_ahead=False) == (moment.date(), doubts)
    return moment.date(), doubts


@pytest.mark.parametrize(
    ("text", "order", "day"),
    [
        ("26-05-01", Order.YEAR_FIRST, date(2026, 5, 1)),
        ("26-05-01", Order.DAY_FIRST, date(2001, 5, 26)),
        ("98/05/01", Order.BY_ROWS, date(1998, 5, 1)),  # 98 is no day
        ("26-12-24", Order.BY_ROWS, date(2024, 12, 26)),  # year first it has not come
        ("26/05/01", Order.BY_ROWS, date(2001, 5, 26)),  # only with dashes a year of two digits stands first
        ("26.05.01", Order.BY_ROWS, date(2001, 5, 26)),
        ("15/01/27", Order.BY_ROWS, date(2027, 1, 15)),  # a slip is no proof of another order
        ("31/12/26", Order.BY_ROWS, date(2026, 12, 31)),  # ahead: in 1926 nobody wrote such a list
        ("Dec 31st, 98", Order.BY_ROWS, date(1998, 12, 31)),
        ("15/01/28", Order.BY_ROWS, date(1928, 1, 15)),
        ("27/04/19", Order.CLEAR, date(2019, 4, 27)),
        ("04/25/19", Order.BY_ROWS, date(2019, 4, 25)),
        ("5/05/05", Order.BY_ROWS, date(2005, 5, 5)),
        ("2026-05-01", Order.YEAR_FIRST, date(2026, 5, 1)),
    ],
)
def test_a_year_of_two_digits_is_found_where_one_place_is_left_for_it(text: str, order: Order, day: date) -> None:
    assert short(text, order)[0] == day


@pytest.mark.parametrize(
    ("text", "order"), [("26-05-01", Order.BY_ROWS), ("26-05-19", Order.CLEAR), ("15-05-27", Order.CLEAR)]
)
def test_a_year_of_two_digits_that_may_stand_first_or_last_is_asked_about(text: str, order: Order) -> None:
    with pytest.raises(NotAQuantityError, match=r"first or last here; write 20\d\d-05-\d\d or 20\d\d-05-"):
        short(text, order)


def test_a_short_date_comes_back_so_that_it_reads_one_way() -> None:
    assert spelt_out("26-05-01 14:30", Order.YEAR_FIRST) == "01-May-26 14:30"
    assert spelt_out("26-05-01", Order.DAY_FIRST) == "26-May-01"
    assert spelt_out("26-05-01", Order.BY_ROWS) == "26-05-01"
    assert spelt_out("26-13-01", Order.YEAR_FIRST) == "26-13-01"
