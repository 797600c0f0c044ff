"""Rows of units under the headings: which row is one, and of which columns what stands there is the unit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from models.intake.fields import Table
from models.intake.fitting import fitting
from models.intake.mapping import FileMapping, SheetMapping, propose
from models.intake.reading import Cell, Sheet
from models.intake.units_below import heading_row, units_below
from models.units import Display

HEAD = ("Job", "Machine", "Date", "Found offset V", "Found angle V")
ROW = ("A1", "P-1", "2026-05-04", "0.1", "0.2")
V, A = HEAD[3:]


def sheet_of(*rows: Sequence[Cell]) -> Sheet:
    cells = tuple(map(tuple, rows))
    return Sheet(Path("a.xlsx"), "Log", head=cells, _cells=cells)


def read(sheet: Sheet, length: str = "mm") -> SheetMapping:
    return propose([sheet], Display(length)).sheets[0]


def units_of(mapping: SheetMapping) -> list[str]:
    return [f"{c.unit}{'?' if c.asks else ''}" for c in mapping.columns if c.field and c.field.quantity]


@pytest.mark.parametrize(
    ("below", "units"),
    [
        (("", "", "", "mil", "mm/100mm"), ["mil", "mm/100mm"]), (("Units:", "-", "yyyy-mm-dd", "[mil]", "(mil/in)"), ["mil", "mil/in"]),
        (("", "", "", "mm", "1/100 mm"), ["mm", "?"]), (("", "", "", "mm", "mm"), ["mm", "?"]), (("-", "text", "date", "µm", "-"), ["µm", "mm/m"]),
        # A row without a day is no record of a job, whatever stands under its names.
        (("Nr.", "KKS", "Datum", "mil", "mil/in"), ["mil", "mil/in"]), (("initials", "Units →", "", "mil (0.0)", "{mil/in}"), ["mil", "mil/in"]),
        (("", "", "", "in mil", "[in mil/in]"), ["mil", "mil/in"]),
        (("", "", "", 'mils (0.001")', "mm/m"), ["?", "mm/m"]),
    ],
)  # fmt: skip
def test_a_row_of_units_is_that_of_its_columns(below: Sequence[str], units: list[str]) -> None:
    sheet = sheet_of(("Log of 2026",), HEAD, below, ROW)
    mapping = read(sheet)
    assert (mapping.header_row, units_of(mapping)) == (3, units)
    assert fitting(FileMapping((mapping,)), [sheet]) == (mapping,)
    before = replace(read(sheet_of(("Log of 2026",), HEAD, ROW)), header_row=2)
    assert fitting(FileMapping((before,)), [sheet]) == (), "it was made for a list without that row"


@pytest.mark.parametrize(
    "below",
    [
        ROW,
        ("A1", "P-1", "2026-05-04", "mm", "0.2"),
        ("A1", "P-1", "2026-05-04", "mm", "mm/m"),
        ("", "", "", "", ""),
        ("", "P-1", "", "mm", "0.2"),
        ("", "P-1", "", "n/a", "?"),
    ],
)
def test_a_record_is_no_row_of_units(below: Sequence[str]) -> None:
    assert read(sheet_of(HEAD, below, ROW)).header_row == 1


@pytest.mark.parametrize(
    ("head", "below"),
    [
        (("Tag", "Driven machine", "Coupling", "System"), ("FEEDPUMP-A", "pump", "short flexible", "HP")),
        (("Serial", "Description", "Method", "Team"), ("AB-X", "laser", "laser", "CM")),
        (("Tag", "Driven machine", "Coupling", "Power", "System"), ("FEEDPUMP-A", "pump", "short flexible", "", "HP")),
        (("Tag", "Driven machine", "Coupling", "Power"), ("FEEDPUMP-A", "-", "-", "kW")), (("Tag", "Driven machine", "Coupling", "Power", "Speed"), ("", "", "", "kW", "slow")),
    ],
)  # fmt: skip
def test_the_first_machine_or_instrument_is_no_row_of_units(head: Sequence[str], below: Sequence[str]) -> None:
    assert read(sheet_of(head, below, below)).header_row == 1


@pytest.mark.parametrize(
    ("head", "below", "is_one"),
    [
        (("Equipo", "Fecha", "DV", "AV"), ("", "", "1/100 mm", "mm/m"), True), (("Tag", "Fecha", "DV", "AV"), ("", "", "mil", "-"), True),
        (("Equipo", "Fecha", "DV", "Obs"), ("", "", "mil", "hoja 2"), False), (("Equipo", "Sistema"), ("P-1", "HP"), False),
        (("Equipo", "Sistema"), ("CM", "HP"), False), (("Equipo", "Fecha", "DV"), ("P-1", "02/03/2026", "mm"), False), (("Nombre",), ("CM",), False),
    ],
)  # fmt: skip
def test_below_headings_that_are_not_understood_a_row_of_nothing_but_units_is_theirs(
    head: Sequence[str], below: Sequence[str], *, is_one: bool
) -> None:
    sheet = sheet_of(head, below, ("P-1", "2026-05-04", "0.1", "0.2"))
    for table in (Table.JOBS, Table.ASSETS):
        assert (units_below(sheet, 1, table) is not None) is is_one
        assert heading_row(sheet, 2, table) == (1 if is_one else 2)


MERGED_HEAD = ("Machine", "Date", "Found offset V", "Found offset H", "Found angle V", "Found angle H")


@pytest.mark.parametrize(
    ("below", "merged", "length", "units"),
    [
        (("", "", "mil", "", "mil/in", ""), [(2, 3), (4, 5)], "mm", ["mil", "mil", "mil/in", "mil/in"]),
        (("", "", "mm", "", "mm/m", ""), [(2, 3), (4, 5)], "mil", ["mm", "mm", "mm/m", "mm/m"]),
        # Over numbers of several quantities it is the unit of those that know it, and for the others what a title is.
        (("", "", "mil", "", "", ""), [(2, 5)], "mm", ["mil", "mil", "?", "?"]), (("", "", "mm", "", "", ""), [(2, 5)], "mm", ["mm", "mm", "mm/m", "mm/m"]),
        (("", "", "mil", "", "mil/in", ""), [], "mm", ["mil", "mil?", "mil/in", "mm/m"]), (("", "", "mil", "", "", ""), [(2, 9_999)], "mm", ["mil", "mil", "?", "?"]),
    ],
)  # fmt: skip
def test_a_unit_merged_over_columns_is_that_of_all_of_them(
    below: Sequence[str], merged: Sequence[tuple[int, int]], length: str, units: list[str]
) -> None:
    sheet = sheet_of(("Log",), MERGED_HEAD, below, ("P-1", "2026-05-04", 5.0, -2.0, 3.0, 1.0))
    sheet = replace(sheet, merged=tuple(((2, first), (2, last)) for first, last in merged))
    mapping = read(sheet, length)
    assert (mapping.header_row, units_of(mapping)) == (3, units)


def test_blank_rows_part_headings_from_their_units() -> None:
    sheet = sheet_of(HEAD, (), ("", None), ("", "", "", "mil", "mil/in"), ROW)
    mapping = read(sheet)
    assert (mapping.header_row, mapping.headings[3:]) == (4, (f"{V} [mil]", f"{A} [mil/in]"))
    assert fitting(FileMapping((mapping,)), [sheet]) == (mapping,)
