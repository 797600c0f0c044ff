"""One row of cells to typed values: every cell read, every problem named with its place."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, Final, NamedTuple
from zoneinfo import ZoneInfo

from models.errors import NotAQuantityError
from models.intake import between, dates, totals
from models.intake.beyond import Beyond, is_blank
from models.intake.clocks import Doubt, clock_told
from models.intake.day_order import MAY_LIE_AHEAD
from models.intake.decimal_sign import two_readings
from models.intake.fields import FEET, Field, Form, Table
from models.intake.mapping import WHAT_TO_MEND, Column, SheetMapping
from models.intake.number_formats import Shown
from models.intake.problems import Code, Problem, Severity, column_name
from models.intake.reading import AcrossRow, Cell
from models.intake.spoilt import MERGED, NO_VALUE, is_spoilt
from models.intake.totals import is_total
from models.intake.words import choice
from models.sentences.told import Told
from models.units import Decimal, Parsed, Quantity, parse, to_stored
from models.values.job import COMPONENTS
from models.values.several import names_in
from models.values.spelling import seen

_NAMES_OF_PEOPLE = {"name", "reviewer"}
_GROUP = r"\s*(?:[+-]\s*)?[1-9]\d{0,2}(?:\.\d{3})"
_ONE_POINT = re.compile(rf"{_GROUP}(?![\d.,eE])")
_POINTS_ONLY = re.compile(rf"{_GROUP}+(?![\d.,eE])")
"""Numbers whose points may part thousands: 1.250, and 1.250.000."""

MOST_TYPED: Final = 120
"""Characters of a number, a date or a word of a closed list; what is longer is none of them, and would take long to look at."""

_FOOT_KEYS = {
    prefix: tuple(f"{prefix}_{foot}" for foot in FEET) for prefix in ("soft_before", "soft_after", "move_v", "move_h")
}
_STAGE_KEYS = {
    stage: tuple(f"{stage}_{component}" for component in COMPONENTS) for stage in ("found", "left", "target")
}


_WITH_MORE: Final = {Table.ASSETS, Table.INSTRUMENTS}
"""Lists in which little is known of a thing of which the name alone is written; of people a name is often all."""

_ANY_LENGTH: Final = {Form.TEXT, Form.NAMES}


def _short(cell: str) -> str:
    text = cell.strip()
    if len(text) > MOST_TYPED and not text.startswith((NO_VALUE, MERGED)):
        raise NotAQuantityError(f"{text[:40]}…", Told("told.expected.shorter", most=str(MOST_TYPED)))
    return text


def kind_of(key: str) -> str | None:
    """Give what kind of measured number a field of a job is; ``None`` if it is none."""
    if key.startswith(("found_", "left_", "target_")):
        return "offset" if "offset" in key else "angle"
    if key.startswith("soft_"):
        return "soft"
    if key.startswith("temp_"):
        return "air" if key == "temp_ambient" else "temperature"
    return "move" if key.startswith("move_") else None


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


@dataclass(slots=True)
class Row:
    """One row as read: values by field, numbers as typed, and what is wrong with it.

    Fields of the asset that stand in a row of jobs have the key ``assets.…``.
    ``raw`` keeps the words of a closed list as they stood, for messages;
    ``left_as_found`` tells that what was left is what was found, and no cell says so.
    """

    number: int
    values: dict[str, Any] = field(default_factory=dict)
    typed: dict[str, str] = field(default_factory=dict)
    raw: dict[str, str] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    is_total: bool = False
    left_as_found: bool = False

    @property
    def is_good(self) -> bool:
        """Tell whether no error keeps the row out."""
        return all(problem.severity is not Severity.ERROR for problem in self.problems)


class RowReader:
    """Reads the rows of one sheet by its mapping.

    ``measured`` lists the fields whose size is checked, with their kind;
    ``stages`` and ``feet`` the fields of each misalignment and of each row of
    feet values, where the sheet has any; ``beyond`` knows the cells over which
    no heading stands.

    Parameters
    ----------
    mapping : SheetMapping
        How the sheet is read. [unitless]
    file : str
        Name of the file, for problems. [unitless]
    zone : zoneinfo.ZoneInfo
        Zone of the site. [unitless]
    headings : sequence of Cell, optional
        The row of headings as it stands in this file, blank ones too; those of the mapping if it is not given. [as typed]
    now : datetime.datetime, optional
        Time of the import, by which a year of two digits gets its century. [UTC]
    knows : callable, optional
        Tells of a name in a list whose rows need nothing else whether the book has it: its row is no total. [unitless]
    is_spelled_so : callable, optional
        Tells of a name whether others of the sheet, with something beside them, are spelled so. [unitless]
    """

    def __init__(
        self,
        mapping: SheetMapping,
        file: str,
        zone: ZoneInfo,
        *,
        headings: Sequence[Cell] | None = None,
        now: datetime | None = None,
        knows: Callable[[str], bool] | None = None,
        is_spelled_so: Callable[[str], bool] | None = None,
    ) -> None:
        self.mapping, self.file, self.zone = mapping, file, zone
        self.knows = knows or (lambda _name: False)
        self.is_spelled_so = is_spelled_so or (lambda _name: True)
        self.today = (now or datetime.now(UTC)).astimezone(zone).date()
        mapped = {column.index for column in mapping.columns if column.field is not None}
        self.beyond = Beyond(mapping.headings if headings is None else headings, mapped, WHAT_TO_MEND)
        self.columns = {self._key(column): column for column in mapping.columns if column.field is not None}
        self.steps: list[tuple[int, str, Column, Field, Callable[[Cell, Column, Field], Any]]] = [
            (column.index, key, column, column.field, self._converter(column.field))
            for key, column in self.columns.items()
            if column.field is not None
        ]
        own = {
            key
            for key, column in self.columns.items()
            if column.field is not None and column.field.table is mapping.table
        }
        self.measured = [(key, kind) for key in own if (kind := kind_of(key)) is not None]
        self.stages = {stage: keys for stage, keys in _STAGE_KEYS.items() if any(key in own for key in keys)}
        self.feet = {
            prefix: keys[: 1 + max(place)]
            for prefix, keys in _FOOT_KEYS.items()
            if (place := [number for number, key in enumerate(keys) if key in own])
        }
        self._required = [
            (self._key(column), column)
            for column in mapping.columns
            if column.field is not None and column.field.required and column.field.table is mapping.table
        ]

    def _key(self, column: Column) -> str:
        assert column.field is not None  # noqa: S101 - only called for mapped columns
        own = column.field.table is self.mapping.table
        return column.field.key if own else f"{column.field.table}.{column.field.key}"

    def _converter(self, chosen: Field) -> Callable[[Cell, Column, Field], Any]:
        return {
            Form.TEXT: self._text,
            Form.NUMBER: self._number,
            Form.DATE: self._day,
            Form.MOMENT: self._moment,
            Form.CHOICE: self._choice,
            Form.NAMES: self._names,
        }[chosen.form]

    def read(self, number: int, cells: Sequence[Cell]) -> Row | None:
        """Read one row; ``None`` where every mapped cell is blank and there are no more cells than headings."""
        row = Row(number)
        blank = self._cells(row, cells)
        more = self.beyond.more(cells) if len(cells) > self.beyond.cells else ""
        if blank and not more:
            return None
        self._whole(row, cells, more)
        return row

    def _cells(self, row: Row, cells: Sequence[Cell]) -> bool:
        """Read each mapped cell; tell whether all are blank."""
        values, width = row.values, len(cells)
        blank = True
        for index, key, column, chosen, convert in self.steps:
            if index >= width:
                continue
            cell = cells[index]
            if cell is None or cell == "" or (isinstance(cell, str) and not cell.strip()):
                continue
            blank = False
            try:
                if type(cell) is str and len(cell) > MOST_TYPED and chosen.form not in _ANY_LENGTH:
                    cell = _short(cell)
                value = convert(cell, column, chosen)
            except NotAQuantityError as fault:
                row.problems.append(self._problem(row, column, fault, chosen))
                values[key] = None
                continue
            if type(value) is Remarked:
                row.problems.append(self.problem(row, key, value.code, Severity.WARNING, value.found, value.expected))
                value = value.value
            if isinstance(value, Parsed):
                values[key] = value.value * column.times + 0.0
                row.typed[key] = typed_text(value)
            else:
                values[key] = value
                if chosen.form is Form.CHOICE:
                    row.raw[key] = str(cell)
        return blank

    def _whole(self, row: Row, cells: Sequence[Cell], more: str) -> None:
        """Look at a row as a whole: what is missing, what is too much, and whether it is a record at all."""
        for key, column in self._required:
            if key not in row.values:
                wanted = column.field.heading if column.field is not None else column.heading
                expected = f"a value here: without the {wanted} nothing can be said of the row"
                row.problems.append(self.problem(row, key, Code.MISSING_VALUE, Severity.ERROR, "", expected))
        if more:
            expected = (
                f"at most {self.beyond.cells} cells, as many as there are headings (the sign between cells, such as a "
                "comma, stands inside a text or a number: put that in quotation marks)"
            )
            row.problems.append(self.problem(row, "", Code.MORE_CELLS, Severity.ERROR, more, expected))
        named = self._names_total(cells)
        if named or (not row.is_good and self._is_total(cells)):
            row.is_total = True
            expected = totals.LEFT_OUT + (totals.TRULY_CALLED_SO.get(self.mapping.table, "") if named else "")
            told = self.problem(row, "", Code.LOOKS_LIKE_TOTAL, Severity.WARNING, named, expected)
            row.problems = [told]
        elif isinstance(cells, AcrossRow):
            self._leave_heading(row, cells)
        elif self._stands_alone(row):
            key, column = self._required[0]
            text = str(cells[column.index]).strip()
            if not self.knows(text) and not self.is_spelled_so(text):
                row.problems.append(self.problem(row, key, Code.HEADING_BETWEEN, Severity.ERROR, text, between.ASKED))
        elif self.beyond.untold:
            self._tell_without_heading(row, cells)

    def _leave_heading(self, row: Row, cells: Sequence[Cell]) -> None:
        """Leave out a row that is one text over several columns, unless it is the name of what the book has."""
        text = next(str(cell).strip() for cell in cells if not is_blank(cell))
        if not (len(self._required) == 1 and row.is_good and self.knows(text)):
            row.is_total = True
            row.problems = [self.problem(row, "", Code.HEADING_BETWEEN, Severity.WARNING, text, between.LEFT_OUT)]

    def _stands_alone(self, row: Row) -> bool:
        """Tell whether a row holds the name of a machine or an instrument and nothing else, where more could stand."""
        return (
            self.mapping.table in _WITH_MORE
            and len(row.values) == 1 == len(self._required)
            and len(self.columns) > 1
            and row.is_good
        )

    def _tell_without_heading(self, row: Row, cells: Sequence[Cell]) -> None:
        """Say once of each column without a heading that something stands in it."""
        for index, found in self.beyond.tell(cells):
            place = column_name(index, "")
            expected = "a heading over this column; without one nothing in it is read (this is said once)"
            problem = self.problem(row, "", Code.NO_HEADING, Severity.WARNING, found, expected)
            row.problems.append(replace(problem, column=place))

    def shown(self, key: str, cells: Sequence[Cell]) -> str:
        """Give what stands in the cell of a field that every row has, as a problem shows it."""
        return str(cells[self.columns[key].index]).strip()

    def problem(self, row: Row, key: str, code: Code, severity: Severity, found: object, expected: str) -> Problem:
        """Make a problem of this sheet; ``key`` is empty where the whole row is meant."""
        column = self.columns.get(key)
        place = column_name(column.index, column.heading) if column is not None else ""
        return Problem(self.file, self.mapping.sheet, row.number, place, code, severity, str(found), expected)

    def _problem(self, row: Row, column: Column, fault: NotAQuantityError, chosen: Field) -> Problem:
        code = {Form.DATE: Code.BAD_DATE, Form.MOMENT: Code.BAD_DATE, Form.CHOICE: Code.NOT_A_CHOICE}.get(
            chosen.form, Code.NOT_A_NUMBER
        )
        if is_spoilt(found := fault.found.strip()):
            code = Code.NO_VALUE
            told = Told("told.expected.calculated") if found.startswith(NO_VALUE) else Told("told.expected.value")
            if found.startswith(MERGED):
                code, told = Code.MERGED, Told("told.expected.unmerged")
            fault = NotAQuantityError(found, told)
        elif "only one way" in fault.expected:
            code = Code.AMBIGUOUS_NUMBER
        elif fault.expected.startswith("a unit of"):
            code = Code.WRONG_UNIT
        key = self._key(column)
        return self.problem(row, key, code, Severity.ERROR, fault.found, fault.expected)

    def _names_total(self, cells: Sequence[Cell]) -> str:
        """Give the word for a total that stands where a name is all that a row needs; empty where none does, or the book has it."""
        if len(self._required) != 1 or (index := self._required[0][1].index) >= len(cells):
            return ""
        text = str(cells[index] or "").strip()
        return text if is_total(text) and not self.knows(text) else ""

    def _is_total(self, cells: Sequence[Cell]) -> bool:
        """Tell whether a row with errors is a total: the word stands alone, and tag or date is not there."""
        if not any(type(cell) is str and is_total(cell) for cell in cells[:6]):
            return False

        def lacks(column: Column, chosen: Field) -> bool:
            cell = cells[column.index] if column.index < len(cells) else None
            by_word = chosen.form is not Form.TEXT  # of a name that is all a row needs, see above
            return cell is None or not str(cell).strip() or (by_word and is_total(str(cell)))

        return any(lacks(column, column.field) for _, column in self._required if column.field is not None)

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
