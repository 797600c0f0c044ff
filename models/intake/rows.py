"""One row of cells to typed values: every cell read, every problem named with its place."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from models.errors import NotAQuantityError
from models.intake import dates
from models.intake.fields import FEET, Field, Form
from models.intake.mapping import Column, SheetMapping
from models.intake.problems import Code, Problem, Severity, column_name
from models.intake.reading import Cell
from models.intake.words import choice
from models.units import Decimal, Parsed, parse, to_stored
from models.values.job import COMPONENTS

_TOTALS = ("total", "sum", "average", "mean", "count", "subtotal")

_FOOT_KEYS = {
    prefix: tuple(f"{prefix}_{foot}" for foot in FEET) for prefix in ("soft_before", "soft_after", "move_v", "move_h")
}
_STAGE_KEYS = {
    stage: tuple(f"{stage}_{component}" for component in COMPONENTS) for stage in ("found", "left", "target")
}


def kind_of(key: str) -> str | None:
    """Give what kind of measured number a field of a job is; ``None`` if it is none."""
    if key.startswith(("found_", "left_", "target_")):
        return "offset" if "offset" in key else "angle"
    if key.startswith("soft_"):
        return "soft"
    if key.startswith("temp_"):
        return "temperature"
    return "move" if key.startswith("move_") else None


def typed_text(parsed: Parsed) -> str:
    """Give a number as it was typed, with its unit."""
    bare = parsed.typed[-1:].isdigit() or parsed.typed[-1:] in ".,"
    return f"{parsed.typed} {parsed.unit}" if bare else parsed.typed


@dataclass(slots=True)
class Row:
    """One row as read: values by field, numbers as typed, and what is wrong with it.

    Fields of the asset that stand in a row of jobs have the key ``assets.…``.
    ``raw`` keeps the words of a closed list as they stood, for messages.
    """

    number: int
    values: dict[str, Any] = field(default_factory=dict)
    typed: dict[str, str] = field(default_factory=dict)
    raw: dict[str, str] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    is_total: bool = False

    @property
    def is_good(self) -> bool:
        """Tell whether no error keeps the row out."""
        return all(problem.severity is Severity.WARNING for problem in self.problems)


class RowReader:
    """Reads the rows of one sheet by its mapping.

    ``measured`` lists the fields whose size is checked, with their kind;
    ``stages`` and ``feet`` the fields of each misalignment and of each row of
    feet values, where the sheet has any.
    """

    def __init__(self, mapping: SheetMapping, file: str, zone: ZoneInfo) -> None:
        self.mapping = mapping
        self.file = file
        self.zone = zone
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
        """Read one row; ``None`` where every mapped cell is blank."""
        row = Row(number)
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
                value = convert(cell, column, chosen)
            except NotAQuantityError as fault:
                row.problems.append(self._problem(row, column, fault, chosen))
                values[key] = None
                continue
            if isinstance(value, Parsed):
                values[key] = value.value * column.times + 0.0
                row.typed[key] = typed_text(value)
            else:
                values[key] = value
                if chosen.form is Form.CHOICE:
                    row.raw[key] = str(cell)
        if blank:
            return None
        for key, column in self._required:
            if key not in values:
                row.problems.append(
                    self.problem(row, key, Code.MISSING_VALUE, Severity.ERROR, "", f"a {column.heading or key}")
                )
        if not row.is_good and self._looks_like_total(cells):
            row.is_total = True
            row.problems = [
                self.problem(
                    row,
                    "",
                    Code.LOOKS_LIKE_TOTAL,
                    Severity.WARNING,
                    "",
                    "a record; this looks like a total and is left out",
                )
            ]
        return row

    def problem(self, row: Row, key: str, code: Code, severity: Severity, found: object, expected: str) -> Problem:
        """Make a problem of this sheet; ``key`` is empty where the whole row is meant."""
        column = self.columns.get(key)
        place = column_name(column.index, column.heading) if column is not None else ""
        return Problem(self.file, self.mapping.sheet, row.number, place, code, severity, str(found), expected)

    def _problem(self, row: Row, column: Column, fault: NotAQuantityError, chosen: Field) -> Problem:
        code = {Form.DATE: Code.BAD_DATE, Form.MOMENT: Code.BAD_DATE, Form.CHOICE: Code.NOT_A_CHOICE}.get(
            chosen.form, Code.NOT_A_NUMBER
        )
        if "only one way" in fault.expected:
            code = Code.AMBIGUOUS_NUMBER
        elif fault.expected.startswith("a unit of"):
            code = Code.WRONG_UNIT
        key = self._key(column)
        return self.problem(row, key, code, Severity.ERROR, fault.found, fault.expected)

    def _looks_like_total(self, cells: Sequence[Cell]) -> bool:
        return any(isinstance(cell, str) and cell.strip().lower().startswith(_TOTALS) for cell in cells[:6])

    def _text(self, cell: Cell, _column: Column, _field: Field) -> str:
        if isinstance(cell, float) and cell.is_integer():
            return str(int(cell))  # a workbook holds a job number as a float
        if isinstance(cell, datetime | date | time | timedelta):
            return cell if isinstance(cell, str) else str(cell)
        return " ".join(str(cell).split())

    def _number(self, cell: Cell, column: Column, chosen: Field) -> Parsed:
        assert chosen.quantity is not None  # noqa: S101 - every number field has one
        if isinstance(cell, bool | datetime | date | time | timedelta):
            raise NotAQuantityError(str(cell), f"a number of {chosen.quantity}")
        if type(cell) is str and cell[-1].isdigit() and self.mapping.decimal is not Decimal.COMMA and "_" not in cell:
            # Most cells of a large file are plain numbers: the full reading is eight times slower.
            try:
                return Parsed(to_stored(float(cell), column.unit, chosen.quantity) + 0.0, column.unit, cell.strip())
            except ValueError:
                pass
        if isinstance(cell, int | float):
            return Parsed(to_stored(float(cell), column.unit, chosen.quantity), column.unit, f"{cell:.15g}")
        return parse(str(cell), chosen.quantity, column.unit, self._decimal(str(cell)))

    def _decimal(self, text: str) -> Decimal:
        """Take the sheet's decimal sign, but let a cell that can only be read the other way be read so."""
        sign = self.mapping.decimal
        if sign is Decimal.COMMA and "," not in text:
            return Decimal.POINT
        if sign is Decimal.POINT and "." not in text and "," in text:
            return Decimal.AUTO
        return sign

    def _day(self, cell: Cell, _column: Column, _field: Field) -> date:
        return dates.parse_day(cell, self.mapping.order)

    def _moment(self, cell: Cell, _column: Column, _field: Field) -> datetime:
        return dates.parse_moment(cell, self.mapping.order, self.zone)[0]

    def _choice(self, cell: Cell, _column: Column, chosen: Field) -> str:
        member = choice(str(cell), chosen, dict(self.mapping.words))
        if member is None:
            raise NotAQuantityError(str(cell), f"one of: {', '.join(chosen.choices)}")
        return member

    def _names(self, cell: Cell, _column: Column, _field: Field) -> tuple[str, ...]:
        parts = str(cell).replace("/", ";").split(";")
        return tuple(dict.fromkeys(" ".join(part.split()) for part in parts if part.strip()))
