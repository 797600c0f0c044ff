"""Numbers and dates as people read them."""

import math
import re
from datetime import UTC, date, datetime

from hypothesis import given
from hypothesis import strategies as st

from dashboard import writing
from dashboard.words import WORDS
from models.history.columns import SPEED_BOUNDS_RPM, speed_class_names


def test_one_is_one_job_and_two_are_jobs() -> None:
    assert [writing.counted(n, "job") for n in (0, 1, 2)] == ["0 jobs", "1 job", "2 jobs"]


FIXED = {
    "month.key.due_soon", "month.key.due_both", "month.key.due_both.some", "month.key.due_both.unknown", "due.sentence.risk.unknown", "due.sentence.risk", "due.sentence.rule", "due.column.soon", "due.column.quarter",
    "due.soon.title", "due.text", "month.key.due_both.ruled", "due.sentence.risk.some", "due.sentence.risk.none", "due.loads.ruled", "people.key.soon", "files.window.series", "problem.window",
    "problem.years", "whatif.years.n", "month.chart.centre", "month.chart.run_above", "month.chart.run_below", "month.chart.provisional",
    "people.effects.none", "people.effects.missing", "files.too_long", "offenders.seen.years",
}  # fmt: skip
"""Texts whose number is never one: a bound of ours, a chart of 24 months, years with a decimal."""


def test_no_text_writes_a_number_before_a_noun_that_might_be_one_alone() -> None:
    """A site whose rule is one month was told of '1 months': the number comes with its noun, from ``counted``."""
    nouns = "months|days|years|rows|runs|causes|versions|repeats|areas|trains|instruments|sites|readings|positions|replacements|machines"
    raw = re.compile(rf"\{{(\w+)\}} ({nouns})\b")
    found = {
        key for key, text in WORDS.items() if raw.search(text) and not key.startswith(("noun.", "told.distance.hub"))
    }
    assert found == FIXED


def test_thousands_stand_apart_from_ten_thousand_on() -> None:
    assert writing.count(9999) == "9999"
    assert writing.count(1_234_567) == "1\u202f234\u202f567"


def test_shares_and_intervals_are_per_cent_without_decimals() -> None:
    assert writing.percent(0.254) == "25\u202f%"
    assert writing.percent(math.nan) == "–"
    assert writing.interval(0.132, 0.42) == "13 to 42\u202f%"
    assert writing.interval(math.nan, 1.0) == "–"


@given(st.floats(0.0, 50.0))
def test_rounding_never_hides_on_which_side_of_the_limit_a_ratio_lies(value: float) -> None:
    written = float(writing.ratio(value))
    if abs(value - 1.0) > 5e-7:
        assert (written > 1.0) == (value > 1.0)
    assert math.isclose(written, value, abs_tol=0.005 + 1e-9)


def test_a_ratio_just_over_the_limit_is_not_written_as_the_limit() -> None:
    assert writing.judged(1.0004) == "1.0004 over"
    assert writing.judged(1.0) == "1.00 within"
    assert writing.judged(None) == writing.judged(math.nan) == writing.verdict(None) == "–"


def test_times_are_on_the_sites_clock() -> None:
    assert writing.moment(datetime(2026, 1, 1, 0, 30, tzinfo=UTC), "America/New_York") == "31 Dec 2025, 19:30"


def test_dates_name_the_month() -> None:
    assert writing.day(date(2026, 10, 9)) == "9 Oct 2026"
    assert writing.day(None) == "–"
    assert writing.month(date(2026, 10, 1)) == "October 2026"
    assert writing.month_short(date(2026, 10, 1)) == "Oct 2026"


def test_speed_classes_are_named_as_in_the_history() -> None:
    names = tuple(writing.speed_class(index, SPEED_BOUNDS_RPM) for index in range(6))
    assert names == speed_class_names()
    assert writing.speed_class(-1, SPEED_BOUNDS_RPM) == "speed not known"
