"""What a workbook may be before it is read: no bomb, no cells at the far end of nowhere, no definitions of its own.

A workbook is a ZIP of XML, and one of a kilobyte can ask for a terabyte of memory: by
data that unfold without end, or by two cells in opposite corners of a sheet, between which the
reader makes room for all the others (it then ends the whole process).  So it
is unfolded here once, piece by piece, and counted.  What stands in the directory of
the ZIP about sizes is not believed.  Links to other workbooks are never followed: the value that was
kept beside them is read.
"""

from __future__ import annotations

import re
import zipfile
import zlib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Final

from models.errors import UnreadableFileError
from models.intake.cell_walk import WalkedCell, column_number, is_usual, walk
from models.intake.spoilt_xls import rooms_of_xls, text_of_xls

MOST_BYTES: Final = 256 << 20
MOST_UNFOLDED: Final = 1 << 30
MOST_PARTS: Final = 5_000
MOST_TIMES: Final = 300
NOT_SUSPICIOUS: Final = 64 << 20
MOST_ROOM: Final = 20_000_000
SPARSE: Final = 2_000_000
MOST_TIMES_CELLS: Final = 50
MOST_TEXT: Final = 1 << 30
MOST_MERGED: Final = 300_000
"""Our own bounds: bytes of the file and unfolded; parts; how many times larger unfolded, beyond a size that harms nobody;
cells for which room is made, and from how many on they may be no more than so many times
those that are there; bytes of text in all cells, each with the shared text that it points to; ranges of merged cells."""

_PIECE: Final = 1 << 20
_OVERLAP: Final = 64
_LOCAL_HEADER: Final = 30
_SAVE_AGAIN: Final = "Open it in a spreadsheet program and save it again as XLSX or CSV."
_REPEATS: Final = "{name} repeats long texts in very many cells, and was not read."
_END: Final = 22
_POINTS: Final = re.compile(rb"<(?:\w+:)?v\b[^<>]*>\s*(\d{1,9})\s*<")
_TEXTS: Final = re.compile(rb"[<:]si\b")
_USUAL_ROW: Final = re.compile(rb' r="[A-Z]{1,3}(\d{1,7})"')
_USUAL_COLUMN: Final = re.compile(rb' r="([A-Z]{1,3})\d')
_DATA: Final = b"sheetData"
"""Stands in every sheet: before it no cell is read."""

_DEFINES: Final = (b"<!DOCTYPE", b"<!ENTITY")
_WIDE: Final = tuple(text.decode().encode(code) for text in _DEFINES for code in ("utf-16-le", "utf-16-be"))


@dataclass(slots=True)
class _Room:
    """The last row and column of a sheet so far, and how many cells stand in it."""

    high_row: int = 0
    high_column: int = 0
    cells: int = 0

    def see(self, piece: bytes) -> None:
        """Look at a piece of a sheet whose cells are written in the usual way."""
        rows = [int(row) for row in set(_USUAL_ROW.findall(piece))]
        columns = [column_number(letters.decode()) for letters in set(_USUAL_COLUMN.findall(piece))]
        self.cells += piece.count(b"<c ")
        self.high_row = max(self.high_row, *rows, 0) if rows else self.high_row
        self.high_column = max(self.high_column, *columns, 0) if columns else self.high_column

    def take(self, cell: WalkedCell) -> None:
        """Look at a cell of any other sheet."""
        self.cells += 1
        self.high_row, self.high_column = max(self.high_row, cell.row + 1), max(self.high_column, cell.column + 1)

    @property
    def size(self) -> int:
        """Give for how many cells the reader makes room."""
        return self.high_row * self.high_column


