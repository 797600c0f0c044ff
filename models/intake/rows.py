"""One row of cells to typed values: every cell read, every problem named with its place."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from models.errors import NotAQuantityError
from models.intake import between, totals
from models.intake.beyond import Beyond, is_blank
from models.intake.cell_values import ANY_LENGTH, MOST_TYPED, CellReader, Remarked, short, typed_text
from models.intake.fields import FEET, Field, Form, Table
from models.intake.mapping import WHAT_TO_MEND, Column, SheetMapping
from models.intake.problems import Code, Problem, Severity, column_name
from models.intake.reading import AcrossRow, Cell
from models.intake.shown_cells import MERGED, NO_VALUE, is_spoilt
from models.intake.totals import is_total
from models.sentences.told import Told
from models.units import Parsed
from models.values.job import COMPONENTS

_FOOT_KEYS = {
    prefix: tuple(f"{prefix}_{foot}" for foot in FEET) for prefix in ("soft_before", "soft_after", "move_v", "move_h")
}
_STAGE_KEYS = {
    stage: tuple(f"{stage}_{component}" for component in COMPONENTS) for stage in ("found", "left", "target")
}


_WITH_MORE: Final = {Table.ASSETS, Table.INSTRUMENTS}
"""Lists in which little is known of a thing of which the name alone is written; of people a name is often all."""


def kind_of(key: str) -> str | None:
    """Give what kind of measured number a field of a job is; ``None`` if it is none."""
    if key.startswith(("found_", "left_", "target_")):
        return "offset" if "offset" in key else "angle"
    if key.startswith("soft_"):
        return "soft"
    if key.startswith("temp_"):
        return "air" if key == "temp_ambient" else "temperature"
    return "move" if key.startswith("move_") else None


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
        values = CellReader(mapping, zone, self.today)
        self.steps: list[tuple[int, str, Column, Field, Callable[[Cell, Column, Field], Any]]] = [
            (column.index, key, column, column.field, values.of(column.field))
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
                if type(cell) is str and len(cell) > MOST_TYPED and chosen.form not in ANY_LENGTH:
                    cell = short(cell)
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
