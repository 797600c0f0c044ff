"""What a person says of a sheet whose headings are not understood: what it holds, in which row they stand, what each column is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from models.errors import UnreadableFileError
from models.intake.cells import text_of
from models.intake.dates import Order
from models.intake.day_order import evidence_in
from models.intake.fields import Table
from models.intake.headings import is_of_totals, take_apart
from models.intake.mapping import (
    HEADER_SEARCH,
    SheetMapping,
    ask_beside,
    asked_beside,
    asked_by,
    decimal_in,
    laid_out,
    with_new_words,
)
from models.intake.nearest import nearest_of
from models.intake.proposing import propose_columns
from models.intake.reading import Sheet
from models.intake.title_words import TOTAL, Word
from models.units import Decimal, Display

MOST_ROWS: Final = 15
"""So many rows are offered as that of the headings; one that is proposed further down is too."""


_ITS_HEADING: Final = Word("its heading", TOTAL)


@dataclass(frozen=True, slots=True)
class Said:
    """What a sheet holds, and the number of the row of its headings."""

    table: Table
    row: int

    def of(self, sheet: Sheet, display: Display) -> SheetMapping:
        """Propose how a sheet is read by what was said of it; a column that is not understood is left out.

        Parameters
        ----------
        sheet : Sheet
            The sheet. [as typed]
        display : Display
            The site's units, for columns that state none. [unitless]

        Raises
        ------
        UnreadableFileError
            If nothing stands in that row, or it is not one of the first.
        """
        if self.row not in {number for number, _ in _filled(sheet)}:
            where = f"of sheet '{sheet.name}' of {sheet.path.name}" if sheet.name else f"of {sheet.path.name}"
            raise UnreadableFileError(
                f"Row {self.row} {where} cannot be that of the headings: nothing stands in it, or it is not among the first {HEADER_SEARCH}.",
                remedy="Say the row as a spreadsheet counts it, from 1; blank rows count.",
            )
        return replace(asked_beside(sheet, laid_out(sheet, self.table, self.row, display)), unasked=True)


def likely(sheet: Sheet) -> tuple[Table | None, int]:
    """Give what a sheet may hold, where some heading tells, and the row in which its headings most likely stand.

    It is the row that comes nearest; where no heading is understood, the first of those with most cells; 0 where nothing stands in any.

    Parameters
    ----------
    sheet : Sheet
        The sheet. [as typed]
    """
    nearest = nearest_of(sheet)
    if nearest is not None:
        return nearest.table, nearest.row
    return None, max(_filled(sheet), key=lambda one: (len(one[1]), -one[0]), default=(0, ()))[0]


def rows_offered(sheet: Sheet, proposed: int) -> list[tuple[int, list[str]]]:
    """Give the first rows in which something stands, with the texts of their cells, and the one that is proposed.

    Parameters
    ----------
    sheet : Sheet
        The sheet. [as typed]
    proposed : int
        Number of the row that is proposed. [unitless]
    """
    return [one for place, one in enumerate(_filled(sheet)) if place < MOST_ROWS or one[0] == proposed]


def _filled(sheet: Sheet) -> list[tuple[int, list[str]]]:
    rows = enumerate(sheet.head[:HEADER_SEARCH], start=1)
    texts = ((number, [text for cell in row if (text := text_of(cell))]) for number, row in rows)
    return [(number, filled) for number, filled in texts if filled]


def told_of_file(sheet: Sheet, mapping: SheetMapping) -> SheetMapping:
    """Complete a mapping in whose file a person has said what columns are.

    Parameters
    ----------
    sheet : Sheet
        The sheet. [as typed]
    mapping : SheetMapping
        The mapping as its file says it. [unitless]
    """
    if mapping.missing or not mapping.unasked:
        return mapping
    alone = propose_columns(mapping.headings, mapping.table, Display())
    # What was taken from another list was asked about when it was, and what was asked in the file has been answered there.
    before = tuple(
        c if c.as_in or (c.why and not c.asks) else replace(c, field=one.field)
        for c, one in zip(mapping.columns, alone, strict=True)
    )
    made = told_anew(sheet, replace(mapping, columns=before), mapping)
    return made if made is mapping else with_new_words(sheet, made)


def told_anew(sheet: Sheet, before: SheetMapping, after: SheetMapping) -> SheetMapping:
    """Complete a mapping of which a person has said what more columns are by what the sheet tells of these, as a proposal is.

    Parameters
    ----------
    sheet : Sheet
        The sheet. [as typed]
    before : SheetMapping
        How it was read. [unitless]
    after : SheetMapping
        The same with more columns. [unitless]
    """
    new = {
        one.index
        for was, one in zip(before.columns, after.columns, strict=True)
        if one.field is not None and was.field is not one.field
    }
    if not new:
        return after
    totals = tuple(
        asked_by(_ITS_HEADING, one)
        if one.index in new and one.field is not None and is_of_totals(take_apart(one.heading), one.field)
        else one
        for one in after.columns
    )
    asked = ask_beside(sheet, replace(after, columns=totals))
    columns = tuple(asked.columns[one.index] if one.index in new else one for one in after.columns)
    made = replace(after, columns=columns, unasked=False)
    if made.decimal is Decimal.AUTO:
        made = replace(made, decimal=decimal_in(sheet, made))
    if made.order is Order.BY_ROWS and new & set(made.date_columns):
        order = evidence_in(sheet, made.header_row, made.date_columns, ahead=made.ahead_columns).order
        made = replace(made, order=made.order if order is Order.CLEAR else order)
    return made
