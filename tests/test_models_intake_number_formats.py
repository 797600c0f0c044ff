"""What number formats of a workbook show beside a number: it is read as a person sees it, or refused."""

from __future__ import annotations

import re
import struct
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
import xlsxwriter

from models.intake.fields import FIELDS, Table
from models.intake.mapping import Column, SheetMapping, propose
from models.intake.mend import Bad, write_mend
from models.intake.number_formats import read_format
from models.intake.reading import read_sheets
from models.intake.rows import Row, RowReader
from models.intake.shown_cells import Shown
from models.intake.spoilt_xls import formats_in
from models.units import Display
from tests.test_models_intake_rows import ZONE
from tests.test_models_intake_spoilt_xls import record

HEADINGS = ("tag", "performed at", "found offset V", "found angle V", "found offset H", "found angle H")
Read = Callable[..., Row]


@pytest.mark.parametrize(
    ("code", "value", "shown"),
    [
        ('0.0" mil"', 0.9, "0.9 mil"), ('0.00" mil/ft"', -0.2, "-0.2 mil/ft"), (r"0.00\ \m\m", 0.5, "0.5 mm"), ("0.00%", 0.1, "10 %"),
        ('[Red]+0.0" mil";[Blue]-0.0" mil";0" mil"', -0.5, "-0.5 mil"), ("0.0[$ mil-409]", 2.0, "2 mil"), ('0.0,"mm"', 1500.0, "1.5 mm"),
        ('"Δ "0.0', 1.0, "1 Δ"), ('[<1]0.00" mm";0.0" mil"', 0.5, "0.5 mm or mil"), ('[<1]0.00" mm";0.0" mm"', 0.5, "0.5 mm"),
        ('0.0" up";0.0" down"', -0.5, "0.5 down"), ('0.0" up";-0.0" down"', -0.5, "-0.5 down"), ('0.0;"low"', -0.5, "low"),
        ('0.0" mm";0.0" mil"', -0.5, "-0.5 mil"), ('0.000\\"', 0.012, '0.012 "'),
    ],
)  # fmt: skip
def test_what_stands_beside_a_number_is_shown(code: str, value: float, shown: str) -> None:
    made = read_format(code)
    assert made is not None
    found = made.of(value)
    assert found is not None
    assert (found, found.shown) == (value, shown)


@pytest.mark.parametrize(
    "code",
    ["General", "0.00", "#,##0.00", "+0.00;-0.00;0.00", "0.00_);[Red](0.00)", '_-* #,##0.00_-;-* #,##0.00_-;_-* "-"??_-;_-@_-', "0.00E+00",
     "# ?/?", "yyyy-mm-dd", "[h]:mm", "@", ";;;", "[Red]0.0;[Blue]-0.0"],
)  # fmt: skip
def test_a_format_that_shows_a_number_alone_or_a_date_changes_nothing(code: str) -> None:
    made = read_format(code)
    assert made is None or made.of(1.0) is None


@pytest.mark.parametrize(
    "code", ['0.00;-0.00;"ok"', '[=0]"ok";0.00', 'General;-General;"nil"', '[=0]"none";[<0]-0.00;0.00']
)
def test_a_word_for_0_is_0_and_says_nothing_of_other_numbers(code: str) -> None:
    made = read_format(code)
    assert made is not None
    assert [made.of(value) for value in (0.0, 0.5, -0.5)] == [None, None, None]
    # A unit beside 0 is read as one still.
    with_unit = read_format('0.0;-0.0;0.0" mil"')
    assert with_unit is not None
    assert getattr(with_unit.of(0.0), "shown", None) == "0 mil"


@pytest.fixture
def read(tmp_path: Path) -> Read:
    """Read the row of a workbook whose offsets have one format and whose angles another."""

    def row(offset: str, angle: str = "0.00") -> Row:
        path = tmp_path / "own.xlsx"
        book = xlsxwriter.Workbook(path)
        sheet = book.add_worksheet("log")
        offsets, angles = (book.add_format({"num_format": code}) for code in (offset, angle))
        sheet.write_row(0, 0, HEADINGS)
        sheet.write_row(1, 0, ["P-1", "2026-03-04"])
        for place, made in enumerate((offsets, angles, offsets, angles), start=2):
            sheet.write_number(1, place, 0.9, made)
        book.close()
        (found,) = read_sheets(path)
        mapping = propose([found], Display("mm")).sheets[0]
        read_row = RowReader(mapping, path.name, ZONE).read(2, found.head[1])
        assert read_row is not None
        return read_row

    return row


