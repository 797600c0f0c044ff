"""Dates and moments as people type them, with the order of day and month as a setting."""

from __future__ import annotations

import re
import unicodedata
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from models.errors import NotAQuantityError
from models.intake.cells import text_of
from models.intake.clocks import Doubt, aware, clock_doubt, read_clock
from models.intake.months import month_of
from models.sentences.told import Told
from models.units import DASHES


class Order(StrEnum):
    """In which order day, month and year stand where the year does not stand first.

    ``BY_ROWS`` leaves it to the rows of the file (:mod:`models.intake.day_order`); where
    they do not tell, a date with points is day first (common practice, no source) and
    any other has to read one way only.  ``CLEAR`` is for rows that tell both: only
    what reads one way is read.  ``YEAR_FIRST`` is said of years of two digits: one of
    four that stands first is one whatever the order.
    """

    DAY_FIRST = "day first"
    MONTH_FIRST = "month first"
    YEAR_FIRST = "year first"
    BY_ROWS = "by the rows"
    CLEAR = "clear ones only"


class Place(StrEnum):
    """Where a year of two digits stands in a date."""

    FIRST = "first"
    EITHER = "first or last"
    LAST = "last"


_SAID = {Order.DAY_FIRST, Order.MONTH_FIRST, Order.YEAR_FIRST}
"""Orders that leave nothing open where a year has two digits."""

_NAMES = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_YEAR_FIRST = re.compile(r"^(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[T\s]+(.*))?$")
_EIGHT = re.compile(r"^((?:19|20)\d\d)(\d\d)(\d\d)(?:[T\s]+(.*))?$")
"""Eight digits, as programs write a day; with the year last none of these centuries leaves a month between."""

_YEAR_LAST = re.compile(r"^(\d{1,2})[-/.\s](\d{1,2})[-/.\s](\d{4}|\d{2})(?:[T\s,]+(.*))?$")
_OPENING = re.compile(r"\s*(\d{1,2})([-/.\s])(\d{1,2})([-/.\s])(\d\d)(?P<more>\d*)")
_NAMED = re.compile(r"^(\d{1,2})(?:er\b)?[-/.\s]*([^\W\d_]{3,})[-/.,\s]*(\d{4}|\d{2})(?:[T\s,]+(.*))?$")
_NAME_FIRST = re.compile(r"^([^\W\d_]{3,})[-/.\s]*(\d{1,2})(?:st|nd|rd|th)?\b[-/.,\s]*(\d{4}|\d{2})(?:[T\s,]+(.*))?$")
_FIRST_YEAR = 1950
"""A year of two digits is none before this one; a bound of sense: no list of alignments is older."""

_SOON = timedelta(days=366)
"""A day that lies no further ahead is a slip or a plan, not one of a hundred years ago; a bound of sense."""


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
    try:
        moment, has_time, _ = _moment(cell, order, None, zone)
    except NotAQuantityError as fault:
        if fault.expected != Told("told.expected.date"):
            raise
        # '07:05' alone: an example of a day without a time would not say that the day is what is missing.
        raise NotAQuantityError(fault.found, Told("told.expected.visit")) from None
    return aware(moment, zone), has_time


def read_moment(cell: object, order: Order, zone: ZoneInfo, today: date) -> tuple[datetime, tuple[Doubt, ...]]:
    """Read the moment of something that was done: as :func:`parse_moment`, with what has to be said of it.

    Parameters
    ----------
    cell : object
        Text, or a date as a workbook holds it. [as typed]
    order : Order
        Order of day and month. [unitless]
    zone : zoneinfo.ZoneInfo
        Zone of a time that names none. [unitless]
    today : datetime.date
        A year of two digits gets the century in which the day does not lie after it. [unitless]
    """
    moment, _, doubts = _moment(cell, order, today, zone)
    if moment.tzinfo is None and (doubt := clock_doubt(moment, zone)) is not None:
        doubts = (*doubts, doubt)
    return aware(moment, zone), doubts


def _moment(cell: object, order: Order, today: date | None, zone: ZoneInfo) -> tuple[datetime, bool, tuple[Doubt, ...]]:
    """Give a moment, without a zone where it names none; whether it has a time; and what has to be said of its year."""
    if isinstance(cell, datetime):
        has_time = cell.time() != time()
        return cell if has_time else cell.replace(hour=12), has_time, ()
    if isinstance(cell, date):
        return datetime.combine(cell, time(12)), False, ()
    by = datetime.now(UTC).date() if today is None else today
    text = text_of(cell)
    day, clock, is_short = _split(text, order, by, may_lie_ahead=False)
    doubts: tuple[Doubt, ...] = ()
    if is_short and today is not None:
        day, doubts = _century(day, today, may_lie_ahead=False)
    if not clock:
        return datetime.combine(day, time(12)), False, doubts
    moment, offset = read_clock(clock, day, text, zone)
    return (moment.replace(tzinfo=UTC) - offset if offset is not None else moment), True, doubts