def check_workbook(path: Path, most_text: int = MOST_TEXT) -> None:
    """Refuse a workbook that would harm whoever reads it.

    Parameters
    ----------
    path : pathlib.Path
        The file. [unitless]
    most_text : int
        Bytes of text in all cells, each with the shared text that it points to. [byte]

    Raises
    ------
    UnreadableFileError
        If it is refused; the text says why.
    """
    size = path.stat().st_size
    if size > MOST_BYTES:
        raise UnreadableFileError(
            f"{path.name} has {size >> 20} MiB; workbooks of up to {MOST_BYTES >> 20} MiB are read.",
            remedy="Save its sheets as CSV: of those any size is read.",
        )
    with path.open("rb") as stream:
        start = stream.read(8)
        if path.suffix.lower() == ".xls" and start == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1":
            _check_old(path, most_text)
            return
        if path.suffix.lower() not in {".xlsx", ".xlsm"} or start[:2] != b"PK":
            raise UnreadableFileError(f"{path.name} is no workbook that is read here.", remedy=_SAVE_AGAIN)
        try:
            _check_parts(path, stream, most_text)
        except (zipfile.BadZipFile, zlib.error, EOFError, ValueError, OSError, NotImplementedError) as fault:
            raise UnreadableFileError(f"{path.name} is damaged ({fault}).", remedy=_SAVE_AGAIN) from fault


def _check_old(path: Path, most_text: int) -> None:
    """Refuse an XLS whose sheets ask for too much room: all of them are made when it is opened."""
    before = 0
    try:
        for rows, columns, cells in rooms_of_xls(path, MOST_ROOM, MOST_MERGED):
            room = _Room(rows, columns, cells)
            _check_room(path, room, before)
            before += room.size
        if text_of_xls(path) > most_text:
            raise UnreadableFileError(_REPEATS.format(name=path.name), remedy=_SAVE_AGAIN)
    except ValueError as fault:
        raise UnreadableFileError(f"{path.name} is damaged ({fault}).", remedy=_SAVE_AGAIN) from fault


def _check_parts(path: Path, stream: BinaryIO, most_text: int) -> None:
    _check_end(stream)
    with zipfile.ZipFile(stream) as packed:
        parts = packed.infolist()
        if len(parts) > MOST_PARTS or len({part.filename for part in parts}) < len(parts):
            raise UnreadableFileError(f"{path.name} is put together as no workbook is.", remedy=_SAVE_AGAIN)
        found = _Found()
        for part in parts:
            if part.flag_bits & 1:
                raise UnreadableFileError(
                    f"{path.name} is protected by a password.", remedy="Save it without one, or as CSV."
                )
            _check_part(path, stream, part, found)
        if found.cells * found.longest > most_text and _text_of(stream, parts) > most_text:
            raise UnreadableFileError(_REPEATS.format(name=path.name), remedy=_SAVE_AGAIN)


def _check_end(stream: BinaryIO) -> None:
    """Refuse a ZIP whose directory could be found in two places: another reader could see another file in it."""
    size = stream.seek(0, 2)
    stream.seek(max(0, size - _END))
    end = stream.read(_END)
    length, start = int.from_bytes(end[12:16], "little"), int.from_bytes(end[16:20], "little")
    if len(end) < _END or end[:4] != b"PK\x05\x06" or start + length != size - _END:
        raise ValueError("it does not end as a workbook does")
    stream.seek(0)


def _text_of(stream: BinaryIO, parts: list[zipfile.ZipInfo]) -> int:
    """Give the bytes of text in all cells, each with the shared text that it points to; a plain number counts as if it pointed."""
    lengths: list[int] = []
    points: Counter[int] = Counter()
    for part in parts:
        whole = b"".join(_pieces(stream, part))
        starts = [match.start() for match in _TEXTS.finditer(whole)]
        if len(starts) > len(lengths):
            lengths = [end - start for start, end in zip(starts, [*starts[1:], len(whole)], strict=True)]
        points.update(map(int, _POINTS.findall(whole)))
    return sum(times * lengths[place] for place, times in points.items() if place < len(lengths))


@dataclass(slots=True)
class _Found:
    """What was seen of all parts so far: bytes, room, cells, and the longest shared text."""

    unfolded: int = 0
    room: int = 0
    cells: int = 0
    longest: int = 0
    merged: int = 0


