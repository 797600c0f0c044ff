"""Next check by rule, in the site's own calendar."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.history.due import BY_INTERVAL, LEFT_OVER, NEVER_MEASURED, NO_TIME, REPLACED, RETIRED, due_by_rule
from models.history.months import add_months, local_days, midnights_us
from tests.fleet import DAY_US, asset_columns, break_columns, job_columns, no_breaks


def at(text: str, zone: str = "UTC") -> int:
    return round(datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(zone)).timestamp()) * 1_000_000


def day_of(text: str) -> float:
    return at(text) / DAY_US


def test_a_check_is_due_some_calendar_months_after_the_last_visit() -> None:
    jobs = job_columns([0, 0], [day_of("2024-01-31T10:00"), day_of("2024-08-31T23:30")])
    due = due_by_rule(jobs, no_breaks(), asset_columns(1), today=date(2025, 3, 1), zone="UTC", interval_months=6)
    assert due.due_us[0] == at("2025-02-28")
    assert due.reason[0] == BY_INTERVAL
    assert due.days_left[0] == -1


def test_days_are_the_sites_own() -> None:
    jobs = job_columns([0], [day_of("2024-08-30T23:30")])  # already 31 August in Berlin
    due = due_by_rule(
        jobs, no_breaks(), asset_columns(1), today=date(2025, 2, 28), zone="Europe/Berlin", interval_months=6
    )
    assert due.due_us[0] == at("2025-02-28", "Europe/Berlin")
    assert due.days_left[0] == 0


def test_each_reason_has_its_case() -> None:
    # Of the last one something was replaced at the very moment of its visit: what the visit left is what stands there now.
    jobs = job_columns([0, 1, 2, 4, 5, 6], [10] * 6, left_ratio=[0.5, 1.1, 0.5, 1.4, np.nan, 0.5],
                       left=[[0.0] * 4] * 4 + [[np.nan] * 4, [0.0] * 4], found_ratio=[3] * 6)  # fmt: skip
    assets = asset_columns(7, retired=np.array([False, False, False, False, True, False, False]))
    due = due_by_rule(
        jobs,
        break_columns([2, 6], [20, 10]),
        assets,
        today=date(1970, 1, 16),
        zone="UTC",
        interval_months=np.full(7, 12),
    )
    assert due.reason.tolist() == [BY_INTERVAL, LEFT_OVER, REPLACED, NEVER_MEASURED, RETIRED, LEFT_OVER, BY_INTERVAL]
    assert (due.due_us == NO_TIME).tolist() == [False, False, False, True, True, False, False]
    assert due.due_us[2] == 20 * DAY_US
    assert due.days_left.tolist() == [360, -5, 5, 0, 0, -5, 360]


def test_no_jobs_at_all_give_no_dates_and_no_warning() -> None:
    due = due_by_rule(
        job_columns([], []), no_breaks(), asset_columns(2), today=date(1970, 1, 1), zone="UTC", interval_months=12
    )
    assert due.reason.tolist() == [NEVER_MEASURED, NEVER_MEASURED]
    assert not due.days_left.any()


@settings(max_examples=200, deadline=None)
@given(
    st.datetimes(datetime(1990, 1, 1), datetime(2060, 1, 1)),  # noqa: DTZ001 - the zone is the point
    st.sampled_from(
        ["Europe/Berlin", "America/Sao_Paulo", "Asia/Kolkata", "Australia/Lord_Howe", "UTC", "Africa/Cairo"]
    ),
)
def test_local_days_agree_with_the_standard_library(moment: datetime, zone: str) -> None:
    instant = moment.replace(tzinfo=UTC)
    us = (instant - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)
    there = instant.astimezone(ZoneInfo(zone)).date()
    days = local_days(np.array([us]), zone)
    assert days[0] == (there - datetime(1970, 1, 1, tzinfo=UTC).date()).days
    midnight = midnights_us(days, zone)[0]
    assert local_days(np.array([midnight]), zone)[0] == days[0]
    assert local_days(np.array([midnight - 3_600_000_001]), zone)[0] < days[0]


@pytest.mark.parametrize(
    ("day", "months", "later"),
    [
        ("2024-01-31", 1, "2024-02-29"),
        ("2023-01-31", 1, "2023-02-28"),
        ("2024-11-30", 3, "2025-02-28"),
        ("2024-05-15", 12, "2025-05-15"),
    ],
)
def test_months_are_calendar_months(day: str, months: int, later: str) -> None:
    number = np.array([day], dtype="datetime64[D]").astype(np.int64)
    assert str(add_months(number, months).astype("datetime64[D]")[0]) == later