def read_day(cell: object, order: Order, today: date, *, may_lie_ahead: bool) -> tuple[date, tuple[Doubt, ...]]:
    """Read a calendar day, with what has to be said of it.

    Parameters
    ----------
    cell : object
        Text, or a date as a workbook holds it. [as typed]
    order : Order
        Order of day and month. [unitless]
    today : datetime.date
        By it a year of two digits gets its century. [unitless]
    may_lie_ahead : bool
        Whether the day may lie ahead by its nature: then the century nearest to today is taken. [unitless]

    Raises
    ------
    NotAQuantityError
        If it is no date.
    """
    if isinstance(cell, datetime):
        return cell.date(), ()
    if isinstance(cell, date):
        return cell, ()
    text = text_of(cell)
    day, clock, is_short = _split(text, order, today, may_lie_ahead=may_lie_ahead)
    if clock:
        # A time of day says nothing here; anything else behind the day does ("until further notice", a second day).
        try:
            read_clock(clock, day, text)
        except NotAQuantityError:
            raise NotAQuantityError(text, Told("told.expected.date")) from None
    return _century(day, today, may_lie_ahead=may_lie_ahead) if is_short else (day, ())


def _century(day: date, today: date, *, may_lie_ahead: bool) -> tuple[date, tuple[Doubt, ...]]:
    """Give a day of 20xx, or of 19xx where it cannot be or is not likely to be the former; that is said.

    A day shortly ahead that would be before 1950 a century earlier is left to whoever refuses days ahead.
    """
    if day <= today:
        return day, ()
    earlier = day.replace(year=day.year - 100)  # of the years from 2001 on both are leap years or neither is
    is_soon = earlier.year < _FIRST_YEAR and day - today <= _SOON
    if is_soon or (may_lie_ahead and day - today <= today - earlier):
        return day, ()
    return earlier, (Doubt.CENTURY,)


def day_and_month(text: str) -> tuple[int, int, bool] | None:
    """Give the two numbers with which a text begins as a date with its year last, and whether points part them.

    ``None`` for any other text; the first ten characters of a date are enough.
    """
    match = _OPENING.match(text.translate(DASHES))
    return None if match is None else (int(match[1]), int(match[3]), match[2] == match[4] == ".")


def place_of_year(text: str, today: date, *, may_lie_ahead: bool) -> Place | None:
    """Tell where the year of a date with a year of two digits may stand; ``None`` where it has no such year, or that cannot be seen.

    Only with dashes, as in ISO 8601, a year of two digits is thought to stand first where a day could.

    Parameters
    ----------
    text : str
        A date, or the first ten characters of one. [as typed]
    today : datetime.date
        A day after the next one is none that is meant year first, nor is one before 1950. [unitless]
    may_lie_ahead : bool
        Whether the day may lie ahead by its nature. [unitless]
    """
    match = _OPENING.match(text.translate(DASHES))
    if match is None or match["more"] or text[:1].isspace():
        return None
    parts = (match[1], match[3], match[5])
    return _place(parts, today, dashes=match[2] == match[4] == "-", may_lie_ahead=may_lie_ahead)


def _place(parts: tuple[str, str, str], today: date, *, dashes: bool, may_lie_ahead: bool) -> Place:
    day = _year_first(parts, today, may_lie_ahead=may_lie_ahead)
    if day is None:
        return Place.LAST
    if not 1 <= int(parts[0]) <= 31:
        return Place.FIRST
    return Place.EITHER if dashes else Place.LAST


def _year_first(parts: tuple[str, str, str], today: date, *, may_lie_ahead: bool) -> date | None:
    """Give the day that three numbers mean with the year first; ``None`` where they mean none."""
    year, month, day = map(int, parts)
    if len(parts[0]) != 2:  # a year is written with both of its digits
        return None
    # The day that is begun somewhere on earth: the clock of a site may be ahead of the one that is asked.
    last = today if today == date.max else today + timedelta(days=1)
    try:
        meant, _ = _century(date(2000 + year, month, day), last, may_lie_ahead=may_lie_ahead)
    except ValueError:
        return None
    return meant if meant.year >= _FIRST_YEAR and (meant <= last or may_lie_ahead) else None


def spelt_out(text: str, order: Order) -> str:
    """Write a date that would read two ways so that it reads one way only; any other text stays as it is."""
    match = _YEAR_LAST.match(text.translate(DASHES).strip())
    is_short = match is not None and len(match[3]) == 2
    if match is None or not (_two_ways(match) or (is_short and order in _SAID)):
        return text
    year, month, day = match[3], match[2], match[1]
    if is_short and order is Order.YEAR_FIRST:
        year, day = match[1], match[3]
    elif not _day_first(match, order):
        month, day = day, month
    if not 1 <= int(month) <= 12:
        return text
    spelt = _spelt(year, month, day)
    return f"{spelt} {match[4]}" if match[4] else spelt


