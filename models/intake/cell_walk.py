"""Cells of a sheet that are written in no usual way, counted one by one as the reader of workbooks counts them.

Every program that people use writes ``<c r="B7" …>``; the format allows a cell
without its place, a prefix before each name, and more.  Such a sheet is rare: it
is taken apart as XML, and what is not put together as a sheet should be is
refused, for another reader could see other cells in it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Final
from xml.parsers import expat

MOST_ROWS: Final = 1 << 20
MOST_COLUMNS: Final = 1 << 14
"""Rows and columns of a sheet, as the format has them."""

_ODD: Final = re.compile(rb'<c(?! r="[A-Z]{1,3}[0-9]{1,7}")[\s/>]')
_PREFIXED: Final = re.compile(rb":c[\s/>]")
_PLACE: Final = re.compile(r"([A-Za-z]{1,3})([0-9]{1,7})")
_ROW: Final = re.compile(r"[0-9]{1,7}")
_MOST_TEXT: Final = 1 << 15
_PARTS: Final = {"f", "v"}


@dataclass(frozen=True, slots=True)
class WalkedCell:
    """A cell: row and column from 0, what its tag says, and the texts of formula and value; ``None`` where it has none."""

    row: int
    column: int
    said: dict[str, str]
    formula: str | None
    value: str | None


def is_usual(piece: bytes) -> bool:
    """Tell whether each cell of a piece of a sheet says where it stands, in the one way in which programs write it.

    Parameters
    ----------
    piece : bytes
        A piece that holds whole tags. [as stored]
    """
    return _ODD.search(piece) is None and _PREFIXED.search(piece) is None


def column_number(letters: str) -> int:
    """Give the number of a column, from 1, by its letters."""
    number = 0
    for letter in letters.upper():
        number = number * 26 + ord(letter) - 64
    return number


def walk(pieces: Iterable[bytes], take: Callable[[WalkedCell], None], each: Callable[[], None] | None = None) -> None:
    """Go through a whole sheet.

    Parameters
    ----------
    pieces : iterable of bytes
        The sheet, from its beginning. [as stored]
    take : callable
        Is given each cell. [unitless]
    each : callable, optional
        Is called after each piece. [unitless]

    Raises
    ------
    ValueError
        If it is not put together as a sheet is.
    """
    walker = _Walker(take)
    try:
        for piece in pieces:
            walker.parser.Parse(piece, False)
            if each is not None:
                each()
        walker.parser.Parse(b"", True)
    except expat.ExpatError as fault:
        raise ValueError(f"a sheet is no XML: {fault}") from fault


class _Walker:
    """Counts as the reader does: what a cell does not say follows from the one before, and from its row."""

    def __init__(self, take: Callable[[WalkedCell], None]) -> None:
        # Whatever the sheet says of its encoding: in another one cells could stand that are not seen here.
        self.parser = expat.ParserCreate("utf-8")
        self.parser.buffer_text = True
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = self._end
        self.parser.CharacterDataHandler = self._text
        self.parser.StartDoctypeDeclHandler = self._defines
        self._take = take
        self._depth, self._data = 0, 0
        self._row, self._column = 0, 0
        self._in_row = self._is_over = False
        self._cell: tuple[int, int, dict[str, str]] | None = None
        self._found: dict[str, str] = {}
        self._part = ""

    def _start(self, name: str, said: dict[str, str]) -> None:
        self._depth += 1
        part = name.rpartition(":")[2]
        if self._is_over:
            return
        if not self._data:
            self._data = self._depth if part == "sheetData" else 0
            return
        within = self._depth - self._data
        if part == "row":
            if within != 1:
                raise ValueError("a row stands where none can stand")
            self._in_row = True
            if (place := said.get("r")) is not None:
                self._row = _bounded(place if _ROW.fullmatch(place) else "", MOST_ROWS)
        elif part == "c":
            if within != 2 or not self._in_row:
                raise ValueError("a cell stands where none can stand")
            self._begin(said)
        elif within == 3 and self._cell is not None and part in _PARTS:
            self._part = part
            self._found.setdefault(part, "")

    def _begin(self, said: dict[str, str]) -> None:
        row = self._row
        if (place := said.get("r")) is not None:
            found = _PLACE.fullmatch(place)
            if found is None:
                raise ValueError("a cell stands nowhere")
            row, self._column = _bounded(found[2], MOST_ROWS), column_number(found[1]) - 1
        if row >= MOST_ROWS or self._column >= MOST_COLUMNS:
            raise ValueError("a cell stands outside of its sheet")
        self._cell, self._found = (row, self._column, said), {}

    def _text(self, text: str) -> None:
        if self._part and len(self._found[self._part]) < _MOST_TEXT:
            self._found[self._part] += text

    def _end(self, name: str) -> None:
        within = self._depth - self._data
        self._depth -= 1
        if not self._data or self._is_over:
            return
        if within == 3:
            self._part = ""
        elif within == 2 and self._cell is not None:
            row, column, said = self._cell
            self._take(WalkedCell(row, column, said, self._found.get("f"), self._found.get("v")))
            self._cell, self._column = None, self._column + 1
        elif within == 1 and name.rpartition(":")[2] == "row":
            self._row, self._column, self._in_row = self._row + 1, 0, False
        elif within == 0:
            self._is_over = True

    @staticmethod
    def _defines(*_: object) -> None:
        raise ValueError("a sheet holds definitions of its own")


def _bounded(number: str, most: int) -> int:
    """Give a number that counts from 1 as one from 0."""
    if not number or not 1 <= int(number) <= most:
        raise ValueError("a row has a number that none can have")
    return int(number) - 1
