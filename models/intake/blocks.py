"""A large CSV in chunks of rows, read in columns where nothing stands in the way.

Where no cell is quoted and every row has as many cells as the others, cutting a
chunk at all its delimiters at once gives its columns; the rows that somebody wants
to see one by one are cut when they are asked for.  From the first line on that is
not so, the rows are read as they always are.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import chain, compress, islice

from models.errors import UnreadableFileError
from models.intake.beyond import Beyond
from models.intake.reading import END, MAX_CELL, Cell, Sheet, ends_open_of, marked, parse

_HELD = 2
"""Lines at the end of a file that are read the usual way, which sees whether it breaks off."""


@dataclass(frozen=True, slots=True)
class Chunk:
    """Some rows of a sheet, one after the other, the first with the number ``first``."""

    first: int
    rows: Sequence[list[Cell] | tuple[Cell, ...]]

    def __len__(self) -> int:
        return len(self.rows)

    def numbered(self, at: int) -> tuple[int, Sequence[Cell]]:
        """Give a row, by its place in the chunk, with its number in the sheet."""
        return self.first + at, self.rows[at]

    def columns(self, width: int, beyond: Beyond) -> tuple[list[bool], list[Sequence[str]]]:
        """Tell which rows are whole, have so many cells at least and nothing beyond their headings, and give the columns of those.

        Parameters
        ----------
        width : int
            Number of columns that are wanted. [unitless]
        beyond : Beyond
            The cells over which no heading stands. [unitless]
        """
        most = -1 if beyond.untold else beyond.cells
        whole = [
            type(cells) is list and len(cells) >= width and (len(cells) <= most or beyond.is_silent(cells))
            for cells in self.rows
        ]
        chosen = self.rows if all(whole) else list(compress(self.rows, whole))
        return whole, list(zip(*chosen, strict=False))


@dataclass(frozen=True, slots=True)
class Lines(Chunk):
    """Rows that are still lines: all with the same number of cells, none with a quotation."""

    text: str
    lines: Sequence[str]
    delimiter: str
    cells: int

    def __len__(self) -> int:
        return len(self.lines)

    def numbered(self, at: int) -> tuple[int, Sequence[Cell]]:
        """Give a row, by its place in the chunk, with its number in the sheet."""
        return self.first + at, [*self.lines[at].rstrip("\r\n").split(self.delimiter)]

    def columns(self, width: int, beyond: Beyond) -> tuple[list[bool], list[Sequence[str]]]:
        """Tell which rows have so many cells at least and nothing beyond their headings, and give the columns of those."""
        if self.cells < width:
            return [False] * len(self.lines), []
        flat = self.text.replace("\n", self.delimiter).split(self.delimiter)
        flat.pop()  # after the end of the last line
        columns: list[Sequence[str]] = [flat[place :: self.cells] for place in range(self.cells)]
        watched = [columns[place] for place in (*beyond.untold, *range(beyond.cells, self.cells)) if place < self.cells]
        if not any("".join(column).strip() for column in watched):
            return [True] * len(self.lines), columns
        whole = [not any(map(str.strip, cells)) for cells in zip(*watched, strict=True)]
        return whole, [list(compress(column, whole)) for column in columns]


class _Counted:
    """Lines with their number."""

    def __init__(self, lines: Iterator[str]) -> None:
        self._lines, self.number = lines, 0

    def __iter__(self) -> Iterator[str]:
        return self

    def __next__(self) -> str:
        line = next(self._lines)
        self.number += 1
        return line


def chunks(sheet: Sheet, after: int, size: int) -> Iterator[Chunk]:
    """Give the rows of a sheet in chunks.

    Parameters
    ----------
    sheet : Sheet
        A sheet; of one that is no CSV the rows are there already. [unitless]
    after : int
        Number of the row after which it begins. [unitless]
    size : int
        Rows of a chunk. [unitless]

    Raises
    ------
    UnreadableFileError
        If the file is no text in its encoding, or a quotation is not closed.
    """
    if not sheet.delimiter:
        rows = (cells for number, cells in sheet.rows() if number > after)
        yield from _of_rows(rows, after + 1, size)
        return
    try:
        with sheet.path.open(encoding=sheet.encoding, newline="") as stream:
            yield from _of_lines(sheet, _Counted(stream), after, size)
    except UnicodeDecodeError as fault:
        raise UnreadableFileError(
            f"{sheet.path.name} cannot be read as {sheet.encoding} ({fault}).",
            remedy="Give its encoding, e.g. --encoding cp1252.",
        ) from fault


def _of_rows(
    rows: Iterator[list[Cell]] | Iterator[list[Cell] | tuple[Cell, ...]], first: int, size: int
) -> Iterator[Chunk]:
    while chunk := list(islice(rows, size)):
        yield Chunk(first, chunk)
        first += len(chunk)


def _of_lines(sheet: Sheet, stream: _Counted, after: int, size: int) -> Iterator[Chunk]:
    head: list[Cell] = []
    for cells in islice(parse(stream, sheet.delimiter, sheet.path), after):
        head = cells
    first, held = after + 1, list[str]()
    while lines := [*held, *islice(stream, size)]:
        if len(lines) == len(held):
            break
        chunk = _plain(lines, first, sheet.delimiter)
        if chunk is None:
            held = lines
            break
        held = lines[-_HELD:]
        if len(lines) > _HELD:
            yield chunk
            first += len(chunk)
    before = stream.number - len(held)
    rows = parse(chain(held, stream, (END,)), sheet.delimiter, sheet.path, before)
    ends_open = ends_open_of(sheet.path, sheet.encoding)
    yield from _of_rows(marked(rows, ends_open=ends_open, width=len(head)), first, size)


def _plain(lines: list[str], first: int, delimiter: str) -> Lines | None:
    """Give all lines but those at the end as a chunk; ``None`` if they are more than cells between delimiters."""
    text = "".join(lines[:-_HELD])
    if "\r" in text:
        text = text.replace("\r\n", "\n")
    counts = {line.count(delimiter) for line in lines}
    if '"' in text or "'" in text or "\r" in text or len(counts) != 1 or max(map(len, lines)) > MAX_CELL:
        return None
    return Lines(first, (), text, lines[:-_HELD], delimiter, 1 + counts.pop())
