"""Months and days in the site's own zone, from instants; vectorised without a date library."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np

from models.history.columns import IntArray

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def month_start_us(month: int, zone: str) -> int:
    """Give the instant at which a month begins in a zone.

    Parameters
    ----------
    month : int
        year·12 + month − 1. [months]
    zone : str
        IANA name of the zone. [unitless]

    Returns
    -------
    int
        The instant. [µs since 1970, UTC]
    """
    start = datetime(month // 12, month % 12 + 1, 1, tzinfo=ZoneInfo(zone))
    return (start - _EPOCH) // timedelta(microseconds=1)


def month_of(performed_us: IntArray, zone: str) -> IntArray:
    """Give the month of each instant, as the calendar on the site's wall says it.

    The starts of the months are computed once and searched: changes to and
    from summer time are then right without converting each instant.

    Parameters
    ----------
    performed_us : (n,) int array
        Instants. [µs since 1970, UTC]
    zone : str
        IANA name of the zone. [unitless]

    Returns
    -------
    (n,) int array
        year·12 + month − 1. [months]
    """
    if performed_us.size == 0:
        return np.zeros(0, dtype=np.int64)
    first = _EPOCH + timedelta(microseconds=int(performed_us.min()))
    last = _EPOCH + timedelta(microseconds=int(performed_us.max()))
    low, high = first.year * 12 + first.month - 2, last.year * 12 + last.month + 1
    starts = np.array([month_start_us(month, zone) for month in range(low, high + 1)], dtype=np.int64)
    return (np.searchsorted(starts, performed_us, side="right") - 1 + low).astype(np.int64)


def month_name(month: int) -> str:
    """Write a month as ``2026-10``."""
    return f"{month // 12:04d}-{month % 12 + 1:02d}"


def day_of(performed_us: int, zone: str) -> date:
    """Give the calendar day of an instant in a zone."""
    return (_EPOCH + timedelta(microseconds=performed_us)).astimezone(ZoneInfo(zone)).date()


def day_start_us(day: date, zone: str) -> int:
    """Give the instant at which a day begins in a zone. [µs since 1970, UTC]."""
    start = datetime(day.year, day.month, day.day, tzinfo=ZoneInfo(zone))
    return (start - _EPOCH) // timedelta(microseconds=1)


@lru_cache(maxsize=1 << 14)
def _midnight_us(day: int, zone: str) -> int:
    """Give the same for a day as number; kept, because the days of a history are asked for again and again."""
    return day_start_us(date(1970, 1, 1) + timedelta(days=day), zone)


def midnights_us(days: IntArray, zone: str) -> IntArray:
    """Give the instants at which days begin in a zone.

    Parameters
    ----------
    days : (n,) int array
        Calendar days since 1970-01-01. [d]
    zone : str
        IANA name of the zone. [unitless]

    Returns
    -------
    (n,) int array
        The instants. [µs since 1970, UTC]
    """
    different, place = np.unique(days, return_inverse=True)
    starts = [_midnight_us(day, zone) for day in different.tolist()]
    return np.array(starts, dtype=np.int64)[place].reshape(days.shape)


def local_days(performed_us: IntArray, zone: str) -> IntArray:
    """Give the calendar day of each instant, as the calendar on the site's wall says it.

    Parameters
    ----------
    performed_us : (n,) int array
        Instants. [µs since 1970, UTC]
    zone : str
        IANA name of the zone. [unitless]

    Returns
    -------
    (n,) int array
        Calendar days since 1970-01-01. [d]
    """
    if performed_us.size == 0:
        return np.zeros(performed_us.shape, dtype=np.int64)
    near = np.unique(performed_us // 86_400_000_000)
    days = np.unique(np.concatenate([near - 1, near, near + 1]))
    starts = midnights_us(days, zone)
    return days[np.searchsorted(starts, performed_us, side="right") - 1]


def add_months(days: IntArray, months: IntArray | int) -> IntArray:
    """Give the same day of the month some calendar months later, or the last day of a shorter month.

    Parameters
    ----------
    days : (n,) int array
        Calendar days since 1970-01-01. [d]
    months : int or (n,) int array
        How many months later; negative is earlier. [months]

    Returns
    -------
    (n,) int array
        Calendar days since 1970-01-01. [d]
    """
    there = days.astype("datetime64[D]")
    month = there.astype("datetime64[M]")
    of_month = (there - month.astype("datetime64[D]")).astype(np.int64)
    later = month + np.asarray(months, dtype=np.int64).astype("timedelta64[M]")
    length = ((later + 1).astype("datetime64[D]") - later.astype("datetime64[D]")).astype(np.int64)
    return np.asarray(later.astype("datetime64[D]").astype(np.int64) + np.minimum(of_month, length - 1), dtype=np.int64)
