"""Error values of old workbooks: a file made by hand, the same from another program, and files that are damaged."""

from __future__ import annotations

import random
import shutil
import struct
import subprocess
from contextlib import nullcontext
from pathlib import Path

import pytest
import xlsxwriter

from models.errors import UnreadableFileError
from models.intake import guarding
from models.intake.guarding import check_workbook
from models.intake.reading import read_sheets
from models.intake.spoilt_xls import rooms_in, spoilt_cells_of_xls, text_in

FREE, END, TABLE = 0xFFFFFFFF, 0xFFFFFFFE, 0xFFFFFFFD
OFFICE = shutil.which("soffice") or shutil.which("libreoffice")


def record(kind: int, data: bytes = b"") -> bytes:
    return struct.pack("<HH", kind, len(data)) + data


def records() -> bytes:
    name = "jöbs"
    begin = record(0x0809, bytes(16))
    sheet = begin
    sheet += record(0x0205, struct.pack("<HHHBB", 4, 2, 0, 42, 1))  # #N/A
    sheet += record(0x0205, struct.pack("<HHHBB", 5, 2, 0, 1, 0))  # a TRUE is no error
    sheet += record(0x0006, struct.pack("<HHH8s", 7, 1, 0, b"\x02\x00\x07\x00\x00\x00\xff\xff") + bytes(6))  # #DIV/0!
    sheet += record(0x0006, struct.pack("<HHHd", 8, 1, 0, 0.25) + bytes(6))  # a number
    sheet += begin + record(0x000A)  # a chart of its own
    sheet += record(0x0205, struct.pack("<HHHBB", 9, 0, 0, 23, 1)) + record(0x000A)  # #REF!
    named = struct.pack("<BB", len(name), 1) + name.encode("utf-16-le")
    size = len(begin) + len(record(0x0085, bytes(6) + named)) + len(record(0x000A))
    return begin + record(0x0085, struct.pack("<IBB", size, 0, 0) + named) + record(0x000A) + sheet


