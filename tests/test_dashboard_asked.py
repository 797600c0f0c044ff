"""What the Book, People and Limits pages are asked for: read once, never an error."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.asked import KINDS, Asked, named, read_asked, read_days, read_factors, read_number, read_years
from dashboard.place import Place, read_place
from models.values.kinds import Kind

TAGS, PEOPLE, INSTRUMENTS = ("P-1", "P-10", "Q-7"), ("Ana Wick", "Bo Tarn"), ("D-1", "L-9")


def asked(query: str) -> Asked:
    return read_asked(read_place("/book", query), "Europe/Lisbon", TAGS, PEOPLE, INSTRUMENTS)


@pytest.mark.parametrize(
    ("typed", "expected"),
    [
        ("2026-10-09", (date(2026, 10, 9), date(2026, 10, 9))),
        ("2026-2", (date(2026, 2, 1), date(2026, 2, 28))),
        ("2024-02", (date(2024, 2, 1), date(2024, 2, 29))),
        ("2026", (date(2026, 1, 1), date(2026, 12, 31))),
    ],
)
def test_a_day_a_month_or_a_year_is_a_range_of_days(typed: str, expected: tuple[date, date]) -> None:
    assert read_days(Place("/book", {"from": typed}), "from").value == expected


@pytest.mark.parametrize("typed", ["2026-02-30", "2026-13", "0000", "9999", "yesterday", "26", "2026-10-09-1", "٢٠٢٦"])
def test_what_is_no_day_is_said_and_left_out(typed: str) -> None:
    read = read_days(Place("/book", {"to": typed}), "to")
    assert read.value is None
    assert "is no day" in read.problem


def test_names_are_met_as_spelled_then_in_other_letters_then_as_the_only_one_that_holds_the_text() -> None:
    assert named("P-1", TAGS) == "P-1"
    assert named("p-10", TAGS) == "P-10"
    assert named("q", TAGS) == "Q-7"
    assert named("P", TAGS) is None
    assert named("zzz", TAGS) is None


def test_a_question_is_read_whole() -> None:
    got = asked("?asset=q-7&person=bo tarn&instrument=D-1&job=2026-1&kind=job-amended&from=2026-01&to=2026-01&file=3")
    given_filter = got.filter
    assert (given_filter.tag, given_filter.person, given_filter.instrument) == ("Q-7", "Bo Tarn", "D-1")
    assert (given_filter.ref, given_filter.kind, given_filter.file) == ("2026-1", Kind.JOB_AMENDED, 3)
    assert given_filter.recorded_from.isoformat() == "2026-01-01T00:00:00+00:00"
    assert given_filter.recorded_before.isoformat() == "2026-02-01T00:00:00+00:00"
    assert given_filter.done_from is None
    assert not any(got.problems)
    assert not got.nothing


def test_days_can_be_those_of_the_work_on_the_sites_own_clock() -> None:
    got = asked("?from=2026-07-01&to=2026-07-01&dates=done")
    assert got.filter.recorded_from is None
    assert got.filter.done_from.isoformat() == "2026-07-01T00:00:00+01:00"
    assert got.filter.done_before.isoformat() == "2026-07-02T00:00:00+01:00"


def test_an_unknown_machine_or_instrument_answers_nothing_and_an_unknown_writer_is_asked_for_as_typed() -> None:
    assert asked("?asset=nope").nothing
    assert asked("?instrument=nope").nothing
    assert asked("?person=demo").filter.person == "demo"
    assert not asked("?person=demo").nothing


def test_the_page_of_newer_entries_wins_over_that_of_older_ones() -> None:
    assert (asked("?before=40").before, asked("?before=40").after) == (40, None)
    assert (asked("?before=40&after=7").before, asked("?before=40&after=7").after) == (None, 7)
    assert "is no number of an entry" in " ".join(asked("?before=-3").problems)
    assert "is no kind of entry" in " ".join(asked("?kind=party").problems)


def test_every_kind_stands_in_an_address_by_a_name_of_its_own() -> None:
    assert set(KINDS.values()) == set(Kind)
    assert all(" " not in name for name in KINDS)


def test_factors_are_stored_in_millimetres_whatever_they_are_typed_in() -> None:
    mm = read_factors(Place("/limits", {"offset": "80", "angle": "700"})).value
    assert (mm.offset_mm_rpm, mm.angle_mm_m_rpm, mm.given) == (80.0, 700.0, True)
    mil = read_factors(Place("/limits", {"offset": "1000", "angle": "700", "in": "mil"})).value
    assert mil.offset_mm_rpm == pytest.approx(25.4)  # 1 mil = 0.0254 mm exactly (design, section 2)
    assert mil.angle_mm_m_rpm == 700.0  # 1 mil/in = 1 mm/m (design, section 2)
    assert read_factors(Place("/limits", {"offset": "62,5"})).value.offset_mm_rpm == 62.5
    assert not read_factors(Place("/limits", {})).value.given


@pytest.mark.parametrize("typed", ["0", "-5", "nan", "1e99", "many", "1,234"])
def test_what_is_no_factor_is_said(typed: str) -> None:
    read = read_factors(Place("/limits", {"offset": typed}))
    assert not read.value.given
    assert "is no factor" in read.problem


def test_years_are_five_where_nothing_else_was_asked_for() -> None:
    assert read_years(Place("/limits", {})).value == 5
    assert read_years(Place("/limits", {"years": "1"})).value == 1
    assert read_years(Place("/limits", {"years": "all"})).value is None
    assert read_years(Place("/limits", {"years": "-2"})).problem
    assert read_number("12") == 12
    assert read_number("1.5") is read_number("0") is read_number("") is None


@given(
    st.text(max_size=30),
    st.sampled_from(["asset", "person", "from", "to", "kind", "file", "before", "years", "offset", "angle", "job"]),
)
def test_whatever_is_typed_is_never_an_error(typed: str, name: str) -> None:
    place = Place("/book", {name: typed})
    read_asked(place, "Europe/Lisbon", TAGS, PEOPLE, INSTRUMENTS)
    read_years(place)
    read_factors(place)
