"""The rows that came back: a file with the same headings and one more column that says what to mend.

Each row stands as it was, but for a date of which only the other rows of the file
told whether the day stands first: it is spelt out, or it would be read anew, and
perhaps the other way round, where those rows are missing.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime, time
from itertools import count
from pathlib import Path

from models.errors import NotAQuantityError
from models.intake.dates import spelt_out
from models.intake.mapping import WHAT_TO_MEND, SheetMapping
from models.intake.plain_text import guarded
from models.intake.reading import Cell
from models.intake.shown_cells import Shown
from models.intake.whole_digits import WholeDigits


@dataclass(frozen=True, slots=True)
class Bad:
    """The refused rows of one sheet: each as it stood, with what is wrong; ``by_rows`` as in its source."""

    mapping: SheetMapping
    rows: Sequence[tuple[tuple[Cell, ...], str]]
    by_rows: bool = False

    def shown(self, cells: Sequence[Cell]) -> list[Cell]:
        """Give the cells of a row as they are written."""
        written = list(cells)
        for place in self.mapping.number_columns:
            cell = written[place] if place < len(written) else None
            if isinstance(cell, Shown):
                written[place] = cell.shown  # without its format the bare number would be read in another unit
        for place in self.mapping.date_columns if self.by_rows else ():
            cell = written[place] if place < len(written) else None
            if isinstance(cell, str):
                with suppress(NotAQuantityError):  # what nobody could tell stays as it stood
                    written[place] = spelt_out(cell, self.mapping.order)
        return written


def reserve(source: Path) -> Path:
    """Take a name beside a file for its rows to mend; a file that is there already stays, perhaps half mended.

    Raises
    ------
    OSError
        If no file can be made there.
    """
    suffix = ".csv" if source.suffix.lower() in {"", ".csv", ".txt", ".tsv"} else ".xlsx"
    stem = re.sub(r"\.to-mend(-\d+)?$", "", source.stem)
    for number in count(1):
        path = source.with_name(f"{stem}.to-mend{f'-{number}' if number > 1 else ''}{suffix}")
        if not path.exists():
            with suppress(FileExistsError), path.open("x"):
                return path
    raise AssertionError("numbers do not end")


def write_mend(path: Path, sheets: Sequence[Bad], *, delimiter: str = ",") -> None:
    """Write the refused rows so that they can be mended and sent again.

    The headings stand on the same row as in the original, so that the kept
    mapping reads the file.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    if path.suffix == ".csv":
        _write_csv(path, sheets[0], delimiter or ",")
    else:
        _write_workbook(path, sheets)


def _width(bad: Bad) -> int:
    return max([len(bad.mapping.headings), *(len(cells) for cells, _ in bad.rows)])


def _write_csv(path: Path, bad: Bad, delimiter: str) -> None:
    # Cells beyond the headings go behind what is to mend: read again, they are too many still.
    width = len(bad.mapping.headings)
    with path.open("w", encoding="utf-8-sig", newline="") as stream:
        writer = csv.writer(stream, delimiter=delimiter)
        for _ in range(bad.mapping.header_row - 1):
            writer.writerow([])
        headings = [guarded(str(heading)) for heading in bad.mapping.headings]
        writer.writerow([*headings, WHAT_TO_MEND])
        for cells, why in bad.rows:
            # Nothing that was refused may be evaluated where it is mended; reading takes the apostrophe off again.
            shown = [guarded(cell) if isinstance(cell, str) else cell for cell in _padded(bad.shown(cells), width)]
            writer.writerow([*shown[:width], why, *shown[width:]])


def _padded(cells: Sequence[Cell], width: int) -> list[Cell]:
    return [*cells, *([""] * (width - len(cells)))]


def _write_workbook(path: Path, sheets: Sequence[Bad]) -> None:
    import xlsxwriter

    held = io.BytesIO()
    book = xlsxwriter.Workbook(held, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False})
    days = book.add_format({"num_format": "yyyy-mm-dd"})
    minutes, seconds, clock, clock_seconds = (
        book.add_format({"num_format": form})
        for form in ("yyyy-mm-dd hh:mm", "yyyy-mm-dd hh:mm:ss.000", "hh:mm", "hh:mm:ss.000")
    )
    named: set[str] = set()
    for bad in sheets:
        sheet = book.add_worksheet(_sheet_name(bad.mapping.sheet, named))
        header = bad.mapping.header_row - 1
        width = _width(bad)
        for column, text in enumerate([*_padded(bad.mapping.headings, width), WHAT_TO_MEND]):
            sheet.write_string(header, column, str(text))
        for row, (cells, why) in enumerate(bad.rows, start=header + 1):
            for column, cell in enumerate(bad.shown(cells)):
                if isinstance(cell, datetime):
                    sheet.write_datetime(row, column, cell, seconds if cell.second or cell.microsecond else minutes)
                elif isinstance(cell, time):
                    sheet.write_datetime(row, column, cell, clock_seconds if cell.second or cell.microsecond else clock)
                elif isinstance(cell, date):
                    sheet.write_datetime(row, column, cell, days)
                elif isinstance(cell, bool):
                    sheet.write_boolean(row, column, cell)
                elif isinstance(cell, int | float) and math.isfinite(cell):
                    sheet.write_number(row, column, WholeDigits(cell) if isinstance(cell, float) else cell)
                elif cell not in (None, ""):
                    sheet.write_string(row, column, str(cell))
            sheet.write_string(row, width, why)
    book.close()
    path.write_bytes(held.getvalue())


def _sheet_name(wanted: str, named: set[str]) -> str:
    """Give the name of a sheet, or where a workbook may not have it, one that it may."""
    name = re.sub(r"[\[\]:*?/\\\x00-\x1f]", " ", wanted).strip(" '")[:31] or "rows"
    plain, number = name, 2
    while name.casefold() in named:
        name, number = f"{plain[:27]} {number}", number + 1
    named.add(name.casefold())
    return name
