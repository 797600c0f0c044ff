"""Which kept mapping reads which sheet of a file, and what in it holds for one site only."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from models.intake import headings
from models.intake.cells import text_of
from models.intake.dates import Order
from models.intake.fields import Table
from models.intake.mapping import (
    WHAT_TO_MEND,
    Column,
    FileMapping,
    SheetMapping,
    against,
    ask_beside,
    beside,
    outline,
    samples_of,
    told_by_rows,
    words_of,
)
from models.intake.mapping_file import units_mark
from models.intake.own_table import AMENDED, VOID, own_versions
from models.intake.problems import Code, Problem, Severity, column_name
from models.intake.proposing import ALWAYS_ALIKE, Ask, Proposed, as_field
from models.intake.reading import Sheet
from models.intake.title_words import WORDS
from models.intake.units_below import names_in, units_below
from models.intake.units_beside import is_bare
from models.units import STORED_UNIT, Decimal, Display

_NAMED = 12
"""So many columns that are left out are named; the rest is counted."""


def headings_of(sheet: Sheet, row: int, table: Table) -> list[str]:
    """Give the headings in a row of a sheet, with units that stand below them; none where the sheet is shorter."""
    return _trimmed(names_in(sheet, row, table))


def _trimmed(names: Sequence[str]) -> list[str]:
    kept = [name for name in names if name != WHAT_TO_MEND]
    while kept and not kept[-1]:
        kept.pop()
    return kept


def _at_its_headings(wanted: SheetMapping, sheet: Sheet) -> SheetMapping | None:
    """Give a mapping at the row in which its headings stand; ``None`` where they stand in none.

    One more or less line of a title above them makes no other list.  It has to be the row that would be proposed: the
    same headings may stand once more, or belong to a small list beside a large one.
    """
    names = _trimmed(wanted.headings)
    if headings_of(sheet, wanted.header_row, wanted.table) == names:
        return wanted
    found = [row for row in range(1, len(sheet.head) + 1) if names and headings_of(sheet, row, wanted.table) == names]
    if not found:
        return None
    own = outline(sheet, Display())
    if own is None:  # nothing would be proposed; headings that stand once more between the rows come later
        return replace(wanted, header_row=found[0])
    return replace(wanted, header_row=own.header_row) if _trimmed(own.headings) == names else None


def _is_said_alike(wanted: SheetMapping, sheet: Sheet, there: Display | None) -> bool:
    """Tell whether nothing of units stands above or beside a list that a mapping of its headings was not made for.

    Rows that came back are read as they were: a title is not among them.  Where nothing is said any more, or not that the
    readings were taken as they were then, that goes on which would be proposed: what is read in the units of the site.
    """
    row = sheet.head[wanted.header_row - 1] if wanted.header_row <= len(sheet.head) else ()
    if any(text_of(cell) == WHAT_TO_MEND for cell in row):
        return True
    if units_below(sheet, wanted.header_row, wanted.table) is not None:
        return False  # it was made for a list without that row
    said = [one for one in beside(sheet, wanted) if not one.is_heading]
    new = {word for one in against(sheet, wanted, said).values() for word in one.words}
    above = words_of(sheet, wanted)
    new |= {one.text for one in above if any(one.asks(c.field, c.times) for c in wanted.columns)}
    is_own = all(_is_of_site(column, there) for column in wanted.columns)
    is_still = bool(said or above) and {one.text for one in above} >= WORDS.intersection(wanted.units_said)
    return new <= set(wanted.units_said) and (is_still or not wanted.units_said or is_own)


def _is_of_site(column: Column, there: Display | None) -> bool:
    """Tell whether a column is read as it would be proposed where nothing is said above or beside the list."""
    quantity = None if column.field is None else column.field.quantity
    is_in_unit = (
        quantity is None or bool(_stated(column)) or (there is not None and column.unit == there.unit(quantity))
    )
    return is_in_unit and abs(column.times) == 1.0 and not column.asks


def fitting(mapping: FileMapping, sheets: Sequence[Sheet]) -> tuple[SheetMapping, ...]:
    """Give the sheets of a mapping that are in a file, with the headings that the mapping was made for, in the row in which they stand."""
    by_name = {sheet.name: sheet for sheet in sheets}
    found = ((_at_its_headings(m, by_name[m.sheet]), by_name[m.sheet]) for m in mapping.sheets if m.sheet in by_name)
    there = _display_of(mapping.units)
    return tuple(one for one, sheet in found if one is not None and _is_said_alike(one, sheet, there))


def contradict(one: SheetMapping, other: SheetMapping) -> bool:
    """Tell whether the same cells would mean something else by another mapping of the same headings."""
    if [(c.field, c.unit, c.times) for c in one.columns] != [(c.field, c.unit, c.times) for c in other.columns]:
        return True
    fixed = {Order.DAY_FIRST, Order.MONTH_FIRST, Order.YEAR_FIRST}
    return (
        one.table is not other.table
        or (one.order is not other.order and {one.order, other.order} <= fixed)
        or {one.decimal, other.decimal} == {Decimal.POINT, Decimal.COMMA}
        or any(other.words.get(word, meaning) != meaning for word, meaning in one.words.items())
    )


def differences(wanted: SheetMapping, sheet: Sheet) -> str:
    """Say which headings of a sheet are not those of a mapping."""
    wanted = _at_its_headings(wanted, sheet) or wanted
    there, here = headings_of(sheet, wanted.header_row, wanted.table), _trimmed(wanted.headings)
    if there == here and (below := units_below(sheet, wanted.header_row, wanted.table)) is not None:
        return f"row {below[0]}, under the headings, is one of units"
    if there == here:
        words = [word for one in beside(sheet, wanted) for word in one.words]
        said = ", ".join(map(repr, [*words, *(one.text for one in words_of(sheet, wanted))]))
        was = ", ".join(map(repr, wanted.units_said))
        return (
            f"of units the file says {said or 'nothing'} above or beside its columns, where it was {was or 'nothing'}"
        )
    parts = [
        f"{where}: {', '.join(repr(name) for name in names)}"
        for where, names in (
            ("only in the file", [name for name in there if name and name not in here]),
            ("only in the mapping", [name for name in here if name and name not in there]),
        )
        if names
    ]
    return "; ".join(parts) or f"the headings in row {wanted.header_row} stand in another order or number"


def changed_by_hand(mapping: FileMapping, marks: Iterable[str], sheets: Sequence[Sheet]) -> str:
    """Say how a mapping differs from the file for which it was proposed; empty where it was proposed for another.

    Parameters
    ----------
    mapping : FileMapping
        A kept mapping. [unitless]
    marks : iterable of str
        Digests of the headings that would be proposed for the file. [unitless]
    sheets : sequence of Sheet
        The sheets of the file that no mapping reads. [unitless]
    """
    by_name = {sheet.name: sheet for sheet in sheets}
    here = [m for m in mapping.sheets if m.sheet in by_name]
    if mapping.mark not in set(marks) or (
        here and all(_at_its_headings(m, by_name[m.sheet]) is not None for m in here)
    ):
        return ""  # of units something else is said beside the same headings: that is no change by hand
    told = [
        (f"sheet '{m.sheet}': " if m.sheet else "") + differences(m, by_name[m.sheet])
        for m in mapping.sheets
        if m.sheet in by_name
    ]
    told += [f"sheet '{name}' is not in the mapping" for name in by_name.keys() - {m.sheet for m in mapping.sheets}]
    return "; ".join(told)


def leaning(mapping: SheetMapping, sheet: Sheet) -> list[Column]:
    """Give the columns whose reading rests on the site: on a unit that neither heading nor cells state, or on a factor."""
    found = []
    unsure: list[Column] = []
    for column in mapping.columns:
        if column.field is None or column.field.quantity is None:
            continue
        stated = _stated(column)
        if column.times != 1.0 or (stated and stated != column.unit):
            found.append(column)
        elif not stated and not (
            column.field.quantity in ALWAYS_ALIKE and column.unit == STORED_UNIT[column.field.quantity]
        ):
            unsure.append(column)
    if unsure:
        bare = _bare(sheet, mapping.header_row, [column.index for column in unsure])
        found += [column for column in unsure if column.index in bare]
    return sorted(found, key=lambda column: column.index)


def left_to_site(mapping: SheetMapping, sheet: Sheet) -> list[Column]:
    """Give the columns about which another site is asked anew: those that lean on the site, and those whose heading leaves something open."""
    odd = against(sheet, mapping)
    found = {column.index: column for column in (*leaning(mapping, sheet), *(mapping.columns[at] for at in odd))}
    above = words_of(sheet, mapping)
    for column in mapping.columns:
        in_doubt = column.field and as_field(column.heading, column.field, Display(), in_doubt=True).asks
        if in_doubt or any(one.asks(column.field) for one in above):
            found[column.index] = column
    return [found[index] for index in sorted(found)]


def _stated(column: Column) -> str:
    assert column.field is not None  # noqa: S101 - only asked of mapped columns
    return headings.unit_for(headings.take_apart(column.heading), column.field)


def _bare(sheet: Sheet, header_row: int, columns: Sequence[int]) -> set[int]:
    """Give the columns in which some number stands without a unit."""
    bare: set[int] = set()
    left = set(columns)
    for number, cells in sheet.rows():
        if number > header_row:
            found = {place for place in left if place < len(cells) and is_bare(cells[place])}
            bare |= found
            left -= found
            if not left:
                break
    return bare


def without_asking(mapping: SheetMapping, sheet: Sheet, display: Display) -> SheetMapping:
    """Give how a sheet of another site is read, every unit of which is stated: how its numbers and dates are written is its own."""
    own = outline(sheet, display)
    return replace(mapping, order=Order.BY_ROWS, decimal=Decimal.AUTO if own is None else own.decimal)


def for_site(mapping: SheetMapping, sheet: Sheet, display: Display, units_there: str) -> SheetMapping:
    """Propose for one site how a sheet is read, from what was confirmed for another.

    A unit that no heading states is that of the new site, unless somebody had
    set another one than that of the site for which it was confirmed.

    Parameters
    ----------
    mapping : SheetMapping
        What was confirmed. [unitless]
    sheet : Sheet
        The sheet of the new site. [unitless]
    display : Display
        The new site's units. [unitless]
    units_there : str
        The other site's units as its mapping says them; empty where it does not. [unitless]
    """
    there = _display_of(units_there)
    columns = []
    for column in mapping.columns:
        unit = column.unit
        if column.field is not None and column.field.quantity is not None and not _stated(column):
            quantity = column.field.quantity
            if there is None or unit == there.unit(quantity):
                unit = display.unit(quantity)
        # What a heading leaves open another site has answered for itself: here it is a guess.
        asked = Proposed() if column.field is None else as_field(column.heading, column.field, display, in_doubt=True)
        unit = column.unit if Ask.UNIT in asked.asks else unit
        columns.append(replace(column, unit=unit, asks=asked.asks, why=asked.why, as_in=""))
    own = outline(sheet, display)
    made = replace(
        mapping, columns=tuple(columns), decimal=mapping.decimal if own is None else own.decimal, units_said=()
    )
    told = told_by_rows(sheet, ask_beside(sheet, made))
    return with_samples(replace(told, words={**told.words, **mapping.words}), sheet)


_DISPLAYS = tuple(Display(length, temperature) for length in ("mm", "mil") for temperature in ("°C", "°F"))


def _display_of(units: str) -> Display | None:
    """Give a site's units as its mapping says them; ``None`` where it does not."""
    return next((d for d in _DISPLAYS if units_mark(d) == units), None)


