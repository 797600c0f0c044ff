"""A month in weeks, against the calendar of the standard library."""

import calendar
from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from dashboard.views.calendar_view import MOST, calendar_of

MONTHS = st.builds(lambda year, month: date(year, month, 1), st.integers(1990, 2100), st.integers(1, 12))


@given(MONTHS)
def test_weeks_are_those_of_the_standard_library(month: date) -> None:
    laid = calendar_of(month, date(2026, 11, 25), {})
    wanted = calendar.Calendar(0).monthdatescalendar(month.year, month.month)
    assert [[day.on for day in week] for week in laid.weeks] == wanted
    assert all(day.inside == (day.on.month == month.month) for week in laid.weeks for day in week)
    assert laid.later > month > laid.earlier
    assert (laid.later - timedelta(days=1)).month == month.month
    assert (laid.earlier.day, laid.later.day) == (1, 1)


def test_tags_stand_on_their_day_and_too_many_are_counted() -> None:
    on = date(2026, 12, 4)
    tags = tuple(f"P-{i}" for i in range(MOST + 3))
    laid = calendar_of(date(2026, 12, 1), on, {on: (tags[:MOST], len(tags)), date(2026, 11, 30): (("X",), 1)})
    days = {day.on: day for week in laid.weeks for day in week}
    assert days[on].tags == tags[:MOST]
    assert (days[on].n, days[on].today, laid.n) == (MOST + 3, True, MOST + 3)
    assert days[date(2026, 11, 30)].n == 0
