"""The ugly register: every planted fault stands where the list says, and the mended one differs in nothing else."""

from __future__ import annotations

from collections import Counter
from datetime import datetime
from pathlib import Path

import pytest
from openpyxl import load_workbook
from openpyxl.worksheet.worksheet import Worksheet

from models.intake.problems import Code, Severity
from models.units import Quantity, parse
from seed_data.register import JOBS, LOG, LOG_HEADINGS, MACHINE_HEADINGS, MACHINES, log_lines, machine_lines
from seed_data.ugly import HAND_CONVERTED, Fault, write_mended, write_ugly

MEASURED = {
    # Column, quantity, and the unit that its heading states.
    "found": (("G", "offset", "thou"), ("H", "angularity", "mil/in"), ("I", "offset", "thou"), ("J", "angularity", "mil/in")),
    "left": (("K", "offset", "mm"), ("L", "angularity", "mm/m"), ("M", "offset", "mm"), ("N", "angularity", "mm/m")),
}  # fmt: skip


@pytest.fixture(scope="module")
def ugly(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[Fault]]:
    path = tmp_path_factory.mktemp("ugly") / "register.xlsx"
    return path, write_ugly(path)


@pytest.fixture(scope="module")
def mended(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("mended") / "register.xlsx"
    write_mended(path)
    return path


def shown(sheet: Worksheet, fault: Fault) -> str:
    value = sheet[f"{fault.column}{fault.row}"].value
    if isinstance(value, datetime):
        return value.date().isoformat()
    return "" if value is None else str(value)


def test_every_planted_fault_stands_at_its_place(ugly: tuple[Path, list[Fault]]) -> None:
    path, faults = ugly
    book = load_workbook(path)
    for fault in faults:
        if fault.column:
            assert shown(book[fault.sheet], fault) == fault.found, fault
        else:
            assert book[fault.sheet].cell(fault.row, 1).value == "Total"


def test_faults_are_many_of_many_kinds_and_speak_the_codes_of_the_import(ugly: tuple[Path, list[Fault]]) -> None:
    _, faults = ugly
    assert len(faults) == len(set(faults)) >= 25
    kinds = Counter(fault.code for fault in faults)
    assert set(kinds) <= {str(code) for code in Code}
    assert {fault.severity for fault in faults} == {str(Severity.ERROR), str(Severity.WARNING)}
    assert {
        "not-a-number",
        "ambiguous-number",
        "bad-date",
        "future-date",
        "unknown-asset",
        "impossible-value",
        "odd-value",
        "missing-value",
        "incomplete-misalignment",
        "left-without-found",
        "duplicate-in-file",
        "key-conflict-in-file",
        "not-a-choice",
    } <= set(kinds)


def test_the_same_bytes_come_out_each_time(ugly: tuple[Path, list[Fault]], tmp_path: Path) -> None:
    path, faults = ugly
    assert write_ugly(tmp_path / "again.xlsx") == faults
    assert (tmp_path / "again.xlsx").read_bytes() == path.read_bytes()


def test_the_mended_register_differs_only_where_an_error_was_planted(
    ugly: tuple[Path, list[Fault]], mended: Path
) -> None:
    path, faults = ugly
    errors = {(f.sheet, f"{f.column}{f.row}") for f in faults if f.severity == "error"}
    repeated = {f.row for f in faults if f.code == "duplicate-in-file"}
    before, after = load_workbook(path), load_workbook(mended)
    changed = set()
    for name in (MACHINES, LOG):
        for row in before[name].iter_rows():
            for cell in row:
                if cell.value != after[name][cell.coordinate].value and not (name == LOG and cell.row in repeated):
                    changed.add((name, cell.coordinate))
    blanks = {(f.sheet, f"{f.column}{f.row}") for f in faults if f.severity == "error" and not f.found}
    assert changed | blanks == errors - {(LOG, f"A{row}") for row in repeated}
    for name, place in errors - {(LOG, f"A{row}") for row in repeated}:
        assert after[name][place].value is not None
    for number in repeated:
        assert all(cell.value is None for cell in after[LOG][number])


def test_five_jobs_converted_by_hand_agree_with_the_mended_cells(mended: Path) -> None:
    """Twin: the hand's arithmetic (1 mil = 0.0254 mm, 1 mil/in = 1 mm/m, exact) against the unit parser on the cells."""
    sheet = load_workbook(mended)[LOG]
    rows = {sheet.cell(row, 1).value: row for row in range(1, sheet.max_row + 1)}
    assert len(HAND_CONVERTED) == 5
    for job in HAND_CONVERTED:
        for stage, wanted in (("found", job.found), ("left", job.left)):
            for (letter, quantity, unit), number in zip(MEASURED[stage], wanted.as_tuple(), strict=True):
                cell = sheet[f"{letter}{rows[job.ref]}"].value
                read = parse(str(cell), Quantity(quantity), unit)
                assert read.value == pytest.approx(number, abs=1e-12), (job.ref, letter)


def test_the_register_is_as_mixed_as_it_says() -> None:
    lines, machines = log_lines(), machine_lines()
    headings = next(line for line in lines if line.cells == LOG_HEADINGS)
    assert headings.row == 4
    assert machines[1].cells == MACHINE_HEADINGS
    body = [line for line in lines if line.row > headings.row]
    assert sum(not line.cells for line in body) == 1, "one empty line in between"
    assert body[-1].cells[0] == "Total"
    dates = Counter(type(line.cells[2]).__name__ for line in body if line.cells)
    assert dates["str"] > 50
    assert dates["date"] > 30
    written = [str(cell) for line in body for cell in line.cells[6:14] if isinstance(cell, str)]
    for unit in ("mm", "mil", "µm", "thou", "in"):
        assert any(text.endswith(unit) for text in written), unit
    assert any("," in text for text in written)
    assert len({line.cells[0] for line in body if line.cells}) == JOBS + 1
    assert [line.row for line in lines] == list(range(1, len(lines) + 1))
