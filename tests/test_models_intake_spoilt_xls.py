"""Error values of old workbooks: a file made by hand, the same from another program, and files that are damaged."""

from __future__ import annotations

import random
import shutil
import struct
import subprocess
from pathlib import Path

import pytest
import xlsxwriter

from models.intake.reading import read_sheets
from models.intake.spoilt_xls import spoilt_cells_of_xls

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
    header = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(16) + struct.pack("<HHHHH", 62, 3, 0xFFFE, 9, 6)
    header = header.ljust(44, b"\0") + struct.pack(
        "<8I", 1, 1, 0, 4096 if small else 0, 3 if small else END, small, END, 0
    )
    header += struct.pack("<109I", 0, *[FREE] * 108)
    table = struct.pack("<128I", TABLE, END, END, END if small else FREE, *[FREE] * 124)

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
