"""Workbooks that would harm whoever reads them are refused in words; ordinary ones, large ones too, are read."""

from __future__ import annotations

import io
import random
import socket
import struct
import subprocess
import sys
import textwrap
import zipfile
import zlib
from pathlib import Path
from typing import Any

import pytest

from models.errors import UnreadableFileError
from models.intake import guarding
from models.intake.cell_walk import walk
from models.intake.guarding import check_workbook
from models.intake.reading import read_sheets

SHEET = '<?xml version="1.0"?><worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>{}</sheetData></worksheet>'


def plain(path: Path, rows: int = 20, columns: int = 5) -> Path:
    import xlsxwriter

    book = xlsxwriter.Workbook(str(path))
    sheet = book.add_worksheet("jobs")
    for row in range(rows):
        for column in range(columns):
            sheet.write(row, column, f"text {row}" if column == 0 else row * column)
    book.close()
    return path


def changed(path: Path, **parts: bytes | str) -> Path:
    """Write a workbook with some parts in place of its own; in the names two underscores stand for a slash, one for a dot."""
    named = {name.replace("__", "/").replace("_", "."): text for name, text in parts.items()}
    with zipfile.ZipFile(plain(path)) as old:
        held = {one.filename: old.read(one) for one in old.infolist()}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for name, text in (held | named).items():
            new.writestr(name, text)
    return path


def refused(path: Path, says: str) -> None:
    with pytest.raises(UnreadableFileError, match=says) as told:
        read_sheets(path)
    assert told.value.remedy


def test_an_ordinary_workbook_is_read(tmp_path: Path) -> None:
    sheet = read_sheets(plain(tmp_path / "a.xlsx"))[0]
    assert [row for _, row in sheet.rows()][3] == ("text 3", 3.0, 6.0, 9.0, 12.0)


def test_a_large_workbook_is_read_too(tmp_path: Path) -> None:
    path = plain(tmp_path / "a.xlsx", rows=20_000, columns=12)
    assert sum(1 for _ in read_sheets(path)[0].rows()) == 20_000


def test_two_cells_in_opposite_corners_do_not_end_the_process(tmp_path: Path) -> None:
    """The reader would ask for 512 GB and end the process: seen in calamine 0.9.  So it is tried in a process of its own."""
    import xlsxwriter

    path = tmp_path / "corner.xlsx"
    book = xlsxwriter.Workbook(str(path))
    sheet = book.add_worksheet()
    sheet.write(0, 0, "a")
    sheet.write(1_000_000, 16_000, "b")
    book.close()
    code = textwrap.dedent(f"""
        from pathlib import Path
        from models.intake.reading import read_sheets
        try:
            read_sheets(Path({str(path)!r}))
        except Exception as fault:
            print(fault)
    """)
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False, cwd=Path(__file__).parents[1]
    )
    assert done.returncode == 0, done.stderr
    assert "reaches to row 1000001, column 16001" in done.stdout or "million cells" in done.stdout


@pytest.mark.parametrize(
    "cell",
    ['<row r="1"><c r="A1"><v>1</v></c></row><row r="900000"><c r="XFD900000"><v>1</v></c></row>',
     "<row><c r='A1'><v>1</v></c><c\n r = 'XFD900000'><v>1</v></c></row>",
     '<x:row xmlns:x="y"><x:c t="n" r="xfd900000"><x:v>1</x:v></x:c></x:row>',
     f'<row r="1"><c/></row><row r="1048576">{"<c><v>1</v></c>" * 400}</row>',
     f'<row r="1"><c r="A1"/></row><row r="1048576">{"<c><v>1</v></c>" * 400}</row>'],
    ids=["plain", "other quotes", "prefixed", "without a place", "some without one"],
)  # fmt: skip
def test_far_cells_are_found_however_they_are_written(tmp_path: Path, cell: str) -> None:
    refused(changed(tmp_path / "a.xlsx", xl__worksheets__sheet1_xml=SHEET.format(cell)), "million cells|nearly empty")


@pytest.mark.parametrize(
    "cells", ["<c/>", '<row r="1"><row r="2"/></row>', '<row r="0"><c/></row>', '<row><c r="A"/></row>', "<row><c>"]
)
def test_a_sheet_that_is_put_together_in_no_usual_way_is_one_or_is_refused(tmp_path: Path, cells: str) -> None:
    refused(
        changed(tmp_path / "a.xlsx", xl__worksheets__sheet1_xml=SHEET.format(f"<row><c/></row>{cells}")), "is damaged"
    )


