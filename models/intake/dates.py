"""Dates and moments as people type them, with the order of day and month as a setting."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from models.errors import NotAQuantityError
from models.sentences.told import Told


class Order(StrEnum):
    """In which order day, month and year stand where the year does not stand first."""

    DAY_FIRST = "day first"
    MONTH_FIRST = "month first"


_MONTHS = {
    name: number
    for number, names in enumerate(
        (("jan",), ("feb",), ("mar", "mär"), ("apr",), ("may", "mai"), ("jun",), ("jul",), ("aug",), ("sep",), ("oct", "okt"), ("nov",), ("dec", "dez")), 1
    )
    for name in names
}  # fmt: skip
_YEAR_FIRST = re.compile(r"^(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[T\s]+(.*))?$")
_YEAR_LAST = re.compile(r"^(\d{1,2})[-/.\s](\d{1,2})[-/.\s](\d{4}|\d{2})(?:[T\s,]+(.*))?$")
_NAMED = re.compile(r"^(\d{1,2})[-/.\s]*([A-Za-zä]{3})[A-Za-z]*[-/.,\s]*(\d{4}|\d{2})(?:[T\s,]+(.*))?$")
_CLOCK = re.compile(r"^(\d{1,2})[:.h](\d{2})(?::(\d{2})(?:\.\d+)?)?\s*([AaPp]\.?[Mm]\.?)?\s*(Z|[+-]\d{2}:?\d{2})?$")


def parse_moment(cell: object, order: Order, zone: ZoneInfo) -> tuple[datetime, bool]:
    """Read a date, or a date with a time of day.

    Parameters
    ----------
    cell : object
        Text, or a date as a workbook holds it. [as typed]
    order : Order
        Order of day and month. [unitless]
    zone : zoneinfo.ZoneInfo
        Zone of a time that names none. [unitless]

    Returns
    -------
    tuple of datetime and bool
        Aware moment, and whether a time of day was given; without one it is noon, so that no change of zone moves the day.

    Raises
    ------
    NotAQuantityError
        If it is no date.
    """
    if isinstance(cell, datetime):
        has_time = cell.time() != time()
        return _aware(cell if has_time else cell.replace(hour=12), zone), has_time
    if isinstance(cell, date):
        return _aware(datetime.combine(cell, time(12)), zone), False
    day, clock = _split(str(cell).strip(), order)
    if not clock:
        return _aware(datetime.combine(day, time(12)), zone), False
    moment, offset = _clock(clock, day, str(cell))
    return (moment.replace(tzinfo=UTC) - offset if offset is not None else _aware(moment, zone)), True


def parse_day(cell: object, order: Order) -> date:
    """Read a calendar day.

    Raises
    ------
    NotAQuantityError
        If it is no date.
    """
    if isinstance(cell, datetime):
        return cell.date()
    if isinstance(cell, date):
        return cell
    return _split(str(cell).strip(), order)[0]


def with_clock(moment: datetime, text: object, zone: ZoneInfo) -> datetime:
    """Put a time of day from a column of its own on a date."""
    local = moment.astimezone(zone)
    if isinstance(text, datetime):
        text = text.time()
    if isinstance(text, time):
        return _aware(datetime.combine(local.date(), text), zone)
    if isinstance(text, timedelta):
        return _aware(datetime.combine(local.date(), time()) + text, zone)
    value, offset = _clock(str(text).strip(), local.date(), str(text))
    return value.replace(tzinfo=UTC) - offset if offset is not None else _aware(value, zone)


def order_of(samples: list[str]) -> Order | None:
    """Tell the order of day and month from samples; ``None`` where they read either way or year first."""
    for sample in samples:
        match = _YEAR_LAST.match(sample.strip())
        if match and int(match[1]) > 12:
            return Order.DAY_FIRST
        if match and int(match[2]) > 12:
            return Order.MONTH_FIRST
    return None


def is_date_like(text: str) -> bool:
    """Tell whether a text has the shape of a date."""
    return any(pattern.match(text.strip()) for pattern in (_YEAR_FIRST, _YEAR_LAST, _NAMED))


def _aware(moment: datetime, zone: ZoneInfo) -> datetime:
    return moment.replace(tzinfo=zone).astimezone(UTC) if moment.tzinfo is None else moment.astimezone(UTC)


def _split(text: str, order: Order) -> tuple[date, str]:
    try:
        if match := _YEAR_FIRST.match(text):
            return date(int(match[1]), int(match[2]), int(match[3])), match[4] or ""
        if match := _YEAR_LAST.match(text):
            first, second = int(match[1]), int(match[2])
            day, month = (first, second) if order is Order.DAY_FIRST else (second, first)
            return date(_year(match[3]), month, day), match[4] or ""
        if (match := _NAMED.match(text)) and match[2].lower() in _MONTHS:
            return date(_year(match[3]), _MONTHS[match[2].lower()], int(match[1])), match[4] or ""
    except ValueError:
        raise NotAQuantityError(text, Told(f"told.expected.day.{order.name.lower()}")) from None
    raise NotAQuantityError(text, Told("told.expected.date"))


def _year(text: str) -> int:
    return int(text) if len(text) == 4 else 2000 + int(text)


def _clock(text: str, day: date, whole: str) -> tuple[datetime, timedelta | None]:
    match = _CLOCK.match(text.strip())
    if match is None:
        raise NotAQuantityError(whole, Told("told.expected.clock"))
    hour = int(match[1])
    half = (match[4] or "").lower()[:1]
    if half:
        hour = hour % 12 + (12 if half == "p" else 0)
    try:
        moment = datetime.combine(day, time(hour, int(match[2]), int(match[3] or 0)))
    except ValueError:
        raise NotAQuantityError(whole, Told("told.expected.clock")) from None
    if match[5] is None:
        return moment, None
    if match[5] == "Z":
        return moment, timedelta()
    sign = -1 if match[5][0] == "-" else 1
    digits = match[5][1:].replace(":", "")
    return moment, sign * timedelta(hours=int(digits[:2]), minutes=int(digits[2:]))
