"""Which of day and month stands first, told by all rows of a file: a day above 12 is no month."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import astuple, dataclass
from itertools import islice

from models.intake import dates
from models.intake.dates import Order
from models.intake.reading import Sheet

_AT_ONCE = 8_000
_OPENING = 10
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
        told = ""
        if 12 < first <= 31 and 1 <= second <= 12:
            told = "day"
        elif 12 < second <= 31 and 1 <= first <= 12:
            told = "month"
        elif points and first != second:
            told = "open"
        found.add(f"point_{told}" if points else told)
    return Evidence(**{name: name in found for name in ("point_day", "point_month", "point_open", "day", "month")})


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
    if not columns:
        return Evidence()
    openings = _of_lines(sheet, header_row, columns) if sheet.delimiter else None
    if openings is None:
        rows = (cells for number, cells in sheet.rows() if number > header_row)
        cells = (row[place] for row in rows for place in columns if place < len(row))
        openings = {cell[:_OPENING] for cell in cells if isinstance(cell, str)}
    return evidence_of(openings)


def _of_lines(sheet: Sheet, header_row: int, columns: Sequence[int]) -> set[str] | None:
    """Give how the cells of some columns begin, each beginning once; ``None`` where the rows of a text are more than lines.

    Only what stands before the last of the columns is cut: reading all of a large
    file would take as long again as a good part of its import.
    """
    found: set[str] = set()
    end, mark = 1 + max(columns), sheet.delimiter
    try:
        with sheet.path.open(encoding=sheet.encoding, newline="") as stream:
            if any('"' in line for line in islice(stream, header_row)):
                return None
            while lines := list(islice(stream, _AT_ONCE)):
                if '"' in "".join(lines):
                    return None
                cut = [line.split(mark, end) for line in lines]
                for place in columns:
                    found.update([row[place][:_OPENING] for row in cut if len(row) > place])
    except UnicodeDecodeError:
        return None  # the usual way says what is wrong, and where
    return found
