"""Times of day as people type them, on the clock of a site."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from models.errors import NotAQuantityError
from models.sentences.told import Told
from models.units import DASHES


class Doubt(StrEnum):
    """What has to be said of a date although it was read."""

    CENTURY = "century"
    SKIPPED = "skipped"
    TWICE = "twice"


_EAST, _WEST = timedelta(hours=14), timedelta(hours=-12)
"""The largest offsets from UTC that clocks show today (IANA zones Pacific/Kiritimati and Etc/GMT+12)."""

_ISO = re.compile(r"\dT\d")
_CLOCK = re.compile(r"^(\d{1,2})[:.h](\d{2})(?::(\d{2})(?:\.(\d+))?)?\s*([AaPp]\.?[Mm]\.?)?\s*(Z|[+-]\d{2}:?\d{2})?$")


def clock_doubt(moment: datetime, zone: ZoneInfo) -> Doubt | None:
    """Tell whether the clocks of a zone showed a time never or twice: they were put forward or back over it.

    Parameters
    ----------
    moment : datetime.datetime
        Date and time without a zone. [site's clock]
    zone : zoneinfo.ZoneInfo
        The zone. [unitless]
    """
    first, second = (moment.replace(tzinfo=zone, fold=fold).utcoffset() for fold in (0, 1))
    if first is None or second is None or first == second:
        return None
    return Doubt.SKIPPED if first < second else Doubt.TWICE


def clock_told(doubt: Doubt, moment: datetime, zone: ZoneInfo) -> str:
    """Say what was made of a time that the clocks of a zone showed never or twice."""
    local = moment.astimezone(zone)
    if doubt is Doubt.SKIPPED:
        return (
            f"a time that the clocks of {zone.key} showed: they were put forward over it; it is kept as {local:%H:%M}"
        )
    return (
        f"a time that the clocks of {zone.key} showed once: they were put back, and the first of the two is taken; "
        f"for the second write its difference to UTC, as in {local.replace(fold=1).isoformat(' ', 'minutes')}"
    )


def with_clock(moment: datetime, text: object, zone: ZoneInfo) -> tuple[datetime, Doubt | None]:
    """Put a time of day from a column of its own on a date, and say what has to be said of it.

    Raises
    ------
    NotAQuantityError
        If it is no time of day: a duration of a day or more would move the date in silence.
    """
    day = moment.astimezone(zone).date()
    if isinstance(text, datetime):
        text = text.time()
    if isinstance(text, time):
        local = datetime.combine(day, text)
    elif isinstance(text, timedelta):
        if not timedelta() <= text < timedelta(days=1):
            raise NotAQuantityError(str(text), Told("told.expected.clock"))
        local = datetime.combine(day, time()) + text
    else:
        local, offset = read_clock(str(text).strip(), day, str(text), zone)
        if offset is not None:
            return local.replace(tzinfo=UTC) - offset, None
    return aware(local, zone), clock_doubt(local, zone)


def aware(moment: datetime, zone: ZoneInfo) -> datetime:
    """Give a moment in UTC, one without a zone as the clocks of a zone show it."""
    return moment.replace(tzinfo=zone).astimezone(UTC) if moment.tzinfo is None else moment.astimezone(UTC)


def read_clock(text: str, day: date, whole: str, zone: ZoneInfo | None = None) -> tuple[datetime, timedelta | None]:
    """Give a moment on the clock of a day, and its offset from UTC where it names one.

    '22:00-06:00' is the span of a night shift rather than a time in another zone: with
    a zone such an offset has to be one of that zone on that day, or of a whole timestamp.

    Raises
    ------
    NotAQuantityError
        If it is no time of day.
    """
    match = _CLOCK.match(text.translate(DASHES).strip())
    if match is None:
        is_part = re.fullmatch(r"0?[.,]\d+", text.strip()) is not None
        raise NotAQuantityError(whole, Told("told.expected.clock.serial" if is_part else "told.expected.clock"))
    hour = int(match[1])
    half = (match[5] or "").lower()[:1]
    if half == "a" and hour > 12:
        raise NotAQuantityError(whole, Told("told.expected.clock"))  # 15:00 AM is one or the other
    if half and hour < 24:
        hour = hour % 12 + (12 if half == "p" else 0)
    try:
        moment = datetime.combine(
            day, time(hour, int(match[2]), int(match[3] or 0), int((match[4] or "")[:6].ljust(6, "0")))
        )
    except ValueError:
        raise NotAQuantityError(whole, Told("told.expected.clock")) from None
    if match[6] is None:
        return moment, None
    if match[6] == "Z":
        return moment, timedelta()
    sign = -1 if match[6][0] == "-" else 1
    digits = match[6][1:].replace(":", "")
    offset = sign * timedelta(hours=int(digits[:2]), minutes=int(digits[2:]))
    is_offset = int(digits[2:]) <= 59 and _WEST <= offset <= _EAST
    if sign < 0 and ":" in match[6] and not (match[3] or _ISO.search(whole)) and zone is not None:
        own = {moment.replace(tzinfo=zone, fold=fold).utcoffset() for fold in (0, 1)}
        if offset not in own:
            key = "told.expected.span" if is_offset else "told.expected.span.only"
            raise NotAQuantityError(whole, Told(key, begin=f"{moment:%H:%M}", offset=match[6], zone=zone.key))
    if not is_offset:
        raise NotAQuantityError(whole, Told("told.expected.offset"))
    return moment, offset
