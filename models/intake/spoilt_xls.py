"""Of the old form of workbooks (XLS) what its reader does not give: error values, which it takes for blank cells, and number formats.

Such a file is a small file system of its own, and in it one stream of records;
only those that hold errors, or formats and numbers, are looked at.
"""

from __future__ import annotations

import struct
from collections import Counter
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
_SIZE, _SHARED, _GOES_ON, _POINTS, _MERGED = 0x0200, 0x00FC, 0x003C, 0x00FD, 0x00E5
_CELLS: Final = frozenset({*_NUMBERS, 0x0204, _ERROR, 0x00D6, _POINTS, 0x0206, 0x0406})
_BEGIN: Final = 0x09
"""The lower byte of what begins a workbook, a sheet, or a chart within it."""

_CUTOFF: Final = 4096
_NAME: Final = 64
_WORKBOOKS: Final = ("workbook", "book")
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


def rooms_of_xls(path: Path, most: int, most_merged: int) -> Iterator[tuple[int, int, int]]:
    """Give the room that its reader makes for each sheet: rows, columns, and how many cells are there.

    Formulas are a sheet of their own to the reader, and given as one.

    Parameters
    ----------
    path : pathlib.Path
        A workbook of the old form. [unitless]
    most : int
        Cells for which a sheet may ask. [unitless]
    most_merged : int
        Ranges of merged cells. [unitless]

    Raises
    ------
    ValueError
        If the file is not put together as it should be, or asks for more than it can hold.
    """
    try:
        for stream in _Streams(path.read_bytes()).workbooks():
            yield from rooms_in(stream, most, most_merged)
    except (struct.error, IndexError) as fault:
        raise ValueError(f"it ends where it should go on: {fault}") from fault


