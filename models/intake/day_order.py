"""Which of day and month stands first, told by all rows of a file: a day above 12 is no month."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import astuple, dataclass

from models.intake import dates
from models.intake.cells import texts_in
from models.intake.dates import Order
from models.intake.reading import Sheet

OPENING = 10
"""Characters of a cell in which a date stands; what comes after them is a time of day."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """What dates with their year last tell of their order, those with points apart from others.

    ``day`` and ``month`` tell that there are dates that can only be read with that
    first; ``…_open`` that there are some that read two ways.
    """

    point_day: bool = False
    point_month: bool = False
    point_open: bool = False
    day: bool = False
    month: bool = False

    def __or__(self, other: Evidence) -> Evidence:
        """Give what both tell together."""
        return Evidence(*(a or b for a, b in zip(astuple(self), astuple(other), strict=True)))

    @property
    def order(self) -> Order:
        """Give the order; ``BY_ROWS`` where nothing tells, ``CLEAR`` where one thing is told and its contrary too.

        With points the day stands first by common practice (no source): one date
        that says otherwise beside dates that say the same is a slip of its writer,
        but a column that never says so is not read against the practice.
        """
        if self.day and self.month:
            return Order.CLEAR
        others = Order.DAY_FIRST if self.day else Order.MONTH_FIRST if self.month else Order.BY_ROWS
        if self.point_day or (self.point_open and not self.point_month):
            points = Order.DAY_FIRST if self.point_day or self.day or self.month else Order.BY_ROWS
        elif self.point_month:
            points = Order.CLEAR if self.point_open else Order.MONTH_FIRST
        else:
            points = Order.BY_ROWS
        if Order.BY_ROWS in {points, others} or points is others:
            return others if points is Order.BY_ROWS else points
        return Order.CLEAR


def evidence_of(texts: Iterable[str]) -> Evidence:
    """Look through texts, of which the beginnings are enough."""
    found: set[str] = set()
    for text in texts:
        if (numbers := dates.day_and_month(text)) is None:
            continue
        first, second, points = numbers
        told = {Order.DAY_FIRST: "day", Order.MONTH_FIRST: "month"}.get(_told(first, second), "")
        if not told and points and first != second:
            told = "open"
        found.add(f"point_{told}" if points else told)
    return Evidence(**{name: name in found for name in ("point_day", "point_month", "point_open", "day", "month")})


def order_told(text: str) -> Order | None:
    """Give the order that a date with its year last tells by itself; ``None`` where it tells none, or is no date."""
    numbers = dates.day_and_month(text)
    told = Order.BY_ROWS if numbers is None else _told(*numbers[:2])
    return None if told is Order.BY_ROWS else told


def _told(first: int, second: int) -> Order:
    if 12 < first <= 31 and 1 <= second <= 12:
        return Order.DAY_FIRST
    return Order.MONTH_FIRST if 12 < second <= 31 and 1 <= first <= 12 else Order.BY_ROWS


def evidence_in(sheet: Sheet, header_row: int, columns: Sequence[int]) -> Evidence:
    """Look through all rows of some columns of a sheet.

    Parameters
    ----------
    sheet : Sheet
        The sheet. [unitless]
    header_row : int
        Number of its row of headings. [unitless]
    columns : sequence of int
        Places of the columns that hold dates. [unitless]

    Raises
    ------
    UnreadableFileError
        If the file is no text in its encoding, or a quotation is not closed.
    """
    openings: set[str] = set()
    for texts in texts_in(sheet, header_row, columns, most=OPENING):
        openings |= texts
    return evidence_of(openings)
