"""Which of day and month stands first, told by all rows of a file: a day above 12 is no month."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import astuple, dataclass
from datetime import UTC, date, datetime

from models.intake import dates
from models.intake.cells import texts_in
from models.intake.dates import Order
from models.intake.reading import Sheet

OPENING = 10
"""Characters of a cell in which a date stands; what comes after them is a time of day."""

_TELL_YEAR = 2
"""So many different dates whose year can only stand first tell it of others; a single one may be a slip."""

MAY_LIE_AHEAD = {"due", "retired", "valid_from"}
"""Dates that may lie ahead by their nature; any other tells of something that was done."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """What dates tell of their order, those with points apart from others.

    ``day`` and ``month`` tell that there are dates that can only be read with that
    first; ``…_open`` that there are some that read two ways.  ``year`` holds some whose
    year stands first with two digits for certain, and ``last`` tells that there are some
    where it stands last; ``either_day`` tells of those that may be either that day is first, if it stands last.  Of none of
    these the month can be: a middle number above 12 is no month of a year that stands first.
    """

    point_day: bool = False
    point_month: bool = False
    point_open: bool = False
    day: bool = False
    month: bool = False
    year: frozenset[str] = frozenset()
    last: bool = False
    either_day: bool = False

    def __or__(self, other: Evidence) -> Evidence:
        """Give what both tell together."""
        return Evidence(*(a | b for a, b in zip(astuple(self), astuple(other), strict=True)))

    @property
    def order(self) -> Order:
        """Give the order; ``BY_ROWS`` where nothing tells, ``CLEAR`` where one thing is told and its contrary too.

        With points the day stands first by common practice (no source): one date
        that says otherwise beside dates that say the same is a slip of its writer,
        but a column that never says so is not read against the practice.  One whose
        year stands first may be a slip too: it takes two to tell it of others.
        """
        day, month = self.day or (self.last and self.either_day), self.month
        if (day and month) or (self.year and self.last):
            return Order.CLEAR
        if len(self.year) >= _TELL_YEAR:
            return Order.YEAR_FIRST
        others = Order.DAY_FIRST if day else Order.MONTH_FIRST if month else Order.BY_ROWS
        if self.point_day or (self.point_open and not self.point_month):
            points = Order.DAY_FIRST if self.point_day or day or month else Order.BY_ROWS
        elif self.point_month:
            points = Order.CLEAR if self.point_open else Order.MONTH_FIRST
        else:
            points = Order.BY_ROWS
        if Order.BY_ROWS in {points, others} or points is others:
            return others if points is Order.BY_ROWS else points
        return Order.CLEAR


def evidence_of(texts: Iterable[str], today: date | None = None, *, may_lie_ahead: bool = False) -> Evidence:
    """Look through texts, of which the beginnings are enough.

    Parameters
    ----------
    texts : iterable of str
        The texts. [as typed]
    today : datetime.date, optional
        By it a year of two digits may be one or not; this day if it is not given. [unitless]
    may_lie_ahead : bool
        Whether the days may lie ahead by their nature. [unitless]
    """
    today = today or datetime.now(UTC).date()
    found: set[str] = set()
    years: set[str] = set()
    for text in texts:
        if (numbers := dates.day_and_month(text)) is None:
            continue
        place = dates.place_of_year(text, today, may_lie_ahead=may_lie_ahead)
        if place is dates.Place.FIRST:
            if len(years) < _TELL_YEAR:
                years.add(text.split()[0])
            continue
        first, second, points = numbers
        told = {Order.DAY_FIRST: "day", Order.MONTH_FIRST: "month"}.get(_told(first, second), "")
        if place is dates.Place.EITHER:
            found.add(f"either_{told}")
            continue
        found.add("last")
        if not told and points and first != second:
            told = "open"
        found.add(f"point_{told}" if points else told)
    flags = {name: name in found for name in Evidence.__slots__ if name != "year"}
    return Evidence(year=frozenset(years), **flags)


def order_told(text: str) -> Order | None:
    """Give the order that a date with its year last tells by itself; ``None`` where it tells none, or is no date."""
    numbers = dates.day_and_month(text)
    told = Order.BY_ROWS if numbers is None else _told(*numbers[:2])
    return None if told is Order.BY_ROWS else told


def _told(first: int, second: int) -> Order:
    if 12 < first <= 31 and 1 <= second <= 12:
        return Order.DAY_FIRST
    return Order.MONTH_FIRST if 12 < second <= 31 and 1 <= first <= 12 else Order.BY_ROWS


def evidence_in(
    sheet: Sheet, header_row: int, columns: Sequence[int], today: date | None = None, *, ahead: Collection[int] = ()
) -> Evidence:
    """Look through all rows of some columns of a sheet.

    Parameters
    ----------
    sheet : Sheet
        The sheet. [unitless]
    header_row : int
        Number of its row of headings. [unitless]
    columns : sequence of int
        Places of the columns that hold dates. [unitless]
    today : datetime.date, optional
        As for :func:`evidence_of`. [unitless]
    ahead : collection of int
        Places of those whose days may lie ahead. [unitless]

    Raises
    ------
    UnreadableFileError
        If the file is no text in its encoding, or a quotation is not closed.
    """
    found = Evidence()
    for may_lie_ahead in (False, True):
        some = [place for place in columns if (place in ahead) is may_lie_ahead]
        openings: set[str] = set()
        for texts in texts_in(sheet, header_row, some, most=OPENING):
            openings |= texts
        found |= evidence_of(openings, today, may_lie_ahead=may_lie_ahead)
    return found
