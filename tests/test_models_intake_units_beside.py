"""Units outside headings and cells, and what a site has confirmed for the same headings: read, or asked about."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from models.intake.answered import Confirmed, as_answered
from models.intake.fields import FIELDS, Table
from models.intake.fitting import changed_by_hand, differences, fitting
from models.intake.mapping import FileMapping, SheetMapping, propose
from models.intake.mapping_file import from_toml, to_toml
from models.intake.reading import Cell, Sheet
from models.units import Display

_FIELDS = {field.key: field for field in FIELDS if field.table is Table.JOBS}
HEAD = ("Job", "Machine", "Date", "Found offset V", "Found angle V")
ROW = ("A1", "P-1", "2026-05-04", "0.1", "0.2")


def sheet_of(*rows: Sequence[Cell], name: str = "Log") -> Sheet:
    cells = tuple(map(tuple, rows))
    return Sheet(Path("a.xlsx"), name, head=cells, _cells=cells)


def read(sheet: Sheet, length: str = "mm") -> SheetMapping:
    return propose([sheet], Display(length)).sheets[0]


def units_of(mapping: SheetMapping) -> list[str]:
    return [f"{c.unit}{'?' if c.asks else ''}" for c in mapping.columns if c.field and c.field.quantity]


@pytest.mark.parametrize(
    ("below", "units"),
    [
        (("", "", "", "mil", "mm/100mm"), ["mil", "mm/100mm"]), (("Units:", "-", "yyyy-mm-dd", "[mil]", "(mil/in)"), ["mil", "mil/in"]),
        (("", "", "", "mm", "1/100 mm"), ["mm", "?"]), (("", "", "", "mm", "mm"), ["mm", "?"]), (("-", "text", "date", "µm", "-"), ["µm", "mm/m"]),
    ],
)  # fmt: skip
def test_a_row_of_units_is_that_of_its_columns(below: Sequence[str], units: list[str]) -> None:
    sheet = sheet_of(("Log of 2026",), HEAD, below, ROW)
    mapping = read(sheet)
    assert (mapping.header_row, units_of(mapping)) == (3, units)
    assert fitting(FileMapping((mapping,)), [sheet]) == (mapping,)
    before = replace(read(sheet_of(("Log of 2026",), HEAD, ROW)), header_row=2)
    assert fitting(FileMapping((before,)), [sheet]) == (), "the units were a bad record for it"


@pytest.mark.parametrize(
    "below",
    [ROW, ("A1", "P-1", "2026-05-04", "mm", "0.2"), ("A1", "P-1", "2026-05-04", "mm", "mm/m"), ("", "", "", "", "")],
)
def test_a_record_is_no_row_of_units(below: Sequence[str]) -> None:
    assert read(sheet_of(HEAD, below, ROW)).header_row == 1


@pytest.mark.parametrize(
    ("said", "units"),
    [
        ("All offsets in mils, angles in mils/inch", ["mil?", "mil/in?"]), ("[values in 1/100 mm]", ["?", "?"]), ("values in 0.01 mm", ["?", "?"]),
        ("Plant 2026 in mils", ["mil?", "?"]), ("offsets: µm, angles: mm/m", ["µm?", "mm/m"]), ("Units: imperial", ["?", "?"]),
        ("Readings in 1/1000 in", ["?", "?"]), ("gap per 100 mm", ["?", "?"]), ("all in mm", ["mm", "mm/m"]), ("Units: metric", ["mm", "mm/m"]),
        ("Tolerance 0.05 mm, 3 mil; resolution 0.01 mm", ["mm", "mm/m"]), ("Motor 75 kW, 1480 rpm, 20 °C, 10/2026", ["mm", "mm/m"]),
    ],
)  # fmt: skip
def test_a_title_that_speaks_of_other_units_is_asked_about(said: str, units: list[str]) -> None:
    sheet = sheet_of((said,), (), HEAD, ROW)
    assert units_of(read(sheet)) == units
    assert units_of(read(sheet_of(HEAD, ROW, name=said))) == units
    # What states its unit itself is as it says.
    assert units_of(
        read(sheet_of((said,), (*HEAD[:3], "Found offset V [mil]", "Found angle V"), (*ROW[:4], "0.2 mm/m")))
    ) == ["mil", "mm/m"]


def test_a_mapping_reads_no_list_of_whose_units_something_else_is_said() -> None:
    plain, titled = sheet_of(HEAD, ROW), sheet_of(("all in mils, mils/inch",), HEAD, ROW)
    other = sheet_of(("all in mm and mm/m",), HEAD, ROW)
    in_mm = read(plain)
    in_mil = from_toml(to_toml(FileMapping((read(titled),)), "a").replace("?", ""), Path("a.toml")).sheets[0]
    assert in_mil.units_said == ("mils", "mils/inch")
    for of in (in_mm, in_mil):
        made = FileMapping((of,), mark="1")
        assert [changed_by_hand(made, ["1"], [sheet]) for sheet in (plain, titled)] == ["", ""], "nobody changed it"
    assert "says 'mils', 'mils/inch' above or beside its columns, where it was nothing" in differences(in_mm, titled)
    assert [bool(fitting(FileMapping((in_mm,)), [sheet])) for sheet in (plain, titled, other)] == [True, False, True]
    assert [bool(fitting(FileMapping((in_mil,)), [sheet])) for sheet in (plain, titled, other)] == [False, True, False]
    assert fitting(FileMapping((in_mil,)), [sheet_of((*HEAD, "what to mend"), ROW)]), (
        "rows that came back bear no title"
    )


@pytest.mark.parametrize(
    ("heading", "cells", "field", "units"),
    [
        ("Unit", ("mil", "mm"), "", ["?", "?"]), ("Units of offsets", ("mil", "mil"), "", ["mil?", "mm/m"]), ("Unit", ("mm", "mm"), "", ["mm", "mm/m"]),
        ("Units of offsets", ("hundredths", "mm"), "", ["?", "mm/m"]), ("EU", ("mil", "mil"), "", ["mil?", "?"]),
        ("Unit", ("100", "C"), "area", ["mm", "mm/m"]), ("Unit", ("CDU", "in"), "area", ["mm", "mm/m"]),
    ],
)  # fmt: skip
def test_a_column_of_units_is_no_area_and_what_it_says_is_asked(
    heading: str, cells: Sequence[str], field: str, units: list[str]
) -> None:
    rows = [(*ROW, cells[0])] * 70 + [(*ROW, cells[1])]
    sheet = sheet_of((*HEAD, heading), *rows)
    mapping = read(replace(sheet, head=(*sheet.head[:60],)) if not field else sheet)
    last = mapping.columns[-1].field
    assert (last.key if last else "", units_of(mapping)) == (field, units)


def kept(name: str, *answers: tuple[str, str, str, float], words: dict[str, str] | None = None) -> Confirmed:
    """Make what was confirmed: heading, key of the field, unit, factor."""
    base = read(sheet_of(HEAD, ROW))
    columns = tuple(
        replace(base.columns[0], index=at, heading=heading, field=_FIELDS.get(key), unit=unit, times=times)
        for at, (heading, key, unit, times) in enumerate(answers)
    )
    return Confirmed(name, replace(base, columns=columns, words=words or {}))


V, A = "Found offset V", "Found angle V"
MIL = (V, "found_offset_v", "mil", -1.0)


@pytest.mark.parametrize(
    ("before", "heading", "shown"),
    [
        ([kept("a", MIL)], V, "found_offset_v mil? -1? in a"), ([kept("a", (V, "found_offset_v", "mm", 1.0))], V, "found_offset_v mm 1"),
        ([kept("a", MIL), kept("b", (V, "found_offset_v", "mm", 1.0))], V, "found_offset_v mm? 1? in a, b"),
        ([kept("a", MIL), kept("b", MIL)], V, "found_offset_v mil? -1? in a, b"),
        ([kept("a", (V, "left_offset_v", "mm", 1.0))], V, "left_offset_v? mm 1 in a"), ([kept("a", (V, "", "", 1.0))], V, "found_offset_v? mm 1 in a"),
        # What the heading leaves open was answered for it; of the unit of one that was not understood nothing is said but by the site.
        ([kept("a", (f"{V} [1/100 mm]", "found_offset_v", "mm", 0.01))], f"{V} [1/100 mm]", "found_offset_v mm 0.01 in a"),
        ([kept("a", (f"{V} hot", "", "", 1.0))], f"{V} hot", "left out in a"), ([kept("a", ("VO", "found_offset_v", "mm", 1.0))], "VO", "found_offset_v mm 1 in a"),
        ([kept("a", ("VO", "found_offset_v", "mil", 1.0))], "VO", "found_offset_v mil? 1 in a"), ([kept("a", MIL)], V.upper(), "found_offset_v mm 1"),
        ([kept("a", (f"{V} [mil]", "found_offset_v", "mil", -1.0))], f"{V} [mil]", "found_offset_v mil -1? in a"),
    ],
)  # fmt: skip
def test_a_new_list_starts_from_what_was_confirmed_for_the_same_heading(
    before: list[Confirmed], heading: str, shown: str
) -> None:
    made = as_answered(read(sheet_of((*HEAD[:3], heading, A), ROW)), before, Display("mm"))
    column = made.columns[3]
    said = {
        "field": column.field.key if column.field else "left out",
        "unit": column.unit,
        "times": f"{column.times:g}" if column.field else "",
    }
    text = " ".join(
        f"{said[ask]}{'?' if ask in column.asks else ''}" for ask in said if said[ask] or ask in column.asks
    )
    assert text + (f" in {column.as_in}" if column.as_in else "") == shown
    again = from_toml(to_toml(FileMapping((made,)), "a"), Path("a.toml")).sheets[0].columns[3]
    assert (again.field, again.asks, again.as_in, again.why) == (column.field, column.asks, column.as_in, column.why)


def test_what_was_confirmed_makes_no_second_column_of_a_field_and_loses_none_that_is_needed() -> None:
    sheet = sheet_of(("Machine", "Equip", "Date", V, "VO"), ("P-1", "P-1", "2026-05-04", "1", "1"))
    before = [kept("a", ("Equip", "tag", "", 1.0), ("VO", "found_offset_v", "mm", 1.0), ("Date", "", "", 1.0))]
    made = as_answered(read(sheet), before, Display("mm"))
    assert [(c.field.key if c.field else "", sorted(c.asks)) for c in made.columns] == [
        ("tag", ["field"]), ("tag", []), ("performed", []), ("found_offset_v", ["field"]), ("found_offset_v", []),
    ]  # fmt: skip
    assert from_toml(to_toml(FileMapping((made,)), "a"), Path("a.toml")).is_open


def test_a_word_means_what_was_confirmed_unless_that_differs_from_list_to_list() -> None:
    sheet = sheet_of((*HEAD, "Reason"), (*ROW, "vib high"), (*ROW, "PM"))
    here = read(sheet)
    one, two = kept("a", words={"vib high": "repair", "PM": "planned"}), kept("b", words={"vib high": "condition"})
    assert as_answered(here, [one], Display("mm")).words == {"vib high": "repair", "PM": "planned"}
    assert as_answered(here, [one, two], Display("mm")).words == {"vib high": "", "PM": "planned"}


def test_what_stands_above_a_list_was_not_answered_by_one_without_it() -> None:
    titled = read(sheet_of(("all in mils",), HEAD, ROW))
    plain = kept("a", (V, "found_offset_v", "mm", 1.0))
    assert as_answered(titled, [plain], Display("mm")).columns[3] == titled.columns[3]
    with_title = Confirmed("b", replace(plain.sheet, units_said=("mils",)))
    assert units_of(as_answered(titled, [with_title], Display("mm")))[0] == "mm"