def suiting(sheet: Sheet, mapping: SheetMapping) -> Callable[[Column], bool]:
    """Give what tells whether a column of a mapping, read in some other way, is read as is said above and beside the sheet."""
    said = beside(sheet, mapping) if mapping.units_said else []

    def suits(column: Column) -> bool:
        columns = tuple(column if one.index == column.index else one for one in mapping.columns)
        found = against(sheet, replace(mapping, columns=columns), said)
        return column.field is not None and column.index not in found

    return suits


def with_samples(mapping: SheetMapping, sheet: Sheet) -> SheetMapping:
    """Give a mapping with samples of a sheet, for a person to look at."""
    body = sheet.head[mapping.header_row :]
    columns = (replace(c, samples=tuple(samples_of(body, c.index)[:3])) for c in mapping.columns)
    return replace(mapping, columns=tuple(columns))


def is_blank(sheet: Sheet) -> bool:
    """Tell whether nothing stands in a sheet."""
    return not any(text_of(cell) for _, cells in sheet.rows() for cell in cells)


def guessed_encoding(sheet: Sheet) -> Problem | None:
    """Say which encoding a text was read in where that was a guess; ``None`` where its bytes tell, or hold plain letters only."""
    if sheet.encoding in {"", "utf-8", "utf-8-sig", "utf-16"}:
        return None
    for number, cells in sheet.rows():
        for cell in cells:
            if isinstance(cell, str) and not cell.isascii():
                expected = f"a text in UTF-8; the file was read as {sheet.encoding}, which is a guess: if this is not what it should say, send it again and say its encoding (on the command line --encoding)"
                return Problem(
                    sheet.path.name, "", number, "", Code.GUESSED_ENCODING, Severity.WARNING, cell[:60], expected
                )
    return None


