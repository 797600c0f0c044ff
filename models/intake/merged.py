"""Cells that a workbook merges: what a person sees in all of them stands in the first, and the others are blank.

Below the headings a text, a date or a target that is merged down is read in
each of its rows.  What can be true of one visit only (a reading, a move, a
temperature) is not spread, nor is anything spread to the right: such a cell
gets a text that keeps its row out, for a blank target would be a target of 0.
What begins in the headings or above is a title, and stays where it is.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

from models.errors import UnreadableFileError
from models.intake.beyond import is_blank
from models.intake.cells import text_of
from models.intake.fields import Field, Form, Table
from models.intake.mapping import Column, SheetMapping
from models.intake.problems import Code, Problem, Severity, column_name
from models.intake.reading import AcrossRow, Cell, Sheet
from models.intake.shown_cells import MERGED

_OF_ONE_VISIT: Final = ("found_", "left_", "soft_", "move_", "temp_stationary", "temp_movable", "hours_run")
_BLANK_HARMS: Final = frozenset({Form.NUMBER, Form.DATE, Form.MOMENT, Form.CHOICE})
"""What a blank says something of: a target of 0, the usual reason, no date."""


def rows_below(sheet: Sheet, mapping: SheetMapping) -> Iterator[tuple[int, list[Cell] | tuple[Cell, ...]]]:
    """Give the rows below the headings with their numbers, what is merged as a person sees it.

    Parameters
    ----------
    sheet : Sheet
        The sheet. [as typed]
    mapping : SheetMapping
        How it is read. [unitless]
    """
    laid = _Laid(sheet, mapping)
    for number, cells in sheet.rows():
        if number > mapping.header_row:
            yield number, laid.over(number, cells)


def told(sheet: Sheet, mapping: SheetMapping) -> list[Problem]:
    """Say of each column in which merged cells are read in several rows that they are, once.

    Parameters
    ----------
    sheet : Sheet
        The sheet. [as typed]
    mapping : SheetMapping
        How it is read. [unitless]
    """
    laid = _Laid(sheet, mapping)
    problems = []
    for place, (row, last, count, text) in laid.spread.items():
        column = laid.columns[place]
        more = f"; so are {count - 1} more in this column" if count > 1 else ""
        expected = f"merged cells down to row {last}: what stands in the first is read in each of their rows{more}"
        name = column_name(column.index, column.heading)
        where = (sheet.path.name, mapping.sheet, row, name)
        problems.append(Problem(*where, Code.MERGED, Severity.WARNING, text, expected, is_sentence=True))
    return problems


class _Laid:
    """What is laid over the rows of a sheet: by number of row and place of column, and which rows are one merged text.

    ``spread`` tells by column where the first range is that is read in several rows, to which row it reaches, how many there are
    and what stands in the first.
    """

    def __init__(self, sheet: Sheet, mapping: SheetMapping) -> None:
        self.columns: Mapping[int, Column] = {c.index: c for c in mapping.columns if c.field is not None}
        self._cells: dict[int, dict[int, Cell]] = {}
        self._file, self._steps = sheet.path.name, 0
        self._across: set[int] = set()
        self.spread: dict[int, tuple[int, int, int, str]] = {}
        kept = dict(sheet.rows()) if any(first[0] >= mapping.header_row for first, _ in sheet.merged) else {}
        self._most = 2 * (len(kept) + 1) * (max(map(len, kept.values()), default=0) + 1)
        for (top, left), (bottom, right) in sheet.merged:
            first = kept.get(top + 1, ())
            cell = first[left] if left < len(first) else None
            if top >= mapping.header_row and not is_blank(cell):
                self._lay(kept, cell, (top, left), (bottom, right))

    def _lay(
        self,
        kept: Mapping[int, list[Cell] | tuple[Cell, ...]],
        cell: Cell,
        first: tuple[int, int],
        last: tuple[int, int],
    ) -> None:
        self._step()
        (top, left), (bottom, right) = first, last
        if any(left < place <= right for place in self.columns) and self._filled(kept[top + 1]) == [left]:
            self._across.add(top + 1)
            return
        begin = self.columns.get(left)
        # A remark over free cells to its right needed room: it says nothing of them, as a number or a date over several does.
        wordy = begin is None or begin.field is None or begin.field.form not in _BLANK_HARMS
        seen = False
        for place in (place for place in self.columns if left <= place <= right):
            chosen = self.columns[place].field
            assert chosen is not None  # noqa: S101 - only columns with a field are kept
            down = place == left and not _is_of_one_visit(chosen)
            if not down and (chosen.form not in _BLANK_HARMS or (wordy and place != left)):
                continue
            for row in range(top + 1 if place == left else top, bottom + 1):
                cells = kept.get(row + 1)
                self._step()
                if cells is None:
                    break
                # A row in which nothing else stands is no record, merged or not.
                if self._filled(cells) and is_blank(cells[place] if place < len(cells) else None):
                    self._cells.setdefault(row + 1, {})[place] = cell if down else f"{MERGED}{text_of(cell)}"
                    seen = seen or down
        if seen:
            row, end, count, text = self.spread.get(left, (top + 1, bottom + 1, 0, text_of(cell)))
            self.spread[left] = (row, end, count + 1, text)

    def _step(self) -> None:
        """Count what is looked at: ranges do not lie over one another, so it cannot be more than there are cells."""
        self._steps += 1
        if self._steps > self._most:
            raise UnreadableFileError(
                f"{self._file} merges cells that it has merged already, and was not read.",
                remedy="Open it in a spreadsheet program and save it again as XLSX or CSV.",
            )

    def _filled(self, cells: list[Cell] | tuple[Cell, ...]) -> list[int]:
        return [place for place in self.columns if place < len(cells) and not is_blank(cells[place])]

    def over(self, number: int, cells: list[Cell] | tuple[Cell, ...]) -> list[Cell] | tuple[Cell, ...]:
        """Give a row with what is laid over it."""
        if number in self._across:
            return AcrossRow(cells)
        laid = self._cells.get(number)
        if laid is None:
            return cells
        whole = [*cells, *([""] * (1 + max(laid) - len(cells)))]
        for place, cell in laid.items():
            whole[place] = cell
        return tuple(whole)


def _is_of_one_visit(chosen: Field) -> bool:
    return chosen.table is Table.JOBS and chosen.key.startswith(_OF_ONE_VISIT)