def _check_part(path: Path, stream: BinaryIO, part: zipfile.ZipInfo, found: _Found) -> None:
    """Unfold one part and look at it; which of them is a sheet is said elsewhere, so each may be one."""
    is_xml = part.filename.lower().endswith((".xml", ".rels", ".vml"))
    sheet, own, tail, held, since, texts = _Room(), 0, b"", b"", 0, False
    in_data, usual = False, True
    for piece in _pieces(stream, part):
        own += len(piece)
        total = found.unfolded + own
        if total > MOST_UNFOLDED or (own > NOT_SUSPICIOUS and own > MOST_TIMES * max(part.compress_size, 1)):
            raise UnreadableFileError(
                f"{path.name} unfolds to far more than it holds, and was not read.", remedy=_SAVE_AGAIN
            )
        seen = tail + piece
        if is_xml and any(mark in seen for mark in (*_DEFINES, *_WIDE)):
            raise UnreadableFileError(
                f"{path.name} holds definitions of its own (DOCTYPE), which no workbook needs.", remedy=_SAVE_AGAIN
            )
        in_data = in_data or _DATA in seen
        found.merged += piece.count(b"mergeCell") if in_data else 0
        if found.merged > MOST_MERGED:
            raise UnreadableFileError(f"{path.name} merges more cells than any sheet needs.", remedy=_SAVE_AGAIN)
        if in_data and usual:
            whole = held + piece
            cut = _unfinished(whole)
            usual, held = is_usual(whole[:cut]), whole[cut:]
            sheet.see(whole[:cut])
            _check_room(path, sheet, found.room)
        elif usual:
            held = seen[-_OVERLAP:]
        for start in (match.start() for match in _TEXTS.finditer(piece)) if b"si" in piece else ():
            found.longest = max(found.longest, since + start if texts else 0)
            since, texts = -start, True
        since += len(piece)
        tail = piece[-_OVERLAP:]
    if in_data and usual:
        usual = is_usual(held)
        sheet.see(held)
    if not usual:
        sheet = _Room()
        walk(_pieces(stream, part), sheet.take, lambda: _check_room(path, sheet, found.room))
    _check_room(path, sheet, found.room)
    found.longest = max(found.longest, since if texts else 0)
    found.unfolded, found.cells, found.room = found.unfolded + own, found.cells + sheet.cells, found.room + sheet.size


def _unfinished(seen: bytes) -> int:
    """Give where the last tag begins if it begins so late that its name and its place may not be there yet."""
    last = max(seen.rfind(sign, len(seen) - _OVERLAP if len(seen) > _OVERLAP else 0) for sign in (b"<", b":"))
    return last if last >= 0 else len(seen)


def _check_room(path: Path, sheet: _Room, before: int) -> None:
    wanted = sheet.size
    if before + max(wanted, sheet.cells) > MOST_ROOM:
        raise UnreadableFileError(
            f"{path.name} has more than {MOST_ROOM // 1_000_000} million cells, filled ones and empty ones between them.",
            remedy="Save its sheets as CSV: of those any size is read.",
        )
    if wanted > SPARSE and wanted > MOST_TIMES_CELLS * max(sheet.cells, 1):
        raise UnreadableFileError(
            f"{path.name} has a sheet that reaches to row {sheet.high_row}, column {sheet.high_column}, and is nearly empty.",
            remedy="A cell far below or to the right was filled by mistake: delete the empty rows and columns, and save it again.",
        )


def _pieces(stream: BinaryIO, part: zipfile.ZipInfo) -> Iterator[bytes]:
    """Give a part unfolded, a piece at a time, however long it says that it is."""
    if part.compress_type not in {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}:
        raise ValueError("packed in a way that workbooks are not")
    stream.seek(part.header_offset)
    header = stream.read(_LOCAL_HEADER)
    if len(header) < _LOCAL_HEADER or header[:4] != b"PK\x03\x04":
        raise ValueError("a part is not where it should be")
    stream.seek(int.from_bytes(header[26:28], "little") + int.from_bytes(header[28:30], "little"), 1)
    left = part.compress_size
    unfold = zlib.decompressobj(-15) if part.compress_type == zipfile.ZIP_DEFLATED else None
    while left:
        packed = stream.read(min(_PIECE >> 4, left))
        if not packed:
            raise EOFError("it ends too early")
        left -= len(packed)
        if unfold is None:
            yield packed
            continue
        while packed:
            piece = unfold.decompress(packed, _PIECE)
            packed = unfold.unconsumed_tail
            if piece:
                yield piece
