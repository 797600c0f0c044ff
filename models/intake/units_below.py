"""A row of units under the headings: which row is one, and the headings with what stands in it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Final

from models.intake import headings
from models.intake.cells import text_of
from models.intake.fields import Field, Form, Table, fields_of
from models.intake.heading_units import are_same, is_unit, unit_or_none
from models.intake.reading import Sheet
from models.intake.title_units import DATE_PATTERN, bare_unit, is_known, units_in

_NO_UNIT: Final = frozenset({
    "", "-", "–", "—", "--", "n/a", "none", "text", "name", "unit", "units", "unit:", "units:", "date", "time", "no", "no.", "nr", "#", "local",
    "id", "tag", "string", "free text", "datetime", "date/time",
})  # fmt: skip
"""What stands in a row of units under a column that has none."""

NUMBER: Final = re.compile(r"[-+−–]?(?=[.,\s]*\d)[\d.,\s]+")
DAYS: Final = frozenset({Form.DATE, Form.MOMENT})


def units_below(sheet: Sheet, heading_row: int, table: Table) -> tuple[int, dict[int, str]] | None:
    """Give the row of units under headings, with what it says by column; ``None`` where there is none.

    It is the first row below that is not blank.  One unit that is merged over columns is that of all that know it.

    Parameters
    ----------
    sheet : Sheet
        The sheet. [as typed]
    heading_row : int
        Number of its row of headings. [unitless]
    table : Table
        What the sheet holds. [unitless]
    """
    number = next((n for n in range(heading_row + 1, len(sheet.head) + 1) if any(map(text_of, sheet.head[n - 1]))), 0)
    if not number:
        return None
    row, below = sheet.head[heading_row - 1], sheet.head[number - 1]
    if any(cell is not None and not isinstance(cell, str) for cell in below):
        return None
    texts = [text_of(cell) for cell in below]
    if not any(map(is_known, texts)):
        return None
    fields = [field_of(text_of(cell), table) for cell in row] + [None] * (len(texts) - len(row))
    # Where no row is a record without a day, a row without one is none, whatever stands under its names.
    needs_day = any(field.required and field.form in DAYS for field in fields_of(table))
    units: dict[int, str] = {}
    filled: set[int] = set()
    for index, (text, field) in enumerate(zip(texts, fields, strict=False)):
        if text.lower().strip("[](){}") in _NO_UNIT:
            continue
        if NUMBER.fullmatch(text) or (field is not None and not _may_stand_below(field, text, needs_day=needs_day)):
            return None
        filled.add(index)
        if is_known(text) or any(units_in(text)) if field is None else field.form is Form.NUMBER:
            units[index] = bare_unit(text)
    for first, last in merged_across(sheet, number):
        unit = bare_unit(texts[first]) if first < len(texts) else ""
        for index in range(first + 1, min(last + 1, len(fields))):
            field = fields[index]
            if field is not None and field.quantity is not None and unit_or_none(unit, field.quantity):
                units[index] = unit
    is_one = any(fields[index] is not None and is_unit(unit) for index, unit in units.items())
    # Below headings that are not understood nothing else may stand there, and something has no unit: a record has a name at least.
    is_one |= filled == units.keys() and len(filled) < sum(map(bool, map(text_of, row)))
    return (number, units) if is_one else None


def merged_across(sheet: Sheet, row: int) -> list[tuple[int, int]]:
    """Give the first and the last column of what is merged over several columns in a row."""
    return [(left, right) for (top, left), (_, right) in sheet.merged if top == row - 1 and right > left]


def _may_stand_below(field: Field, text: str, *, needs_day: bool) -> bool:
    """Tell whether a text may stand in a row of units under a field, and not in a record."""
    if field.form is Form.NUMBER:
        unit = bare_unit(text)
        fits = field.quantity is not None and unit_or_none(unit, field.quantity)
        return bool(fits or is_known(text) or headings.take_apart(f"offset [{unit}]").odd)
    if field.form in DAYS or field.key == "time":
        return DATE_PATTERN.fullmatch(bare_unit(text)) is not None or (needs_day and not any(map(str.isdigit, text)))
    return needs_day


def field_of(name: str, table: Table) -> Field | None:
    """Give the field of a heading; rows of jobs may describe their machine too."""
    heading = headings.take_apart(name)
    return headings.field_for(heading, table) or (
        headings.field_for(heading, Table.ASSETS) if table is Table.JOBS else None
    )


def with_units(names: Sequence[str], units: Mapping[int, str]) -> list[str]:
    """Give headings with the units that stand below them.

    Parameters
    ----------
    names : sequence of str
        The headings. [as typed]
    units : mapping
        What stands below them, by column. [as typed]
    """
    made = list(names)
    for index, unit in units.items():
        if index < len(made) and made[index]:
            own = headings.take_apart(made[index]).unit
            if not (own and are_same(own, unit)):
                made[index] = f"{made[index]} [{unit}]"
    return made


def heading_row(sheet: Sheet, row: int, table: Table) -> int:
    """Give the row of headings of which a row is the row of units; else the row itself.

    Parameters
    ----------
    sheet : Sheet
        The sheet. [as typed]
    row : int
        Number of the row. [unitless]
    table : Table
        What the sheet holds. [unitless]
    """
    if not 1 < row <= len(sheet.head) or not any(is_known(text_of(cell)) for cell in sheet.head[row - 1]):
        return row
    above = next((n for n in range(row - 1, 0, -1) if any(map(text_of, sheet.head[n - 1]))), row)
    names = [text_of(cell) for cell in sheet.head[above - 1]]
    fields = {headings.field_for(headings.take_apart(name), table) for name in names if name}
    has_needed = above < row and all(field in fields for field in fields_of(table) if field.required)
    # Of a list whose headings are not all understood that alone tells: no heading stands among units.
    has_needed |= not any(field_of(text_of(cell), table) for cell in sheet.head[row - 1])
    return above if has_needed and units_below(sheet, above, table) is not None else row


def names_above(sheet: Sheet, row: int, table: Table) -> list[str]:
    """Give the headings above a row of units, without these; none where the row is none.

    Parameters
    ----------
    sheet : Sheet
        The sheet. [as typed]
    row : int
        Number of the row. [unitless]
    table : Table
        What the sheet holds. [unitless]
    """
    above = heading_row(sheet, row, table)
    return [] if above == row else [text_of(cell) for cell in sheet.head[above - 1]]


def names_in(sheet: Sheet, row: int, table: Table) -> list[str]:
    """Give the headings in a row; where it is one of units under them, the headings above with these.

    Parameters
    ----------
    sheet : Sheet
        The sheet. [as typed]
    row : int
        Number of the row. [unitless]
    table : Table
        What the sheet holds. [unitless]
    """
    if not 1 <= row <= len(sheet.head):
        return []
    above = heading_row(sheet, row, table)
    below = units_below(sheet, above, table) if above != row else None
    names = [text_of(cell) for cell in sheet.head[above - 1]]
    return names if below is None else with_units(names, below[1])
