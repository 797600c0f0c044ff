"""Merged cells are read as a person sees them where that is certain, and asked about elsewhere; a heading between rows is no machine."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest

from models.errors import UnreadableFileError
from models.intake.between import names_of, shape
from models.intake.fields import Table
from models.intake.mapping import propose
from models.intake.merged import rows_below, told
from models.intake.problems import Code, Problem, Severity
from models.intake.reading import Cell, Sheet, read_sheets
from models.intake.rows import Row, RowReader
from models.intake.shown_cells import MERGED
from models.units import Display
from tests.test_models_intake_rows import ZONE

JOBS = ("tag", "performed at", "people", "found offset V [mm]", "found angle V [mm/m]", "found offset H [mm]",
        "found angle H [mm/m]", "target offset V [mm]", "target offset H [mm]", "remarks")  # fmt: skip
MACHINES = ("Tag", "Description", "Area", "Coupling", "Spacer [mm]", "Speed [rpm]")
Ranges = tuple[tuple[tuple[int, int], tuple[int, int]], ...]


def sheet_of(*rows: tuple[Cell, ...], merged: Ranges = ()) -> Sheet:
    width = max(map(len, rows))
    cells = tuple((*row, *([""] * (width - len(row)))) for row in rows)
    return Sheet(Path("a.xlsx"), "a", head=cells[:60], merged=merged, _cells=cells)


def read(sheet: Sheet, table: Table, *, known: str = "") -> tuple[dict[int, Row], list[Problem]]:
    mapping = propose([sheet], Display("mm", "°C")).sheets[0]
    assert mapping.table is table
    reader = RowReader(
        mapping, "a.xlsx", ZONE, headings=sheet.head[mapping.header_row - 1],
        knows=lambda name: name == known, is_spelled_so=names_of(sheet, mapping),
    )  # fmt: skip
    rows = (reader.read(number, cells) for number, cells in rows_below(sheet, mapping))
    return {row.number: row for row in rows if row is not None}, told(sheet, mapping)


def job(day: int, *more: Cell) -> tuple[Cell, ...]:
    return ("P-1", f"2025-05-0{day}", "", 0.1, 0.1, 0.1, 0.1, *more)


def codes(row: Row) -> list[tuple[Code, Severity]]:
    return [(problem.code, problem.severity) for problem in row.problems]


def test_what_is_merged_down_holds_in_each_row_and_it_is_said() -> None:
    """Once: the target of the first row only, and the five below it within where they are far over."""
    first = ("P-1", "2025-05-01", "Ana Wick", 0.1, 0.1, 0.1, 0.1, 0.25)
    sheet = sheet_of(JOBS, first, job(2), job(3), (), merged=(((1, 7), (4, 7)), ((1, 2), (3, 2))))
    rows, problems = read(sheet, Table.JOBS)
    assert [row.values["target_offset_v"] for row in rows.values()] == [0.25] * 3
    assert [row.values["people"] for row in rows.values()] == [("Ana Wick",)] * 3
    assert all(row.is_good for row in rows.values())
    assert [(p.code, p.row, p.found) for p in problems] == [(Code.MERGED, 2, "0.25"), (Code.MERGED, 2, "Ana Wick")]


def test_a_reading_is_of_one_visit_and_a_number_of_one_column() -> None:
    sheet = sheet_of(
        JOBS, job(1, 0.25), ("P-1", "2025-05-02", "", "", "", "", ""), job(3, "", "", "see below"),
        merged=(((1, 3), (2, 3)), ((1, 7), (1, 8)), ((3, 9), (3, 11))),
    )  # fmt: skip
    rows, problems = read(sheet, Table.JOBS)
    assert [p.column for p in rows[2].problems if p.code is Code.MERGED] == ["I (target offset H [mm])"]
    assert [p.found for p in rows[3].problems if p.code is Code.MERGED] == [f"{MERGED}0.1"]
    assert not rows[2].is_good
    assert not rows[3].is_good
    assert rows[4].is_good
    assert not problems


def test_a_remark_over_free_cells_says_nothing_of_them() -> None:
    noted = sheet_of(
        ("tag", "performed at", *JOBS[3:7], "remarks", "hours run [h]", "target offset V [mm]"),
        ("P-1", "2025-05-01", 0.1, 0.1, 0.1, 0.1, "a long remark over free cells"), merged=(((1, 6), (1, 8)),),
    )  # fmt: skip
    rows, problems = read(noted, Table.JOBS)
    assert rows[2].is_good
    assert not problems


def test_titles_and_headings_are_not_spread_into_the_rows() -> None:
    title, double = ("Register of the works", *[""] * 5), ("Tag", "", "", "", "", "")
    sheet = sheet_of(
        title, MACHINES, double[:0], ("P-1", "pump", "South", "spacer", 140, 1480),
        merged=(((0, 0), (0, 5)), ((1, 0), (2, 0)), ((1, 1), (2, 1))),
    )  # fmt: skip
    rows, problems = read(sheet, Table.ASSETS)
    assert [row.values["tag"] for row in rows.values()] == ["P-1"]
    assert not problems


def test_an_area_is_no_machine() -> None:
    """Once: of five machines two were headings between them."""
    rows, _ = read(
        sheet_of(
            MACHINES, ("AREA 100 - COOLING",), ("P-101A", "pump"), ("P-102",), ("U300",), ("Fans of the south",), ("K-201",),
            merged=(((1, 0), (1, 4)),),
        ),
        Table.ASSETS, known="K-201",
    )  # fmt: skip
    assert rows[2].is_total
    assert codes(rows[2]) == [(Code.HEADING_BETWEEN, Severity.WARNING)]
    assert {number for number, row in rows.items() if row.is_good and not row.is_total} == {3, 4, 7}
    assert codes(rows[5]) == codes(rows[6]) == [(Code.HEADING_BETWEEN, Severity.ERROR)]


def test_a_register_of_nothing_but_tags_stays_good() -> None:
    for rows in ([MACHINES, ("Pump one",), ("P-1",)], [("tag", "description"), ("AREA 1", ""), ("P-1", "")]):
        found, _ = read(sheet_of(*rows), Table.ASSETS)
        assert [row.is_good for row in found.values()] == [True, True]


@pytest.mark.parametrize(
    ("name", "spelled"),
    [("P-101A", "a-9"), ("P-7", "a-9"), ("AREA 100", "W 9"), ("U300", "a9"), ("10-P-3 b", "9-a-9"), ("Fans", "W")],
)
def test_how_a_name_is_spelled(name: str, spelled: str) -> None:
    assert shape(name) == spelled


def test_the_merges_of_a_workbook_are_found_and_those_over_one_another_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.xlsx"
    book = openpyxl.Workbook()
    for row in (JOBS, job(1, 0.25), job(2)):
        book.active.append(row)
    book.active.merge_cells("H2:H3")
    book.save(path)
    sheet = read_sheets(path)[0]
    assert sheet.merged == (((1, 7), (2, 7)),)
    over = sheet_of(*(cells for _, cells in sheet.rows()), merged=sheet.merged * 100)
    with pytest.raises(UnreadableFileError, match="merged already"):
        read(over, Table.JOBS)