def test_cells_are_counted_as_the_reader_counts_them(tmp_path: Path) -> None:
    """Rows and cells with and without a place, by chance; what the reader puts where is the measure."""
    chance = random.Random(3)

    def place() -> str:
        return f' r="{chance.choice("ABCDe")}{chance.randrange(1, 7)}"' if chance.random() < 0.4 else ""

    for _ in range(40):
        rows = []
        for _ in range(3):
            cells = "".join(f"<c{place()}><v>{chance.randrange(1, 99)}</v></c>" for _ in range(3))
            row = f' r="{chance.randrange(1, 7)}"' if chance.random() < 0.5 else ""
            rows.append(f"<row{row}>{cells}</row>")
        text = SHEET.format("".join(rows))
        found: dict[tuple[int, int], float] = {}
        walk([text.encode()], lambda cell, found=found: found.update({(cell.row, cell.column): float(cell.value or 0)}))  # type: ignore[misc]
        sheet = read_sheets(changed(tmp_path / "a.xlsx", xl__worksheets__sheet1_xml=text))[0]
        read = {(n - 1, at): cell for n, row in sheet.rows() for at, cell in enumerate(row) if cell != ""}
        assert read == found


def test_what_looks_like_rows_in_a_comment_takes_no_time(tmp_path: Path) -> None:
    """Once: 64 KiB of it took 49 s, a MiB some hours."""
    text = SHEET.format(f'<row r="1"><c r="A1"><v>1</v></c></row><!-- {"<row <c " * (1 << 17)} -->')
    assert read_sheets(changed(tmp_path / "a.xlsx", xl__worksheets__sheet1_xml=text))[0].length == 1


def test_a_far_cell_is_found_in_whatever_part_it_stands(tmp_path: Path) -> None:
    path = changed(tmp_path / "a.xlsx", xl__hidden_bin=SHEET.format('<c r="XFD900000"/>'))
    refused(path, "million cells|nearly empty")