def columns_left_out(sheet: Sheet, mapping: SheetMapping) -> Problem | None:
    """Name the columns that are left out although something stands in them; ``None`` where there are none.

    Parameters
    ----------
    sheet : Sheet
        The sheet; its first rows tell. [unitless]
    mapping : SheetMapping
        How it is read. [unitless]
    """
    body = sheet.head[mapping.header_row :]
    own = mapping.table is Table.JOBS and own_versions(mapping.headings) is not None
    known = {"", WHAT_TO_MEND, *((AMENDED, VOID) if own else ())}
    names = [
        column_name(column.index, f"'{column.heading}'")
        for column in mapping.columns
        if column.field is None and column.heading not in known and samples_of(body, column.index)
    ]
    if not names:
        return None
    shown = ", ".join(names[:_NAMED]) + (f" and {len(names) - _NAMED} more" if len(names) > _NAMED else "")
    are, it = ("columns are", "one of them") if len(names) > 1 else ("column is", "it")
    told = (
        f"{len(names)} filled {are} left out: {shown}. Where {it} says something that the book keeps, say what it is: on the page "
        "beside its heading, or in the mapping"
    )
    return Problem(
        sheet.path.name, mapping.sheet, 0, "", Code.COLUMNS_LEFT_OUT, Severity.NOTE, "", told, is_sentence=True
    )
