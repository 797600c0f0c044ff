"""The texts of some columns of a sheet, each once in a while: what is told by all rows is told by few texts."""

from __future__ import annotations

from collections.abc import Generator, Iterator, Sequence
from datetime import date, datetime
from itertools import islice

from models.intake.reading import Sheet

_AT_ONCE = 8_000


def text_of(cell: object) -> str:
    """Give a cell as a text, with single blanks."""
    if cell is None:
        return ""
    if isinstance(cell, datetime | date):
        return cell.isoformat()
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return " ".join(str(cell).split())


def texts_in(sheet: Sheet, header_row: int, columns: Sequence[int], *, most: int | None = None) -> Iterator[set[str]]:
    """Give the texts that stand in some columns of a sheet, those of a few thousand rows at a time.

    What a workbook holds as a number or a date is no text.  A text may come more than once.

    Parameters
    ----------
    sheet : Sheet
        The sheet. [unitless]
    header_row : int
        Number of its row of headings; what stands above is left out too. [unitless]
    columns : sequence of int
        Places of the columns. [unitless]
    most : int, optional
        How many characters of each text are wanted, where its beginning is enough. [unitless]

    Raises
    ------
    UnreadableFileError
        If the file is no text in its encoding, or a quotation is not closed.
    """
    if not columns or (sheet.delimiter and (yield from _of_lines(sheet, header_row, columns, most))):
        return
    rows = (cells for number, cells in sheet.rows() if number > header_row)
    while some := list(islice(rows, _AT_ONCE)):
        cells = (row[place] for row in some for place in columns if place < len(row))
        yield {cell[:most] for cell in cells if isinstance(cell, str)}


def _of_lines(
    sheet: Sheet, header_row: int, columns: Sequence[int], most: int | None
) -> Generator[set[str], None, bool]:
    """Give the texts of a file in which each line is a row; the end says whether it is such a one.

    Only what stands before the last of the columns is cut: reading all of a large
    file would take as long again as a good part of its import.
    """
    end, mark = 1 + max(columns), sheet.delimiter
    try:
        with sheet.path.open(encoding=sheet.encoding, newline="") as stream:
            if any('"' in line for line in islice(stream, header_row)):
                return False
            while lines := list(islice(stream, _AT_ONCE)):
                if '"' in "".join(lines):
                    return False
                cut = [line.split(mark, end) for line in lines]
                found: set[str] = set()
                for place in columns:
                    found.update([row[place][:most] for row in cut if len(row) > place])
                yield found
    except UnicodeDecodeError:
        return False  # the usual way says what is wrong, and where
    return True
