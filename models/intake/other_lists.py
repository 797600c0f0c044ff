"""Other lists in one sheet: rows above the headings that are read, and headings of another list below them.

One row of headings is read to the end of a sheet.  A list that stands above it
would be lost without a word, and the columns of one below it mean something else.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from models.errors import UnreadableFileError
from models.intake import headings
from models.intake.cells import text_of
from models.intake.fields import Form, Table
from models.intake.mapping import SheetMapping
from models.intake.problems import Code, Problem, Severity
from models.intake.reading import Cell, Sheet

_SHARE: Final = 2 / 3
"""So much of a row is understood as headings where it is one; pairs of a name and a value above a list are less."""

_MARK: Final = "\ufeff"
"""What some programs write first into a text file; it stands in the middle where files were put behind each other."""

_OWN_PLACE: Final = "put each list into a sheet or a file of its own"

HEADINGS_AGAIN: Final = "a record; the headings stand here once more, and the row is left out"


def lists_above(sheet: Sheet, mapping: SheetMapping) -> Problem | None:
    """Tell of rows above the headings that are filled like records; ``None`` where there are only titles.

    Parameters
    ----------
    sheet : Sheet
        The sheet. [as typed]
    mapping : SheetMapping
        How it is read. [unitless]

    Returns
    -------
    Problem or None
        An error where they are of the same list, a warning where they are of another one or have no headings.
    """
    above = sheet.head[: mapping.header_row - 1]
    first = next(((number, table) for number, row in enumerate(above, start=1) if (table := _headings_of(row))), None)
    if first is not None:
        number, table = first
        lost = [
            n for n, row in enumerate(above, start=1) if n > number and len(_texts(row)) > 1 and not _headings_of(row)
        ]
        severity = Severity.ERROR if table is mapping.table else Severity.WARNING
        what = f"{_rows(lost)} under the headings of {table} in row {number}, above those that are read"
    else:
        wanted = max(3, (len(_texts(mapping.headings)) + 1) // 2)
        lost = [
            n for n, row in enumerate(above, start=1) if len(_texts(row)) >= wanted and _is_like_record(row, mapping)
        ]
        severity, what = Severity.WARNING, f"{_rows(lost)} above the headings, filled like records"
    if not lost:
        return None
    told = f"{what} (row {mapping.header_row}): nothing of that is read; {_OWN_PLACE}"
    return Problem(sheet.path.name, mapping.sheet, lost[0], "", Code.ROWS_ABOVE, severity, "", told, is_sentence=True)


def refuse_other_headings(mapping: SheetMapping, file: str, number: int, cells: Sequence[Cell]) -> None:
    """Refuse a sheet in which a row below the headings is that of another list: what follows would be taken for something else.

    Parameters
    ----------
    mapping : SheetMapping
        How the sheet is read. [unitless]
    file : str
        Name of the file. [unitless]
    number : int
        Number of the row. [unitless]
    cells : sequence of Cell
        A row below them; it may be a good record, as a list of words alone takes the headings of another for one. [as typed]

    Raises
    ------
    UnreadableFileError
        If they are headings of another list, and not the same again.
    """
    needed = [column.index for column in mapping.columns if column.field is not None and column.field.required]
    first = next((cell for cell in cells if cell is not None and cell != ""), None)
    heads = [*(cells[index] for index in needed if index < len(cells)), first]
    # Most rows are told by these: taking all of them apart would take longer than reading them.
    if not any(isinstance(cell, str) and headings.is_name(cell) for cell in heads):
        return
    table = _headings_of(cells) or _headings_of(cells, needs_readings=False, least=3)
    if table is None or _is_same_again(mapping, cells):
        return
    where = f"{file} › {mapping.sheet}" if mapping.sheet else file
    remedy = f"{_OWN_PLACE[0].upper()}{_OWN_PLACE[1:]}, and send them again."
    if table is not mapping.table:
        raise UnreadableFileError(
            f"{where}, row {number}: here another list begins (the headings of {table}, below a list of {mapping.table}); nothing was imported.",
            remedy=remedy,
        )
    for column in mapping.columns:
        text = text_of(cells[column.index]) if column.index < len(cells) else ""
        if column.field is None or not text or _is_own(text, column.heading):
            continue
        there, here = headings.take_apart(column.heading), headings.take_apart(text)
        if headings.meaning_of(here, mapping.table) != headings.meaning_of(there, mapping.table) or (
            headings.unit_for(here, column.field) != headings.unit_for(there, column.field)
        ):
            raise UnreadableFileError(
                f"{where}, row {number}: here another list begins ('{text}' stands under '{column.heading}'); nothing was imported.",
                remedy=remedy,
            )


def say_headings_again(mapping: SheetMapping, cells: Sequence[Cell]) -> bool:
    """Tell whether a row is no record but the headings once more: all that a record needs is there, and is its own heading."""
    needed = [column.index for column in mapping.columns if column.field is not None and column.field.required]
    own = mapping.headings
    return all(at < len(cells) and _is_own(text_of(cells[at]), own[at]) for at in needed) and _is_same_again(
        mapping, cells
    )


def _is_same_again(mapping: SheetMapping, cells: Sequence[Cell]) -> bool:
    """Tell whether a row says the headings of a mapping once more, as each page of a printed list does."""
    texts = [text_of(cell) for cell in cells]
    return all(not text or _is_own(text, own) for text, own in zip(texts, mapping.headings, strict=False))


def _is_own(text: str, own: str) -> bool:
    """Tell whether a text is a heading, or one to which a unit was added that stands below it."""
    text = text.strip(_MARK)
    return text == own or (own.startswith(f"{text} [") and own.endswith("]"))


def _headings_of(row: Sequence[Cell], *, needs_readings: bool = True, least: int = 2) -> Table | None:
    """Say of which list a row is the headings; ``None`` where it is none, or fewer than the least number of them are understood."""
    texts = [text for cell in row if isinstance(cell, str) and (text := text_of(cell))]
    if len(texts) < len(_texts(row)):
        return None  # a number or a date is no heading
    taken = headings.in_row(texts)
    scores = {table: headings.score(taken, table, needs_readings=needs_readings) for table in Table}
    best = max(scores, key=lambda table: scores[table])
    return best if scores[best] >= max(least, _SHARE * len(texts)) else None


def _texts(row: Sequence[Cell]) -> list[str]:
    return [text for cell in row if (text := text_of(cell))]


def _is_like_record(row: Sequence[Cell], mapping: SheetMapping) -> bool:
    """Tell whether a row has what a record needs in its columns: pairs of names and values over a list have not."""
    texts = _texts(row)
    if (
        texts == [str(number) for number in range(1, len(texts) + 1)]
        or sum(any(map(str.isdigit, text)) for text in texts) < 2
    ):
        return False  # the numbers of the columns, or words alone
    for column in mapping.columns:
        if column.field is not None and column.field.required:
            text = text_of(row[column.index]) if column.index < len(row) else ""
            if not text or (column.field.form in {Form.DATE, Form.MOMENT} and not any(map(str.isdigit, text))):
                return False
    return True


def _rows(numbers: Sequence[int]) -> str:
    if not numbers:
        return ""
    return f"row {numbers[0]} stands" if len(numbers) == 1 else f"rows {numbers[0]} to {numbers[-1]} stand"
