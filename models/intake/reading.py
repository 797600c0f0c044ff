"""Files to sheets of cells: CSV of any common delimiter and encoding, and XLSX.

Rows are counted as a spreadsheet shows them, from 1, blank rows included, so
that a problem can name the row that a person sees.
"""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from itertools import chain, islice
from pathlib import Path

from models.errors import UnreadableFileError
from models.intake.plain_text import unguarded

Cell = str | float | int | bool | date | datetime | time | timedelta | None
"""What a cell can hold; a CSV holds only text."""

DELIMITERS = ",;\t|"
_SAMPLE = 1 << 18
MAX_CELL = 1 << 20
_ENOUGH_TO_GUESS = 30
_AT_ONCE = 2_000
END = "\ue000 end of the file \ue000"  # a private character, so that no file holds it
_SUFFIXES = {".xlsx", ".xlsm", ".xls", ".xlsb", ".ods"}
"""What is called a workbook; of the last two it is said that they are not read."""


class CutRow(list[Cell]):
    """A row in which a CSV breaks off: the file did not come whole."""


class AcrossRow(tuple[Cell, ...]):
    """A row of one text that is merged over several columns, and of nothing else."""

    __slots__ = ()


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet of a file; a CSV is one sheet without a name.

    ``head`` holds the first rows for a look; :meth:`rows` reads them all.
    ``sha256`` is the digest of the file before anything of it was read, ``hidden`` tells whether a spreadsheet does not show the sheet;
    ``merged`` holds the first and the last cell of each merged range of a workbook, rows and columns from 0.
    """

    path: Path
    name: str
    encoding: str = ""
    delimiter: str = ""
    head: tuple[tuple[Cell, ...], ...] = ()
    sha256: str = ""
    hidden: bool = False
    merged: tuple[tuple[tuple[int, int], tuple[int, int]], ...] = ()
    _cells: tuple[tuple[Cell, ...], ...] = field(default=(), repr=False)

    @property
    def length(self) -> int:
        """Give the number of rows of a workbook's sheet; a CSV has not been counted."""
        return len(self._cells)

    def rows(self) -> Iterator[tuple[int, list[Cell] | tuple[Cell, ...]]]:
        """Give each row with its number, from the first; the last of a CSV as a :class:`CutRow` where it breaks off."""
        if self.delimiter:
            yield from enumerate(_csv_rows(self.path, self.encoding, self.delimiter), start=1)
        else:
            yield from enumerate(self._cells, start=1)


def read_sheets(path: Path, *, encoding: str = "", most_text: int | None = None) -> tuple[Sheet, ...]:
    """Open a file and give its sheets.

    Parameters
    ----------
    path : pathlib.Path
        A CSV or a workbook. [unitless]
    encoding : str
        Encoding of a CSV, where the person knows better than the guess. [unitless]
    most_text : int, optional
        Text in all cells of a workbook; where none is given, what :mod:`models.intake.guarding` allows. [byte]

    Raises
    ------
    UnreadableFileError
        If there is no such file or it is neither a CSV nor a workbook.
    """
    if not path.is_file():
        raise UnreadableFileError(
            f"There is no file {path}.", remedy="Check the name; several files may be given at once."
        )
    before = digest(path)
    sheets = _workbook(path, most_text) if path.suffix.lower() in _SUFFIXES else (_csv_sheet(path, encoding),)
    return tuple(replace(sheet, sha256=before) for sheet in sheets)