def old_workbook(path: Path, *, small: bool) -> Path:
    """Write a file of sectors: table, directory, and the records, in sectors of their own or as a small stream."""
    stream = records()
    assert len(stream) <= 512
    stream = stream if small else stream.ljust(4096, b"\0")
    header = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(16) + struct.pack("<HHHHH", 62, 3, 0xFFFE, 9, 6)
    header = header.ljust(44, b"\0") + struct.pack("<8I", 1, 1, 0, 4096, 3 if small else END, small, END, 0)
    header += struct.pack("<109I", 0, *[FREE] * 108)
    chain = [END, END] if small else [*range(3, 10), END]
    table = struct.pack("<128I", TABLE, END, *chain, *[FREE] * (126 - len(chain)))

    def entry(name: str, start: int, size: int) -> bytes:
        text = name.encode("utf-16-le").ljust(64, b"\0")
        return (
            (text + struct.pack("<H", 2 * len(name) + 2)).ljust(116, b"\0") + struct.pack("<II", start, size) + bytes(4)
        )

    root = entry("Root Entry", 2 if small else END, 512 if small else 0)
    directory = root + entry("Workbook", 0 if small else 2, len(stream)) + bytes(256)
    count = -(-len(stream) // 64)
    minis = struct.pack("<128I", *range(1, count), END, *[FREE] * (128 - count))
    path.write_bytes(header + table + directory + stream.ljust(512, b"\0") + (minis if small else b""))
    return path


@pytest.mark.parametrize("small", [False, True])
def test_error_values_are_found(small: bool, tmp_path: Path) -> None:
    found = spoilt_cells_of_xls(old_workbook(tmp_path / "w.xls", small=small))
    assert found == {"jöbs": {(4, 2): "#N/A", (7, 1): "#DIV/0!", (9, 0): "#REF!"}}


@pytest.mark.parametrize("small", [False, True])
def test_a_damaged_file_is_refused_or_read_and_never_anything_else(small: bool, tmp_path: Path) -> None:
    whole = old_workbook(tmp_path / "w.xls", small=small).read_bytes()
    chance = random.Random(7)
    path = tmp_path / "damaged.xls"
    refused = 0
    for _ in range(300):
        data = bytearray(whole[: chance.choice([len(whole), len(whole), chance.randrange(len(whole))])])
        for _ in range(chance.randrange(1, 6)):
            data[chance.randrange(len(data))] = chance.randrange(256) if data else 0
        path.write_bytes(data)
        try:
            spoilt_cells_of_xls(path)
        except ValueError:
            refused += 1
    assert refused > 10


def test_one_stream_under_many_names_is_refused(tmp_path: Path) -> None:
    """A copy for each of 28,000 names of a stream of 3 MiB was 84 GiB; a workbook within a cell is a second name of no more than is there."""
    path = old_workbook(tmp_path / "w.xls", small=False)
    whole = path.read_bytes()
    named = whole.index("Workbook".encode("utf-16-le"))
    entry = whole[named : named + 128]
    for copies, is_read in ((1, True), (2, False)):
        path.write_bytes(whole[: named + 128] + entry * copies + whole[named + 128 * (copies + 1) :])
        with nullcontext() if is_read else pytest.raises(UnreadableFileError, match="lie over one another"):
            check_workbook(path)


def many(*sheets: bytes, shared: int = 0) -> bytes:
    """Write the records of a workbook with these sheets."""
    begin, end = record(0x0809, bytes(16)), record(0x000A)
    texts = record(0x00FC, struct.pack("<II", shared, shared)) if shared else b""
    start = len(begin) + len(texts) + len(end) + len(sheets) * len(record(0x0085, bytes(10)))
    named = b""
    for number, sheet in enumerate(sheets):
        named += record(0x0085, struct.pack("<IBBBB", start, 0, 0, 2, 0) + b"%02d" % number)
        start += len(begin + sheet + end)
    return begin + texts + named + end + b"".join(begin + sheet + end for sheet in sheets)


def number(row: int, column: int) -> bytes:
    return record(0x0203, struct.pack("<HHHd", row, column, 0, 1.0))


CORNERS = number(0, 0) + number(65535, 255)
SIDE_BY_SIDE = record(0x00BD, struct.pack("<HH", 3, 7) + bytes(12) + struct.pack("<H", 8))
FORMULA = record(0x0006, struct.pack("<HHH8s", 7, 1, 0, bytes(8)) + bytes(8))


def test_the_room_of_all_sheets_is_told_before_one_is_made(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Once: 6 KiB with 60 sheets of two numbers each asked for 30 GiB."""
    assert list(rooms_in(many(*[CORNERS] * 60), 10, 9)) == [(65536, 256, 2)] * 60
    assert list(rooms_in(many(SIDE_BY_SIDE + FORMULA), 10, 9)) == [(8, 9, 3), (8, 2, 1)]
    monkeypatch.setattr(guarding, "MOST_ROOM", 20)
    with pytest.raises(UnreadableFileError, match="cells, filled ones and empty ones"):
        check_workbook(old_workbook(tmp_path / "w.xls", small=True))


def test_each_cell_counts_with_the_shared_text_that_it_points_to() -> None:
    """The second text goes on in another record, in letters of two bytes there, with a run of formats behind it."""
    first = struct.pack("<HB", 3, 0) + b"abc"
    second = struct.pack("<HBH", 5, 8, 1) + b"de"
    texts = record(0x00FC, struct.pack("<II", 9, 3) + first + second)
    texts += record(0x003C, b"\x01" + "fgh".encode("utf-16-le") + bytes(4) + struct.pack("<HB", 7, 0) + bytes(7))
    cells = b"".join(record(0x00FD, struct.pack("<HHHI", row, 0, 0, row % 4)) for row in range(10))
    stream = many(cells)
    begin = len(record(0x0809, bytes(16)))
    moved = struct.unpack_from("<I", stream, begin + 4)[0] + len(texts)
    stream = stream[: begin + 4] + struct.pack("<I", moved) + stream[begin + 8 :]
    assert text_in(stream[:begin] + texts + stream[begin:]) == 3 * 3 + 3 * 5 + 2 * 7


@pytest.mark.parametrize(
    "stream",
    [many(record(0x00E5, bytes(82))), many(record(0x0200, struct.pack("<IIHHH", 0, 1 << 31, 0, 9, 0))), many(number(0, 0), shared=1 << 30), many(number(0, 0))[20:],
     many(number(0, 0)).replace(record(0x0809, bytes(16)) + number(0, 0), record(0x0001, bytes(16)) + number(0, 0)),
     many(b"", number(0, 0)).replace(b"0001", b"0000")[:-60]],
    ids=["merged", "its own size", "texts", "no beginning", "no beginning of a sheet", "cut"],
)  # fmt: skip
def test_an_old_workbook_that_asks_for_more_than_it_can_hold_is_refused(stream: bytes) -> None:
    with pytest.raises((ValueError, struct.error)):
        list(rooms_in(stream, 20_000_000, 9))


def test_sheets_that_lie_over_one_another_are_refused() -> None:
    once = many(*[CORNERS] * 9)
    first = once.index(record(0x0809, bytes(16)) + CORNERS)
    places = [at for at in range(len(once)) if once.startswith(struct.pack("<HH", 0x0085, 10), at)]
    for at in places:
        once = once[: at + 4] + struct.pack("<I", first) + once[at + 8 :]
    with pytest.raises(ValueError, match="over one another"):
        list(rooms_in(once[: first + len(CORNERS) + 24], 10, 9))


@pytest.mark.skipif(OFFICE is None, reason="LibreOffice (soffice) is not installed")
def test_an_old_workbook_of_another_program_keeps_its_error_values(tmp_path: Path) -> None:
    path = tmp_path / "w.xlsx"
    book = xlsxwriter.Workbook(str(path))
    for name in ("jobs", "Übersicht"):
        sheet = book.add_worksheet(name)
        for row in range(400):
            sheet.write_row(row, 0, [row, "text", 0.5])
        sheet.write_formula(399, 3, "=1/0", None, "#DIV/0!")
        sheet.write_formula(1, 3, "=1+1", None, 2)
    book.close()
    told = [str(OFFICE), f"-env:UserInstallation=file://{tmp_path}/profile", "--headless", "--convert-to", "xls"]
    subprocess.run([*told, "--outdir", str(tmp_path), str(path)], capture_output=True, check=True, timeout=240)
    for sheet in read_sheets(tmp_path / "w.xls"):
        rows = dict(sheet.rows())
        assert list(rows[400]) == [399.0, "text", 0.5, "#DIV/0!"]
        assert list(rows[2]) == [1.0, "text", 0.5, 2.0]
