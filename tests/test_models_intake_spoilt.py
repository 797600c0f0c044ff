"""Formulas without a value and error values of a workbook are found where they stand, and keep their rows out."""

from __future__ import annotations

import re
import zipfile
from pathlib import Path

import openpyxl
import pytest
import sqlalchemy as sa
import xlsxwriter

import models.intake.spoilt as work
from models.intake.fields import Table
from models.intake.mapping import propose
from models.intake.mend import Bad, write_mend
from models.intake.problems import Code
from models.intake.reading import read_sheets
from models.intake.shown_cells import NO_VALUE
from models.intake.spoilt import spoilt_cells
from models.values.story import Site
from tests.seeded import FILES, bring_in, contents, write

HEADS = (
    "job", "tag", "performed at", "reason", "found offset V [mm]", "found angle V [mm/m]", "found offset H [mm]",
    "found angle H [mm/m]", "left offset V [mm]", "left angle V [mm/m]", "left offset H [mm]", "left angle H [mm/m]",
    "target offset V [mm]", "soft foot before 1L [mm]", "notes",
)  # fmt: skip
GOOD = ["J1", "P-1", "2025-05-01", "planned", *[0.1] * 4, *[0.01] * 4, 0.0, 0.02, "fine"]


def book_of(path: Path, *rows: list[object]) -> Path:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "jobs"
    for row in (HEADS, *rows):
        sheet.append(row)
    book.save(path)
    return path


def with_cell(place: str, value: object, ref: str = "J1") -> list[object]:
    row: list[object] = [ref, *GOOD[1:]]
    row[HEADS.index(place)] = value
    return row


def sheet_of(path: Path, cells: str, *, prefix: str = "") -> Path:
    """Write a workbook with these cells, in the words of some other program."""
    book_of(path)
    with zipfile.ZipFile(path) as packed:
        parts = {name: packed.read(name) for name in packed.namelist()}
    spoken = f' xmlns{":x" if prefix else ""}="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
    whole = f"<{prefix}worksheet{spoken}><{prefix}sheetData>{cells}</{prefix}sheetData></{prefix}worksheet>"
    parts["xl/worksheets/sheet1.xml"] = whole.encode()
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, data in parts.items():
            packed.writestr(name, data)
    return path


@pytest.mark.parametrize(
    ("cell", "found"),
    [
        ('<c r="B2"><f>0.05+0.02</f></c>', f"{NO_VALUE}=0.05+0.02"),
        ('<c r="B2"><f>A1&amp;"x"</f><v/></c>', f'{NO_VALUE}=A1&"x"'),
        ('<c r="B2" s="3"><f t="shared" si="0"/><v></v></c>', f"{NO_VALUE}="),
        ("<c r='B2' t='e'><v>#REF!</v></c>", "#REF!"),
        ('<c r="B2" t="e"><f>1/0</f><v>#DIV/0!</v></c>', "#DIV/0!"),
        ('<c r="B2" t="e"/>', ""),
        ('<c r="B2" t="str"><f>IF(A1="","",1)</f><v></v></c>', ""),
        ('<c r="B2"><f>1+1</f><v>2</v></c>', ""),
        ('<c r="B2"><v>0.3</v></c>', ""),
        ('<c r="B2" t="str"><v>#N/A is what it said</v></c>', ""),
        ('<c r="B2" s="1"/><c r="C2"><f>1</f><v>1</v></c>', ""),
    ],
)
def test_cells_without_a_value_are_found(cell: str, found: str, tmp_path: Path) -> None:
    wanted = {"jobs": {(1, 1): found}} if found else {}
    row = f'<row r="1"><c r="A1"><v>1</v></c></row><row r="2"><c r="A2"><v>1</v></c>{cell}</row>'
    assert spoilt_cells(sheet_of(tmp_path / "w.xlsx", row)) == wanted
    assert spoilt_cells(sheet_of(tmp_path / "p.xlsx", _prefixed(row), prefix="x:")) == wanted
    # The place of a cell need not be said: then it follows from the one before.
    assert spoilt_cells(sheet_of(tmp_path / "n.xlsx", re.sub(r""" r=["']\w+["']""", "", row))) == wanted


def _prefixed(text: str) -> str:
    return text.replace("</", "\0").replace("<", "<x:").replace("\0", "</x:")


@pytest.mark.parametrize("piece", [1, 7, 64, 200])
def test_they_are_found_wherever_a_piece_ends(piece: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = book_of(tmp_path / "w.xlsx", *[with_cell("notes", f'=A{n}&"x"', f"J{n}") for n in range(2, 12)])
    whole = spoilt_cells(path)
    assert len(whole["jobs"]) == 10
    monkeypatch.setattr(work, "_PIECE", piece)
    assert spoilt_cells(path) == whole


def test_a_sheet_grows_where_they_lie_outside_of_what_was_read(tmp_path: Path) -> None:
    path = tmp_path / "w.xlsx"
    book = openpyxl.Workbook()
    book.active["A1"] = "x"
    book.active["C4"] = "=1+2"
    book.save(path)
    rows = [list(cells) for _, cells in read_sheets(path)[0].rows()]
    assert rows == [["x", "", ""], ["", "", ""], ["", "", ""], ["", "", f"{NO_VALUE}=1+2"]]


def test_a_value_that_was_kept_is_read_and_an_error_value_is_not(tmp_path: Path) -> None:
    path = tmp_path / "w.xlsx"
    book = xlsxwriter.Workbook(str(path))
    sheet = book.add_worksheet("jobs")
    for column, (formula, value) in enumerate([("=1+1", 2), ("=NA()", "#N/A"), ('="a"', "a")]):
        sheet.write_formula(0, column, formula, None, value)
    book.close()
    assert list(read_sheets(path)[0].rows()) == [(1, (2.0, "#N/A", "a"))]


@pytest.mark.parametrize("place", ["target offset V [mm]", "soft foot before 1L [mm]", "notes", "found angle H [mm/m]"])
def test_a_row_with_such_a_cell_comes_back_with_its_place(
    place: str, engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    bring_in(engine, site, *[path for path in write(tmp_path, **FILES) if path.stem != "jobs"])
    path = book_of(tmp_path / "w.xlsx", with_cell(place, "=0.05+0.02"), [*with_cell("job", "J2")])
    report = bring_in(engine, site, path, accept_good=True)
    told = [(p.row, p.column.partition(" ")[0], p.code) for p in report.problems if p.code is not Code.SAME_MOMENT]
    letter = chr(ord("A") + HEADS.index(place))
    assert told == [(2, letter, Code.NO_VALUE)]
    assert [row.row for row in report.sheets[0].refused] == [2]
    # It is in what comes back, and keeps the row out until it is mended.
    refused = report.sheets[0].refused[0]
    mapping = propose(read_sheets(path), site.display).sheets[0]
    assert mapping.table is Table.JOBS
    write_mend(tmp_path / "back.xlsx", [Bad(mapping, [(refused.cells, refused.why)])])
    before = contents(engine)["job"]
    again = bring_in(engine, site, tmp_path / "back.xlsx", accept_good=True)
    assert [p.code for p in again.problems] == [Code.NO_VALUE]
    assert contents(engine)["job"] == before
