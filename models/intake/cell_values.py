"""One cell to a typed value: a text, a number, a day, a moment, a word of a closed list or names."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from typing import Any, Final, NamedTuple
from zoneinfo import ZoneInfo

from models.errors import NotAQuantityError
from models.intake import dates
from models.intake.clocks import Doubt, clock_told
from models.intake.day_order import MAY_LIE_AHEAD
from models.intake.decimal_sign import two_readings
from models.intake.fields import Field, Form
from models.intake.mapping import Column, SheetMapping
from models.intake.problems import Code
from models.intake.reading import Cell
from models.intake.shown_cells import MERGED, NO_VALUE, Shown, is_spoilt
from models.intake.words import choice
from models.sentences.told import Told
from models.units import Decimal, Parsed, Quantity, parse, to_stored
from models.values.several import names_in
from models.values.spelling import seen

_NAMES_OF_PEOPLE: Final = {"name", "reviewer"}
_GROUP = r"\s*(?:[+-]\s*)?[1-9]\d{0,2}(?:\.\d{3})"
_ONE_POINT = re.compile(rf"{_GROUP}(?![\d.,eE])")
_POINTS_ONLY = re.compile(rf"{_GROUP}+(?![\d.,eE])")
"""Numbers whose points may part thousands: 1.250, and 1.250.000."""

MOST_TYPED: Final = 120
"""Characters of a number, a date or a word of a closed list; what is longer is none of them, and would take long to look at."""

ANY_LENGTH: Final = {Form.TEXT, Form.NAMES}


def short(cell: str) -> str:
    """Give what is typed in a cell that is not one of any length, or refuse it.

    Parameters
    ----------
    cell : str
        Its text. [as typed]

    Raises
    ------
    NotAQuantityError
        If it is longer than any number, date or word of a list.
    """
    text = cell.strip()
    if len(text) > MOST_TYPED and not text.startswith((NO_VALUE, MERGED)):
        raise NotAQuantityError(f"{text[:40]}…", Told("told.expected.shorter", most=str(MOST_TYPED)))
    return text


def typed_text(parsed: Parsed) -> str:
    """Give a number as it was typed, with its unit."""
    bare = parsed.typed[-1:].isdigit() or parsed.typed[-1:] in ".,"
    return f"{parsed.typed} {parsed.unit}" if bare else parsed.typed


class Remarked(NamedTuple):
    """A value that was read, and of which something has to be said; the texts are what was found and expected."""

    value: Any
    code: Code
    found: str
    expected: str


class CellReader:
    """Reads the cells of one sheet by its mapping.

    Parameters
    ----------
    mapping : SheetMapping
        How the sheet is read. [unitless]
    zone : zoneinfo.ZoneInfo
        Zone of the site. [unitless]
    today : datetime.date
        The day of the import there, by which a year of two digits gets its century. [date]
    """

    def __init__(self, mapping: SheetMapping, zone: ZoneInfo, today: date) -> None:
        self.mapping, self.zone, self.today = mapping, zone, today

    def of(self, chosen: Field) -> Callable[[Cell, Column, Field], Any]:
        """Give what reads the cells of a field.

        Parameters
        ----------
        chosen : Field
            The field. [unitless]
        """
        return {
            Form.TEXT: self._text,
            Form.NUMBER: self._number,
            Form.DATE: self._day,
            Form.MOMENT: self._moment,
            Form.CHOICE: self._choice,
            Form.NAMES: self._names,
        }[chosen.form]

    def _text(self, cell: Cell, _column: Column, chosen: Field) -> str:
        if isinstance(cell, float) and cell.is_integer():
            return str(int(cell))  # a workbook holds a job number as a float
        if isinstance(cell, datetime | date | time | timedelta):
            return cell if isinstance(cell, str) else str(cell)
        text = " ".join(str(cell).split())
        if is_spoilt(text):
            raise NotAQuantityError(text, Told("told.expected.value"))
        if chosen.key not in _NAMES_OF_PEOPLE:
            return text
        name = seen(text)
        if text and not name:
            raise NotAQuantityError("", Told("told.expected.seen_name"))
        return name

    def _number(self, cell: Cell, column: Column, chosen: Field) -> Parsed | Remarked:
        assert chosen.quantity is not None  # noqa: S101 - every number field has one
        if isinstance(cell, bool | datetime | date | time | timedelta):
            raise NotAQuantityError(str(cell), f"a number of {chosen.quantity}")
        if self.mapping.decimal_against and isinstance(cell, str):
            self._refuse_doubtful_number(cell)
        parsed = self._parsed(cell, column, chosen.quantity)
        if not math.isfinite(parsed.value * column.times):
            raise NotAQuantityError(str(cell), Told("told.expected.finite"))
        if self.mapping.decimal is Decimal.AUTO and type(cell) is str and _ONE_POINT.match(cell):
            expected = f"a number that reads only one way; the point is taken for a decimal sign here, so this is {parsed.value:.15g}"
            return Remarked(parsed, Code.AMBIGUOUS_NUMBER, cell, expected)
        return parsed

    def _parsed(self, cell: str | float | None, column: Column, quantity: Quantity) -> Parsed:
        if type(cell) is str and cell[-1].isdigit() and self.mapping.decimal is not Decimal.COMMA and "_" not in cell:
            # Most cells of a large file are plain numbers: the full reading is eight times slower.
            try:
                return Parsed(to_stored(float(cell), column.unit, quantity) + 0.0, column.unit, cell.strip())
            except ValueError:
                pass
        if isinstance(cell, Shown):
            return parse(cell.shown, quantity, column.unit, Decimal.POINT)
        if isinstance(cell, int | float):
            return Parsed(to_stored(float(cell), column.unit, quantity), column.unit, f"{cell:.15g}")
        return parse(str(cell), quantity, column.unit, self._decimal(str(cell)))

    def _decimal(self, text: str) -> Decimal:
        """Take the sheet's decimal sign, but let a cell that can only be read the other way be read so."""
        sign = self.mapping.decimal
        if sign is Decimal.COMMA and "," not in text and not _POINTS_ONLY.match(text):
            return Decimal.POINT
        if sign is Decimal.POINT and "." not in text and "," in text:
            return Decimal.AUTO
        return sign

    def _refuse_doubtful_number(self, cell: str) -> None:
        """Refuse a number that reads two ways where other numbers tell against the decimal sign that is fixed."""
        if (ways := two_readings(cell)) is not None:
            fixed, told, sign = (
                ("point", "comma", ",") if self.mapping.decimal is Decimal.POINT else ("comma", "point", ".")
            )
            expected = Told(
                "told.expected.contrary_number", told=told, where=self.mapping.decimal_against, fixed=fixed, sign=sign,
                one=ways[0], other=ways[1],
            )  # fmt: skip
            raise NotAQuantityError(cell.strip(), expected)

    def _refuse_doubtful_date(self, cell: Cell, column: Column) -> None:
        """Refuse a date that reads two ways where other dates tell against the order that is fixed, or that it was turned."""
        if isinstance(cell, date) and column.index in self.mapping.turned:
            # Its month is a day up to 12 in any case; of 5 May nothing can be turned.
            one, other = (f"{day:%Y-%m-%d}" for day in (cell, cell.replace(month=cell.day, day=cell.month)))
            if one != other:
                expected = Told("told.expected.turned", text=self.mapping.turned[column.index], one=one, other=other)
                raise NotAQuantityError(one, expected)
        ways = dates.two_readings(cell) if self.mapping.order_against and isinstance(cell, str) else None
        if ways is not None:
            told = dates.Order.MONTH_FIRST if self.mapping.order is dates.Order.DAY_FIRST else dates.Order.DAY_FIRST
            expected = Told(
                "told.expected.contrary_day", told=str(told), where=self.mapping.order_against, fixed=str(self.mapping.order),
                one=ways[0], other=ways[1],
            )  # fmt: skip
            raise NotAQuantityError(str(cell).strip(), expected)

    def _day(self, cell: Cell, column: Column, chosen: Field) -> date | Remarked:
        self._refuse_doubtful_date(cell, column)
        ahead = chosen.key in MAY_LIE_AHEAD
        day, doubts = dates.read_day(cell, self.mapping.order, self.today, may_lie_ahead=ahead)
        return Remarked(day, Code.SHORT_YEAR, str(cell), _century_told(day)) if doubts else day

    def _moment(self, cell: Cell, column: Column, _field: Field) -> datetime | Remarked:
        self._refuse_doubtful_date(cell, column)
        moment, doubts = dates.read_moment(cell, self.mapping.order, self.zone, self.today)
        if not doubts:
            return moment
        if Doubt.CENTURY in doubts:
            return Remarked(moment, Code.SHORT_YEAR, str(cell), _century_told(moment.astimezone(self.zone).date()))
        return Remarked(moment, Code.ODD_TIME, str(cell), clock_told(doubts[0], moment, self.zone))

    def _choice(self, cell: Cell, _column: Column, chosen: Field) -> str:
        member = choice(str(cell), chosen, dict(self.mapping.words))
        if member is None:
            raise NotAQuantityError(str(cell), f"one of: {', '.join(chosen.choices)}")
        return member

    def _names(self, cell: Cell, _column: Column, _field: Field) -> tuple[str, ...] | Remarked:
        if is_spoilt(str(cell).strip()):
            raise NotAQuantityError(str(cell).strip(), Told("told.expected.value"))
        names, nobody = names_in(str(cell))
        if not nobody:
            return names
        whom = f"only {'; '.join(names)} counts" if names else "it is read as a blank"
        return Remarked(names, Code.NOBODY, str(cell), f"names; what stands for nobody names nobody, so {whom}")


def _century_told(day: date) -> str:
    return f"a year of four digits; {day.replace(year=day.year + 100)} would lie ahead, so this is read as {day}"
