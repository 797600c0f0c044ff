"""Which day it is at a site: machines go out of service, and limits come into force, by its calendar."""

from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

_FIRST = date(1970, 1, 1).toordinal()


def day_at(zone: str) -> date:
    """Give the day that a site's calendar shows now.

    Parameters
    ----------
    zone : str
        Time zone of the site, by its IANA name. [unitless]
    """
    return datetime.now(UTC).astimezone(ZoneInfo(zone)).date()


def day_number_at(zone: str) -> int:
    """Give the same day as a number [d since 1970].

    Parameters
    ----------
    zone : str
        Time zone of the site, by its IANA name. [unitless]
    """
    return day_at(zone).toordinal() - _FIRST


def date_of(day: int) -> date:
    """Give the date of a day [d since 1970]."""
    return date.fromordinal(day + _FIRST)