def rooms_in(stream: bytes, most: int, most_merged: int) -> Iterator[tuple[int, int, int]]:
    """Give the same out of the records of a workbook.

    Parameters
    ----------
    stream : bytes
        The records. [as stored]
    most : int
        Cells for which a sheet may ask. [unitless]
    most_merged : int
        Ranges of merged cells. [unitless]
    """
    _refuse_beginning(stream, 0)
    _refuse_texts(stream)
    left = len(stream)
    for _, start in _sheets(stream):
        _refuse_beginning(stream, start)
        cells, formulas = [0, 0, 0], [0, 0, 0]
        for kind, record in _records(stream, start):
            left -= 4 + len(record)
            if left < 0:
                raise ValueError("its sheets lie over one another")
            if kind in _CELLS:
                row, column = struct.unpack_from("<HH", record)
                for room in (cells, formulas) if kind == _FORMULA else (cells,):
                    _widen(room, row, column, 1)
            elif kind == _SIDE_BY_SIDE:
                row, column = struct.unpack_from("<HH", record)
                count = max(1, len(record) // 6 - 1)
                _widen(cells, row, column + count - 1, count)
            elif kind == _MERGED:
                most_merged -= len(record) // 8
                if most_merged < 0:
                    raise ValueError("it merges more cells than any sheet needs")
            elif kind == _SIZE:
                _refuse_size(record, most)
        yield cells[0], cells[1], cells[2]
        if formulas[2]:
            yield formulas[0], formulas[1], formulas[2]


def text_of_xls(path: Path) -> int:
    """Give the characters of text in all cells, each with the shared text that it points to.

    Parameters
    ----------
    path : pathlib.Path
        A workbook of the old form. [unitless]

    Raises
    ------
    ValueError
        If the file is not put together as it should be.
    """
    try:
        return sum(text_in(stream) for stream in _Streams(path.read_bytes()).workbooks())
    except (struct.error, IndexError) as fault:
        raise ValueError(f"it ends where it should go on: {fault}") from fault


def text_in(stream: bytes) -> int:
    """Give the same out of the records of a workbook.

    Parameters
    ----------
    stream : bytes
        The records. [as stored]
    """
    points: Counter[int] = Counter()
    for _, start in _sheets(stream):
        points.update(struct.unpack_from("<I", r, 6)[0] for kind, r in _records(stream, start) if kind == _POINTS)
    lengths = _shared_lengths(stream) if points else []
    return sum(times * lengths[place] for place, times in points.items() if place < len(lengths))


def _shared_lengths(stream: bytes) -> list[int]:
    """Give the length of each shared text; one may go on in the next record, whose first byte says how its letters are written."""
    parts: list[bytes] = []
    is_shared = False
    for kind, record in _records(stream, 0):
        is_shared = kind == _SHARED or (is_shared and kind == _GOES_ON)
        if kind == _SHARED:
            parts = []
        if is_shared:
            parts.append(record)
    lengths: list[int] = []
    if not parts:
        return lengths
    place, at = 0, 8
    for _ in range(struct.unpack_from("<I", parts[0], 4)[0]):
        if at >= len(parts[place]):
            place, at = place + 1, 0
        count, flags = struct.unpack_from("<HB", parts[place], at)
        at += 3
        behind = 0
        if flags & 8:
            behind, at = 4 * struct.unpack_from("<H", parts[place], at)[0], at + 2
        if flags & 4:
            behind, at = behind + struct.unpack_from("<I", parts[place], at)[0], at + 4
        lengths.append(count)
        size = 1 + (flags & 1)
        while (taken := min((len(parts[place]) - at) // size, count)) < count:
            place, at, count = place + 1, 1, count - max(taken, 0)
            size = 1 + (parts[place][0] & 1)
        at += count * size
        while at + behind > len(parts[place]):
            place, at, behind = place + 1, 0, behind - max(0, len(parts[place]) - at)
        at += behind
    return lengths


def _widen(room: list[int], row: int, column: int, count: int) -> None:
    room[0], room[1], room[2] = max(room[0], row + 1), max(room[1], column + 1), room[2] + count


def _refuse_beginning(stream: bytes, start: int) -> None:
    if struct.unpack_from("<H", stream, start)[0] & 0xFF != _BEGIN:
        raise ValueError("a sheet does not begin as one does")


def _refuse_texts(stream: bytes) -> None:
    for kind, record in _records(stream, 0):
        # Each text takes three bytes at least, and room for all of them is made beforehand.
        if kind == _SHARED and struct.unpack_from("<I", record, 4)[0] > len(stream) // 3:
            raise ValueError("it says that it holds more texts than it can")


def _refuse_size(record: bytes, most: int) -> None:
    """Refuse a sheet that says of itself that it is larger than any: its reader makes room for what it says."""
    first, last, left, right = struct.unpack_from("<IIHH" if len(record) > 12 else "<HHHH", record)
    # A sheet without a cell says that it ends where it begins, or at 0.
    if last and right and (last < first or right < left or (last - first) * (right - left) > most):
        raise ValueError("a sheet says that it is larger than any can be")


def _of_workbook(path: Path, take: Callable[[bytes], dict[str, Cells]]) -> dict[str, Cells]:
    """Take something out of the records of a workbook of the old form; of any other file nothing."""
    data = path.read_bytes()
    if not data.startswith(_SIGN):
        return {}
    try:
        return take(next(_Streams(data).workbooks()))
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
        self._most = len(data)
        self._left = 2 * len(data)  # small streams lie in a stream that counts too
        lengths = (
            *struct.unpack_from("<2I", data, 40),
            *struct.unpack_from("<I", data, 64),
            *struct.unpack_from("<I", data, 72),
        )
        if max(lengths) > len(data) // self._size + 1:
            raise ValueError("it says that it is longer than it is")
        first, _, _, mini, _, more, _ = struct.unpack_from("<7I", data, 48)
        tables = [*struct.unpack_from("<109I", data, 76)]
        seen = 0
        while more < _LAST and seen * self._size < len(data):
            numbers = self._numbers(self._sector(more))
            tables += numbers[:-1]
            more, seen = numbers[-1], seen + 1
        named = [table for table in tables if table < _LAST]
        if len(set(named)) < len(named):
            # A file that names one a million times would ask for more memory than it has itself.
            raise ValueError("it names one of its tables twice")
        self._next = [number for table in named for number in self._numbers(self._sector(table))]
        self._mini_next = self._numbers(self._chain(mini))
        self._directory = self._chain(first)

    def _sector(self, number: int) -> bytes:
        start = max(_HEADER, self._size) + number * self._size
        return self._data[start : start + self._size]

    @staticmethod
    def _numbers(data: bytes) -> list[int]:
        return list(struct.unpack(f"<{len(data) // 4}I", data[: len(data) // 4 * 4]))

    def _chain(self, number: int) -> bytes:
        return b"".join(self._sector(place) for place in self._followed(number, self._next, self._size))

    def _followed(self, number: int, following: list[int], size: int) -> Iterator[int]:
        """Give the places of a chain; no two chains share one, so what all of them hold has a bound, however many lead to it."""
        while number < _LAST:
            self._left -= size
            if self._left < 0:
                raise ValueError("its chains of sectors lie over one another")
            yield number
            number = following[number]

    def workbooks(self) -> Iterator[bytes]:
        """Give each stream of records, that which its reader takes first, one at a time."""
        entries = [self._directory[at : at + _ENTRY] for at in range(0, len(self._directory), _ENTRY)]
        small = self._chain(self._extent(entries[0])[0])
        found: list[tuple[int, int, int]] = []
        for entry in entries:
            # The name ends at the first zero, whatever the entry says of its length: so its reader takes it.
            name = entry[:_NAME].decode("utf-16-le", "replace").partition("\0")[0].lower()
            if name in _WORKBOOKS:
                found.append((_WORKBOOKS.index(name), *self._extent(entry)))
        if not found:
            raise ValueError("it holds no workbook")
        for _, first, size in sorted(found, key=lambda one: one[0]):
            if size >= _CUTOFF:
                yield self._chain(first)[:size]
                continue
            places = self._followed(first, self._mini_next, 64)
            whole = b"".join(small[place * 64 : place * 64 + 64] for place in places)
            yield whole[:size] if size else whole

    def _extent(self, entry: bytes) -> tuple[int, int]:
        """Give where something begins, and its length; its reader makes room for what is said of it."""
        first, size = struct.unpack_from("<IQ" if self._size > _HEADER else "<II", entry, 116)
        if size > self._most:
            raise ValueError("it says that it is longer than it is")
        return first, size


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