def digest(path: Path) -> str:
    """Give the SHA-256 of a file, in hexadecimal."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _workbook(path: Path, most_text: int | None) -> tuple[Sheet, ...]:
    from xml.etree.ElementTree import ParseError
    from zipfile import BadZipFile

    from python_calamine import CalamineError, CalamineWorkbook, SheetVisibleEnum

    from models.intake.guarding import MOST_TEXT, check_workbook  # a text file is no archive
    from models.intake.number_formats import formatted_cells, show
    from models.intake.spoilt import overlay, spoilt_cells

    check_workbook(path, most_text or MOST_TEXT)
    try:
        book = CalamineWorkbook.from_path(str(path))
        spoilt, formats = spoilt_cells(path), formatted_cells(path)
        sheets = []
        hidden = {one.name for one in book.sheets_metadata if one.visible != SheetVisibleEnum.Visible}
        for name in book.sheet_names:
            # skip_empty_area would drop leading blank rows and shift every row number in a message
            read = book.get_sheet_by_name(name)
            grid = read.to_python(skip_empty_area=False)
            show(grid, formats.get(name, {}))
            cells = tuple(tuple(row) for row in (overlay(grid, spoilt[name]) if name in spoilt else grid))
            merged = tuple(read.merged_cell_ranges or ())
            sheets.append(Sheet(path, name, head=cells[:60], hidden=name in hidden, merged=merged, _cells=cells))
    except BaseException as fault:
        # A panic of the reader is no Exception, and is told from others by its name only.
        known = CalamineError | OSError | ValueError | BadZipFile | ParseError
        if not isinstance(fault, known) and type(fault).__name__ != "PanicException":
            raise
        raise UnreadableFileError(
            f"{path.name} cannot be read as a workbook ({fault}).",
            remedy="Open it in a spreadsheet program and save it again as XLSX or CSV.",
        ) from fault
    return tuple(sheets)


def _csv_sheet(path: Path, encoding: str) -> Sheet:
    with path.open("rb") as stream:
        sample = stream.read(_SAMPLE)
    if not sample.strip():
        raise UnreadableFileError(f"{path.name} is empty.", remedy="Send the file that holds the rows.")
    chosen = encoding or _encoding_of(sample, path)
    try:
        text = sample.decode(chosen, errors="strict" if len(sample) < _SAMPLE else "ignore")
    except (UnicodeDecodeError, LookupError) as fault:
        raise UnreadableFileError(
            f"{path.name} cannot be read as {chosen} ({fault}).", remedy="Give its encoding, e.g. --encoding cp1252."
        ) from fault
    if "\x00" in text:
        raise UnreadableFileError(
            f"{path.name} is not a text file.", remedy="Save it as CSV or XLSX; other formats are not read."
        )
    delimiter = _delimiter_of(text)
    head: list[tuple[Cell, ...]] = []
    for row in parse(io.StringIO(text, newline=""), delimiter, path):
        head.append(tuple(row))
        if len(head) == 60:
            break
    return Sheet(path, "", encoding=chosen, delimiter=delimiter, head=tuple(head))


def _encoding_of(sample: bytes, path: Path) -> str:
    for mark, name in ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16")):
        if sample.startswith(mark):
            return name
    if _is_utf8(path):
        return "utf-8"
    if sum(byte > 127 for byte in sample) < _ENOUGH_TO_GUESS:
        return "cp1252"  # a guess from a handful of letters is no better than the commonest encoding
    from charset_normalizer import from_bytes

    best = from_bytes(sample, cp_isolation=["cp1252", "cp1250", "cp1251", "cp1253", "cp1254", "mac_roman"]).best()
    return best.encoding if best else "cp1252"


def _is_utf8(path: Path) -> bool:
    """Look at the whole file: a name with an accent may stand in its last line."""
    try:
        with path.open(encoding="utf-8", errors="strict", newline="") as stream:
            while stream.read(1 << 20):
                pass
    except UnicodeDecodeError as fault:
        # One odd byte at the end of plain letters is another encoding; after characters of UTF-8 it is a cut.
        if fault.reason == "unexpected end of data" and not path.read_bytes()[:-3].isascii():
            raise UnreadableFileError(
                f"{path.name} ends in the middle of a character: it did not come whole.",
                remedy="Send the file again, or give its encoding, e.g. --encoding cp1252, if it is another.",
            ) from fault
        return False
    return True


def _delimiter_of(text: str) -> str:
    """Choose the delimiter that cuts most of the first rows into the same number of cells, more than one."""
    lines = text.splitlines(keepends=True)[:200]
    best, best_score = ",", -1.0
    for mark in DELIMITERS:
        try:
            widths = [len(row) for row in csv.reader(lines, delimiter=mark) if row]
        except csv.Error:
            continue
        if not widths:
            continue
        common = max(set(widths), key=widths.count)
        if common < 2:
            continue
        score = widths.count(common) / len(widths) + common / 1000.0
        if score > best_score:
            best, best_score = mark, score
    return best


def _csv_rows(path: Path, encoding: str, delimiter: str) -> Iterator[list[Cell]]:
    try:
        with path.open(encoding=encoding, newline="") as stream:
            yield from marked(parse(chain(stream, (END,)), delimiter, path), ends_open=ends_open_of(path, encoding))
    except UnicodeDecodeError as fault:
        raise UnreadableFileError(
            f"{path.name} cannot be read as {encoding} ({fault}).", remedy="Give its encoding, e.g. --encoding cp1252."
        ) from fault


def ends_open_of(path: Path, encoding: str) -> bool:
    """Tell whether the last line of a file has no end."""
    with path.open("rb") as stream:
        stream.seek(max(0, path.stat().st_size - 2))
        end = stream.read()
    return end not in {"\n".encode(encoding)[-2:], "\r".encode(encoding)[-2:]} and end[-1:] not in {b"\n", b"\r"}


def marked(rows: Iterator[list[Cell]], *, ends_open: bool, width: int = 0) -> Iterator[list[Cell]]:
    """Give rows up to the mark at the end; the last one as a cut row where the file breaks off in it.

    It does so where the mark has become part of it (a quotation is open), or
    where it has neither the end of a line nor as many cells as the row before;
    ``width`` is the number of cells of what stands before the first row.
    """
    while chunk := list(islice(rows, _AT_ONCE)):
        following = list(islice(rows, 1))
        if following:
            rows = chain(following, rows)
            if len(following[0]) != 1 or following[0][0] != END:
                width = len(chunk[-1])
                yield from chunk
                continue
        if chunk[-1] == [END]:
            chunk.pop()
        last = chunk[-1] if chunk else []
        before = len(chunk[-2]) if len(chunk) > 1 else width
        open_quote = bool(last) and isinstance(last[-1], str) and last[-1].endswith(END)
        if open_quote:
            last[-1] = str(last[-1]).removesuffix(END)
        if open_quote or (ends_open and 0 < len(last) < before and any(last)):
            chunk[-1] = CutRow(last)
        yield from chunk
        return


def parse(stream: Iterator[str], delimiter: str, path: Path, before: int = 0) -> Iterator[list[Cell]]:
    """Cut lines into rows of cells; ``before`` is the number of lines that stand before the first."""
    csv.field_size_limit(MAX_CELL)
    reader = csv.reader(stream, delimiter=delimiter)
    try:
        for row in reader:
            # An apostrophe before what would be a formula is a spreadsheet's mark for text, and ours: it is no part of it.
            cells: list[Cell] = [*row]
            yield [unguarded(cell) for cell in row] if "'" in "".join(row) else cells
    except csv.Error as fault:
        raise UnreadableFileError(
            f"{path.name}, line {before + reader.line_num}: {fault}.",
            remedy="A quotation mark may be missing on this line.",
        ) from fault