def two_readings(text: str) -> tuple[str, str] | None:
    """Give what a date is read day first, and what month first, each spelt out; ``None`` where both are one, or it is no date.

    Parameters
    ----------
    text : str
        A date, with or without a time of day, which is left out. [as typed]
    """
    match = _YEAR_LAST.match(text.translate(DASHES).strip())
    if match is None or not _two_ways(match):
        return None
    return _both(match)


def _split(text: str, order: Order, today: date, *, may_lie_ahead: bool) -> tuple[date, str, bool]:
    """Give the day, what stands after it, and whether its year has two digits: it is one of 20xx then."""
    text = text.translate(DASHES)
    try:
        if match := _YEAR_FIRST.match(text) or _EIGHT.match(text):
            return date(int(match[1]), int(match[2]), int(match[3])), match[4] or "", False
        if match := _YEAR_LAST.match(text):
            is_short = len(match[3]) == 2
            if is_short and _is_year_first(match, order, today, may_lie_ahead=may_lie_ahead):
                return date(2000 + int(match[1]), int(match[2]), int(match[3])), match[4] or "", True
            first, second = int(match[1]), int(match[2])
            day, month = (first, second) if _day_first(match, order) else (second, first)
            return date(_year(match[3]), month, day), match[4] or "", is_short
        # An accent may stand as a letter of its own: text from some systems is taken apart.
        whole = unicodedata.normalize("NFC", text)
        if match := _NAMED.match(whole) or _NAME_FIRST.match(whole):
            number, name = (match[1], match[2]) if match[1].isdigit() else (match[2], match[1])
            if (named := month_of(name)) is not None:
                return date(_year(match[3]), named, int(number)), match[4] or "", len(match[3]) == 2
    except ValueError:
        raise NotAQuantityError(text, Told(f"told.expected.day.{order.name.lower()}")) from None
    raise NotAQuantityError(text, Told("told.expected.date.serial" if _is_serial(text) else "told.expected.date"))


def _is_year_first(match: re.Match[str], order: Order, today: date, *, may_lie_ahead: bool) -> bool:
    """Tell whether a year of two digits stands first.

    Raises
    ------
    NotAQuantityError
        If nobody can tell.
    """
    if order in _SAID:
        return order is Order.YEAR_FIRST
    # A form knows no day of its own: what its clock shows tells which year may be meant.
    parts, by = (match[1], match[2], match[3]), min(today, datetime.now(UTC).date())
    place = _place(parts, by, dashes=_with(match, "-"), may_lie_ahead=may_lie_ahead)
    if place is Place.EITHER:
        first = _year_first(parts, by, may_lie_ahead=may_lie_ahead)
        others = {_spelt_day(parts[2], parts[1], parts[0]), _spelt_day(parts[2], parts[0], parts[1])} - {
            None,
            str(first),
        }
        days = " or ".join([*sorted(filter(None, others)), str(first)])
        raise NotAQuantityError(match.string, Told("told.expected.short_year", days=days))
    return place is Place.FIRST


def _spelt_day(year: str, month: str, day: str) -> str | None:
    try:
        return str(date(2000 + int(year), int(month), int(day)))
    except ValueError:
        return None


def _is_serial(text: str) -> bool:
    """Tell whether a text may be the number by which a spreadsheet keeps a date of the years from 1954 to 2064."""
    return re.fullmatch(r"[2-5]\d{4}(?:[.,]\d*)?", text) is not None


def _two_ways(match: re.Match[str]) -> bool:
    return match[1].zfill(2) != match[2].zfill(2) and 1 <= int(match[1]) <= 12 and 1 <= int(match[2]) <= 12


def _with(match: re.Match[str], sign: str) -> bool:
    return match.string[match.end(1)] == match.string[match.end(2)] == sign


def _day_first(match: re.Match[str], order: Order) -> bool:
    """Tell whether the first of the two numbers is the day.

    Raises
    ------
    NotAQuantityError
        If nobody can tell.
    """
    if order in {Order.DAY_FIRST, Order.MONTH_FIRST}:
        return order is Order.DAY_FIRST
    if not _two_ways(match):
        return int(match[2]) <= 12
    if order is Order.BY_ROWS and _with(match, "."):
        return True
    one, other = _both(match)
    key = "by_rows" if order is Order.BY_ROWS else "clear"
    raise NotAQuantityError(match.string, Told(f"told.expected.either_day.{key}", one=one, other=other))


def _both(match: re.Match[str]) -> tuple[str, str]:
    """Write a date that reads two ways as it is read day first, and as it is read month first."""
    return _spelt(match[3], match[2], match[1]), _spelt(match[3], match[1], match[2])


def _spelt(year: str, month: str, day: str) -> str:
    """Write a date that reads one way; with a year of two digits, whose century is found where it is read, by the month's name."""
    return (
        f"{year}-{int(month):02d}-{int(day):02d}"
        if len(year) == 4
        else f"{int(day):02d}-{_NAMES[int(month) - 1]}-{year}"
    )


def _year(text: str) -> int:
    return int(text) if len(text) == 4 else 2000 + int(text)