def test_rooms_of_several_sheets_are_added(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(guarding, "MOST_ROOM", 150)
    check_workbook(plain(tmp_path / "a.xlsx"))
    refused(
        changed(tmp_path / "b.xlsx", xl__other_xml=SHEET.format('<row r="1"><c r="J10"/></row>')), "cells, filled ones"
    )


def test_data_that_unfold_without_end_are_refused(tmp_path: Path) -> None:
    """A hundred thousand times larger than packed; what the directory says of sizes is a lie."""
    path = changed(tmp_path / "a.xlsx", xl__bomb_xml=b" " * (80 << 20))
    assert path.stat().st_size < 200_000
    refused(path, "unfolds to far more")
    raw = bytearray(path.read_bytes())
    place = raw.rfind(b"xl/bomb.xml") - 46
    raw[place + 24 : place + 28] = struct.pack("<I", 1000)
    path.write_bytes(raw)
    refused(path, "unfolds to far more")


def test_parts_that_lie_over_one_another_are_counted_each(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Many names for the same packed bytes: small on the disk, large in sum."""
    monkeypatch.setattr(guarding, "MOST_UNFOLDED", 4 << 20)
    packed = zlib.compressobj(9, zlib.DEFLATED, -15)
    data = packed.compress(b"<a/>" * (1 << 16)) + packed.flush()
    body = io.BytesIO()
    name = b"x.xml"
    body.write(
        struct.pack("<4s5H3I2H", b"PK\x03\x04", 20, 0, 8, 0, 0, 0, len(data), 1 << 18, len(name), 0) + name + data
    )
    start, count = body.tell(), 40
    for number in range(count):
        own = b"x%02d.xml" % number
        body.write(
            struct.pack(
                "<4s6H3I5H2I", b"PK\x01\x02", 20, 20, 0, 8, 0, 0, 0, len(data), 1 << 18, len(own), 0, 0, 0, 0, 0, 0
            )
            + own
        )
    length = body.tell() - start
    body.write(struct.pack("<4s4H2IH", b"PK\x05\x06", 0, 0, count, count, length, start, 0))
    path = tmp_path / "over.xlsx"
    path.write_bytes(body.getvalue())
    refused(path, "unfolds to far more")


def test_a_long_text_in_a_million_cells_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(guarding, "MOST_TEXT", 1 << 20)
    text = f'<sst xmlns="x" count="2" uniqueCount="2"><si><t>{"a" * 30_000}</t></si><si><t>b</t></si></sst>'
    cells = "".join(f'<row r="{n}"><c r="A{n}" t="s"><v>0</v></c></row>' for n in range(1, 60))
    few = "".join(f'<row r="{n}"><c r="A{n}" t="s"><v>1</v></c></row>' for n in range(1, 60))
    refused(
        changed(tmp_path / "a.xlsx", xl__sharedStrings_xml=text, xl__worksheets__sheet1_xml=SHEET.format(cells)),
        "repeats long texts",
    )
    check_workbook(
        changed(tmp_path / "b.xlsx", xl__sharedStrings_xml=text, xl__worksheets__sheet1_xml=SHEET.format(few))
    )


ENTITIES = '<!DOCTYPE a [<!ENTITY b "bbbbbbbbbb"><!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;">]>'
OUTSIDE = '<!DOCTYPE a [<!ENTITY b SYSTEM "file:///etc/hostname">]>'


@pytest.mark.parametrize("text", [ENTITIES, OUTSIDE, ENTITIES.encode("utf-16-le"), ENTITIES.encode("utf-16-be")])
@pytest.mark.parametrize(
    "part", ["xl__workbook_xml", "xl__sharedStrings_xml", "xl__worksheets__sheet1_xml", "xl__theme__theme1_xml"]
)
def test_definitions_of_entities_are_refused(tmp_path: Path, part: str, text: Any) -> None:
    refused(changed(tmp_path / "a.xlsx", **{part: text}), "DOCTYPE")


def test_links_to_other_files_are_not_followed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def nowhere(*_: Any) -> None:
        raise AssertionError("a connection was asked for")

    monkeypatch.setattr(socket.socket, "connect", nowhere)
    rels = (
        '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" TargetMode="External" '
        'Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/externalLinkPath" Target="http://192.0.2.1/other.xlsx"/>'
        "</Relationships>"
    )
    cell = '<row r="1"><c r="A1"><f>[1]Sheet1!A1</f><v>7</v></c></row>'
    path = changed(
        tmp_path / "a.xlsx",
        xl__worksheets__sheet1_xml=SHEET.format(cell),
        xl__externalLinks___rels__externalLink1_xml_rels=rels,
    )
    assert [row for _, row in read_sheets(path)[0].rows()] == [(7.0,)]


def test_a_protected_workbook_and_other_forms_are_told_apart(tmp_path: Path) -> None:
    path = plain(tmp_path / "a.xlsx")
    raw = bytearray(path.read_bytes())
    raw[raw.find(b"PK\x01\x02") + 8] |= 1
    path.write_bytes(raw)
    refused(path, "protected by a password")
    for name in ("b.xlsb", "c.ods", "d.xls", "e.xlsx"):
        (tmp_path / name).write_bytes(
            b"\xd0\xcf\x11\xe0 something" if name != "d.xls" else plain(tmp_path / "f.xlsx").read_bytes()
        )
        refused(tmp_path / name, "is no workbook that is read here")


def test_a_directory_that_could_be_found_twice_is_refused(tmp_path: Path) -> None:
    first = plain(tmp_path / "a.xlsx").read_bytes()
    for number, raw in enumerate(
        [first + first, first + b"\0" * 30, b"PK" + first, first[:-22] + first[-22:-2] + b"\x05\0hello"]
    ):
        path = tmp_path / f"{number}.xlsx"
        path.write_bytes(raw)
        refused(path, "is damaged")


def test_the_same_name_twice_is_refused(tmp_path: Path) -> None:
    path = plain(tmp_path / "a.xlsx")
    with pytest.warns(UserWarning, match="Duplicate"), zipfile.ZipFile(path, "a") as more:
        more.writestr("xl/workbook.xml", "<a/>")
    refused(path, "put together as no workbook is")


def test_a_workbook_that_is_too_large_is_not_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(guarding, "MOST_BYTES", 1000)
    refused(plain(tmp_path / "a.xlsx"), "workbooks of up to")
