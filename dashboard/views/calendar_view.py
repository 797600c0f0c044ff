"""A month laid out in weeks, with what falls on each day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

MOST = 6
"""Longest list in one day; the rest is counted."""


@dataclass(frozen=True, slots=True)
class Day:
    """One day of the grid; ``inside`` tells whether it belongs to the month, ``tags`` are cut to a length that fits."""

    on: date
    inside: bool
    today: bool
    tags: tuple[str, ...]
    n: int


@dataclass(frozen=True, slots=True)
class Calendar:
    """A month in weeks from Monday to Sunday; ``n`` dates fall in it."""

    month: date
    weeks: tuple[tuple[Day, ...], ...]
    n: int

    @property
    def earlier(self) -> date:
        """Give the first day of the month before."""
        return (self.month - timedelta(days=1)).replace(day=1)

    @property
    def later(self) -> date:
        """Give the first day of the month after."""
        return (self.month + timedelta(days=31)).replace(day=1)


def calendar_of(month: date, today: date, dates: dict[date, tuple[tuple[str, ...], int]]) -> Calendar:
    """Lay a month out in weeks.

    Parameters
    ----------
    month : date
        First day of the month. [d]
    today : date
        The site's day. [d]
    dates : dict of date to tuple of (tuple of str, int)
        Tags that fall on each day, of which :data:`MOST` are enough, and how many there are. [unitless]
    """
    after = (month + timedelta(days=31)).replace(day=1)
    first = month - timedelta(days=month.weekday())
    weeks = []
    while first < after:
        week = []
        for shift in range(7):
            on = first + timedelta(days=shift)
            inside = month <= on < after
            tags, n = dates.get(on, ((), 0)) if inside else ((), 0)
            week.append(Day(on, inside, on == today, tags[:MOST], n))
        weeks.append(tuple(week))
        first += timedelta(days=7)
    return Calendar(month, tuple(weeks), sum(day.n for week in weeks for day in week))