def test_a_unit_in_a_format_is_that_of_the_cell(read: Read) -> None:
    found = read('0.0" mil"', '0.00" mil/ft"')
    assert found.is_good
    assert found.values["found_offset_v"] == pytest.approx(0.9 * 0.0254)
    assert found.values["found_angle_v"] == pytest.approx(0.9 / 12)
    assert found.typed["found_offset_v"] == "0.9 mil"
    assert read("0.00").values["found_offset_v"] == 0.9


def test_a_unit_in_a_format_is_seen_in_cells_that_do_not_say_where_they_stand(tmp_path: Path) -> None:
    book = xlsxwriter.Workbook(str(tmp_path / "w.xlsx"))
    sheet = book.add_worksheet()
    sheet.write_row(0, 0, ["a", "b"])
    sheet.write(1, 1, 2.0, book.add_format({"num_format": '0.0" mil"'}))
    book.close()
    with zipfile.ZipFile(tmp_path / "w.xlsx") as old, zipfile.ZipFile(tmp_path / "n.xlsx", "w") as new:
        for name in old.namelist():
            text = old.read(name)
            # What stands in B2 comes after a cell that is there and blank.
            text = text.replace(b'<c r="B2"', b'<c r="A2"/><c r="B2"')
            new.writestr(name, re.sub(rb'(<(?:c|row)) r="\w+"', rb"\1", text))
    cell = dict(read_sheets(tmp_path / "n.xlsx")[0].rows())[2][1]
    assert isinstance(cell, Shown)
    assert cell.shown == "2 mil"


def test_a_format_that_is_longer_than_any_is_refused() -> None:
    with pytest.raises(ValueError, match="longer than any"):
        read_format("[" * 2_000)


def test_what_is_no_unit_keeps_the_row_out(read: Read) -> None:
    for code in ("0.00%", '0.0"°"', '0.0" mm/m"'):
        found = read(code)
        assert not found.is_good
        assert found.problems[0].column.startswith("C (found offset V)")


def test_a_row_that_came_back_keeps_the_unit_that_was_shown(tmp_path: Path) -> None:
    field = next(field for field in FIELDS if field.key == "found_offset_v")
    mapping = SheetMapping("log", Table.JOBS, 1, (Column(0, "found offset V", field, "mm"),))
    path = tmp_path / "back.xlsx"
    write_mend(path, [Bad(mapping, [((Shown(0.9, "0.9 mil"),), "look at it")])])
    assert read_sheets(path)[0].head[1][0] == "0.9 mil"


def test_the_formats_of_an_old_workbook_are_found_by_its_records() -> None:
    code = '0.0" mil"'
    end = record(0x000A)
    for begin, kept in (
        (record(0x0809, b"\x00\x06" + bytes(14)), "<HHB"),
        (record(0x0809, b"\x00\x05" + bytes(14)), "<HB"),
    ):
        assert formats_in(
            old_records(begin, end, struct.pack(kept, 164, len(code), *([0] if kept == "<HHB" else [])) + code.encode())
        ) == {"log": {(1, 2): code, (2, 4): code, (2, 5): "0.00%"}}


def old_records(begin: bytes, end: bytes, format_: bytes) -> bytes:
    name = record(0x0085, struct.pack("<IBB", 0, 0, 0)[:-2] + b"\0\0" + struct.pack("<BB", 3, 0) + b"log")
    globals_ = begin + record(0x041E, format_)
    globals_ += b"".join(record(0x00E0, struct.pack("<HH", 0, number) + bytes(16)) for number in (0, 164, 10))
    start = len(globals_) + len(name) + len(end)
    sheet = (
        begin + record(0x0203, struct.pack("<HHHd", 1, 2, 1, 0.9)) + record(0x027E, struct.pack("<HHHI", 1, 3, 0, 0))
    )
    sheet += (
        record(
            0x00BD,
            struct.pack("<HH", 2, 4) + struct.pack("<HI", 1, 0) + struct.pack("<HI", 2, 0) + struct.pack("<H", 5),
        )
        + end
    )
    name = name[:4] + struct.pack("<I", start) + name[8:]
    return globals_ + name + end + sheet
