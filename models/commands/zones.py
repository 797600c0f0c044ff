"""Time zones as people type them: looked up, and the near names where there is none."""

from __future__ import annotations

import re
from difflib import SequenceMatcher
from functools import cache
from typing import Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from models.errors import InvalidValueError
from models.sentences.told import Told

_MOST: Final = 3
"""So many near names are offered. [unitless]"""

_NEAR: Final = 0.6
"""Names are near from this ratio of equal letters on: what difflib itself calls close. [unitless]"""

_BESIDE: Final = 0.2
"""A name that is so much less near than the best one is not offered beside it. [unitless]"""

_HOURS: Final = re.compile(r"[a-z]{0,5}\s*[+\-\u2212]\s*\d.*", re.IGNORECASE)
_NO_PLACE: Final = ("Etc/", "posix/", "right/")


def check_zone(zone: str) -> None:
    """Refuse what is no time zone, and offer the names that are near to what was typed.

    Parameters
    ----------
    zone : str
        IANA name of a zone. [unitless]

    Raises
    ------
    InvalidValueError
        If there is no such zone.
    """
    try:
        ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise InvalidValueError(Told("told.site.zone", zone=zone), remedy=_remedy(zone)) from None


@cache
def place_zones() -> tuple[str, ...]:
    """Give the names of zones that are places, as they are offered; 'UTC' for 'UTC+1', say, would be another clock."""
    return tuple(sorted(name for name in available_timezones() if "/" in name and not name.startswith(_NO_PLACE)))


def near_zones(typed: str) -> tuple[str, ...]:
    """Give the zones whose names, or the names of their places, are near to a text; the nearest first, three at most.

    Parameters
    ----------
    typed : str
        What was typed for a zone. [unitless]
    """
    text = "_".join(typed.split()).casefold()
    found: list[tuple[float, str]] = []
    for name in place_zones():
        ways = (name.casefold(), name.casefold().rpartition("/")[2])
        found.append((max(SequenceMatcher(None, text, way).ratio() for way in ways), name))
    found.sort(key=lambda pair: (-pair[0], pair[1]))
    least = max(_NEAR, found[0][0] - _BESIDE) if found else _NEAR
    return tuple(name for share, name in found[:_MOST] if share >= least)


def _remedy(zone: str) -> Told:
    if _HOURS.fullmatch(zone.strip()):
        return Told("told.site.zone.hours")
    near = near_zones(zone)
    if not near:
        return Told("told.site.zone.name")
    if len(near) == 1:
        return Told("told.site.zone.near.one", first=near[0])
    if len(near) == 2:
        return Told("told.site.zone.near.two", first=near[0], second=near[1])
    return Told("told.site.zone.near.three", first=near[0], second=near[1], third=near[2])
