"""Time zones as people type them: looked up, and the near names where there is none."""

from __future__ import annotations

import re
from difflib import SequenceMatcher
from typing import Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from models.errors import InvalidValueError

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
        raise InvalidValueError(f"'{zone}' is not a time zone.", remedy=_remedy(zone)) from None


def near_zones(typed: str) -> tuple[str, ...]:
    """Give the zones whose names, or the names of their places, are near to a text; the nearest first, three at most.

    Parameters
    ----------
    typed : str
        What was typed for a zone. [unitless]
    """
    text = "_".join(typed.split()).casefold()
    found: list[tuple[float, str]] = []
    for name in available_timezones():
        # 'UTC' for 'UTC+1', say, would be another clock: only places are offered.
        if "/" in name and not name.startswith(_NO_PLACE):
            ways = (name.casefold(), name.casefold().rpartition("/")[2])
            found.append((max(SequenceMatcher(None, text, way).ratio() for way in ways), name))
    found.sort(key=lambda pair: (-pair[0], pair[1]))
    least = max(_NEAR, found[0][0] - _BESIDE) if found else _NEAR
    return tuple(name for share, name in found[:_MOST] if share >= least)


def _remedy(zone: str) -> str:
    if _HOURS.fullmatch(zone.strip()):
        return (
            "A zone is named by a place, not by hours: the place says when its clocks are changed."
            " Give its IANA name, such as Europe/Lisbon or America/Halifax: --zone NAME."
        )
    near = near_zones(zone)
    if not near:
        return "Give its IANA name, such as Europe/Lisbon or America/Halifax: --zone NAME."
    names = near[0] if len(near) == 1 else f"{', '.join(near[:-1])} or {near[-1]}"
    return f"Near to it: {names}. Give the IANA name: --zone {near[0]}"
