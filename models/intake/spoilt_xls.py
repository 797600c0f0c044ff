"""Of the old form of workbooks (XLS) what its reader does not give: error values, which it takes for blank cells, and number formats.

Such a file is a small file system of its own, and in it one stream of records;
only those that hold errors, or formats and numbers, are looked at.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final

_SIGN: Final = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_HEADER: Final = 512
_ENTRY: Final = 128
_LAST: Final = 0xFFFFFFFA
"""From this number on a sector is none: the end of a chain, or free."""

_END, _FORMULA, _SHEET, _ERROR = 0x000A, 0x0006, 0x0085, 0x0205
_FORMAT, _STYLE, _SIDE_BY_SIDE = 0x041E, 0x00E0, 0x00BD
_NUMBERS: Final = frozenset({0x0203, 0x027E, _FORMULA})
_OLDER: Final = b"\x00\x05"
"""What the first record says in files of before 1997: their texts have a length of one byte, and no mark for wide letters."""

_PERCENT: Final = {9: "0%", 10: "0.00%"}
"""Formats that no file has to bring, and that show a number a hundred times as large."""

_TEXTS: Final = {0: "#NULL!", 7: "#DIV/0!", 15: "#VALUE!", 23: "#REF!", 29: "#NAME?", 36: "#NUM!", 42: "#N/A"}

Cells = dict[tuple[int, int], str]


def spoilt_cells_of_xls(path: Path) -> dict[str, Cells]:
    """Give the error values of each sheet: text by row and column, both from 0.

    Parameters
    ----------
    path : pathlib.Path
        A workbook of the old form; of any other file nothing is found. [unitless]

    Raises
    ------
    ValueError
        If the file is not put together as it should be.
    """
    found = _of_workbook(path, lambda stream: {name: dict(_errors(stream, start)) for name, start in _sheets(stream)})
    return {name: cells for name, cells in found.items() if cells}


def formats_of_xls(path: Path) -> dict[str, Cells]:
    """Give the number format of each cell with a number, sheet by sheet: its code by row and column, both from 0.

    Only codes that the file itself brings are given, and those of percentages.

    Parameters
    ----------
    path : pathlib.Path
        A workbook of the old form; of any other file nothing is found. [unitless]

    Raises
    ------
    ValueError
        If the file is not put together as it should be.
    """
    return _of_workbook(path, formats_in)


def _of_workbook(path: Path, take: Callable[[bytes], dict[str, Cells]]) -> dict[str, Cells]:
    """Take something out of the records of a workbook of the old form; of any other file nothing."""
    data = path.read_bytes()
    if not data.startswith(_SIGN):
        return {}
    try:
        return take(_Streams(data).workbook())
    except (struct.error, IndexError) as fault:
        raise ValueError(f"it ends where it should go on: {fault}") from fault


def formats_in(stream: bytes) -> dict[str, Cells]:
    """Give the same out of the records of a workbook.

    Parameters
    ----------
    stream : bytes
        The records. [as stored]
    """
    codes, styles = dict(_PERCENT), list[str]()
    is_older = stream[4:6] == _OLDER
    for kind, record in _records(stream, 0):
        if kind == _FORMAT and is_older:
            codes[struct.unpack_from("<H", record)[0]] = record[3 : 3 + record[2]].decode("latin-1")
        elif kind == _FORMAT:
            number, count, wide = *struct.unpack_from("<HH", record), record[4] & 1
            text = record[5 : 5 + count * (2 if wide else 1)]
            codes[number] = text.decode("utf-16-le" if wide else "latin-1", "replace")
        elif kind == _STYLE:
            styles.append(codes.get(struct.unpack_from("<H", record, 2)[0], ""))
    return {name: dict(_formatted(stream, start, styles)) for name, start in _sheets(stream)} if any(styles) else {}


def _formatted(stream: bytes, start: int, styles: list[str]) -> Iterator[tuple[tuple[int, int], str]]:
    """Give the formats of cells with numbers; a record may hold one number, or several side by side."""
    for kind, record in _records(stream, start):
        if kind in _NUMBERS:
            row, column, style = struct.unpack_from("<HHH", record)
            found = [(column, style)]
        elif kind == _SIDE_BY_SIDE:
            row, column = struct.unpack_from("<HH", record)
            places = range(4, len(record) - 2, 6)
            found = [(column + n, struct.unpack_from("<H", record, at)[0]) for n, at in enumerate(places)]
        else:
            continue
        yield from (((row, place), styles[style]) for place, style in found if style < len(styles) and styles[style])


class _Streams:
    """The file system: chains of sectors, and for small streams chains of small ones inside of one chain."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        shift = struct.unpack_from("<H", data, 30)[0]
        if shift not in {9, 12}:
            raise ValueError("its sectors have no size that there is")
        self._size = 1 << shift
        first, _, self._cutoff, mini, _, more, _ = struct.unpack_from("<7I", data, 48)
        tables = [*struct.unpack_from("<109I", data, 76)]
        seen = 0
        while more < _LAST and seen * self._size < len(data):
            numbers = self._numbers(self._sector(more))
            tables, more, seen = [*tables, *numbers[:-1]], numbers[-1], seen + 1
        # Each table once: a file that names one a million times would ask for more memory than it has itself.
        once = dict.fromkeys(table for table in tables if table < _LAST)
        self._next = [number for table in once for number in self._numbers(self._sector(table))]
        self._mini_next = self._numbers(self._chain(mini))
        self._directory = self._chain(first)

    def _sector(self, number: int) -> bytes:
        start = max(_HEADER, self._size) + number * self._size
        return self._data[start : start + self._size]

    @staticmethod
    def _numbers(data: bytes) -> list[int]:
        return list(struct.unpack(f"<{len(data) // 4}I", data[: len(data) // 4 * 4]))

    def _chain(self, number: int) -> bytes:
        return b"".join(self._sector(place) for place in _followed(number, self._next))

    def workbook(self) -> bytes:
        """Give the stream of records."""
        entries = [self._directory[at : at + _ENTRY] for at in range(0, len(self._directory), _ENTRY)]
        small = self._chain(struct.unpack_from("<I", entries[0], 116)[0])
        for entry in entries:
            length, first, size = *struct.unpack_from("<H", entry, 64), *struct.unpack_from("<II", entry, 116)
            if entry[: max(0, length - 2)].decode("utf-16-le", "replace").lower() not in {"workbook", "book"}:
                continue
            if size >= self._cutoff:
                return self._chain(first)[:size]
            places = _followed(first, self._mini_next)
            return b"".join(small[place * 64 : place * 64 + 64] for place in places)[:size]
        raise ValueError("it holds no workbook")


def _followed(number: int, following: list[int]) -> Iterator[int]:
    for _ in range(len(following) + 1):  # a chain that bites its tail would have no end
        if number >= _LAST:
            return
        yield number
        number = following[number]
    raise ValueError("a chain of sectors has no end")


def _records(stream: bytes, start: int) -> Iterator[tuple[int, bytes]]:
    """Give the records from a place up to the next end; a sheet may hold charts, which have an end of their own."""
    depth = 0
    while start + 4 <= len(stream):
        kind, length = struct.unpack_from("<HH", stream, start)
        yield kind, stream[start + 4 : start + 4 + length]
        start += 4 + length
        depth += (kind & 0xFF == 0x09) - (kind == _END)
        if depth <= 0:
            return


def _sheets(stream: bytes) -> Iterator[tuple[str, int]]:
    """Give the sheets by name, with the places where they begin."""
    for kind, record in _records(stream, 0):
        if kind == _SHEET:
            wide = record[7] & 1
            count = record[6] * (2 if wide else 1)
            yield record[8 : 8 + count].decode("utf-16-le" if wide else "latin-1"), struct.unpack_from("<I", record)[0]


def _errors(stream: bytes, start: int) -> Iterator[tuple[tuple[int, int], str]]:
    for kind, record in _records(stream, start):
        if kind == _ERROR and record[7]:
            code = record[6]
        elif kind == _FORMULA and record[6] == 2 and record[12:14] == b"\xff\xff":
            code = record[8]
        else:
            continue
        row, column = struct.unpack_from("<HH", record)
        yield (row, column), _TEXTS.get(code, "#VALUE!")
