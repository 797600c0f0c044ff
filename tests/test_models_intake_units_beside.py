"""Units outside headings and cells, and what a site has confirmed for the same headings: read, or asked about."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from models.commands.choose_mapping import Chooser
from models.intake.answered import Confirmed, as_answered
from models.intake.fields import FIELDS, Table
from models.intake.fitting import changed_by_hand, differences, fitting, suiting
from models.intake.mapping import FileMapping, SheetMapping, propose
from models.intake.mapping_file import from_toml, to_toml
from models.intake.proposing import Ask
from models.intake.reading import Cell, Sheet
from models.intake.units_below import names_above
from models.units import Display
from models.values.story import Site

_FIELDS = {field.key: field for field in FIELDS if field.table is Table.JOBS}
HEAD = ("Job", "Machine", "Date", "Found offset V", "Found angle V")
ROW = ("A1", "P-1", "2026-05-04", "0.1", "0.2")
V, A = HEAD[3:]


def sheet_of(*rows: Sequence[Cell], name: str = "Log") -> Sheet:
    cells = tuple(map(tuple, rows))
    return Sheet(Path("a.xlsx"), name, head=cells, _cells=cells)


def read(sheet: Sheet, length: str = "mm") -> SheetMapping:
    return propose([sheet], Display(length)).sheets[0]


def units_of(mapping: SheetMapping) -> list[str]:
    return [f"{c.unit}{'?' if c.asks else ''}" for c in mapping.columns if c.field and c.field.quantity]


@pytest.mark.parametrize(
    "said",
    [
        "dates as MM/DD/YYYY", "MM-DD-YYYY", "mm.yy", "hh:mm", "MM maintenance", "Vibration in mm/s", "Metric Pumps",
        "Foot distances in mm", "DBSE [mm]", "Shims in mm, soft foot (mm)", "Shims in stock: 0.05 mm, 0.1 mm, 0.25 mm",
        "All in mils. Foot distances in inches.", "Readings in mils and distances in inches", "Mils, except foot distances (inches)",
    ],
)  # fmt: skip
def test_what_is_no_unit_of_lengths_in_a_title_is_not_asked_about(said: str) -> None:
    assert units_of(read(sheet_of((f"Log of Mill 2 - {said}",), HEAD, ROW), "mil")) == ["mil", "mil/in"]


@pytest.mark.parametrize(
    ("said", "length", "offset", "fits"),
    [
        ("Offsets in 1/100 mm, angles in mm/m", "mm", ("mm", -0.01), True), ("Offsets in 1/100 mm, angles in mm/m", "mm", ("mm", -1), False),
        ("[values in 1/100 mm]", "mm", ("mm", 0.01), True), ("values in hundredths", "mm", ("mm", 0.01), True), ("values in hundredths", "mm", ("mm", 1), False),
        ("values in 0.01 mm", "mil", ("mil", 1), False), ("all in mils", "mm", ("mil", 1), True), ("all in mils", "mm", ("mm", 0.0254), True),
        ("all in mils", "mm", ("mm", 1), False), ("Units: imperial", "mm", ("mil", 1), True),
    ],
)  # fmt: skip
def test_what_was_answered_for_a_list_without_a_title_goes_where_it_is_what_the_title_says(
    said: str, length: str, offset: tuple[str, float], *, fits: bool
) -> None:
    sheet, way = sheet_of((said,), HEAD, ROW), (V, "found_offset_v", *offset)
    new = read(sheet, length)
    column = as_answered(new, [kept("a", way)], Display(length), suiting(sheet, new)).columns[3]
    assert ((column.unit, column.times) == offset, bool(column.asks)) == (fits, not fits)


@pytest.mark.parametrize(
    ("said", "length", "chosen", "goes_on"),
    [
        ("Found in mm, shims in mil", "mm", {"Soft foot 1L": ("mil", 1.0)}, False), ("Readings in mm", "mm", {"Soft foot 1L": ("mil", 1.0)}, False),
        ("Units: imperial", "mil", {A: ("mrad", 1.0)}, False), ("Readings in mm", "mm", {}, True), ("all in mm", "mm", {V: ("mm", -1.0)}, True),
        ("Readings in 1/100 mm", "mm", {V: ("mm", 0.01), A: ("mm/m", 0.01)}, False),
    ],
)  # fmt: skip
def test_a_confirmed_mapping_reads_the_list_that_it_was_made_for_whatever_was_chosen(
    said: str, length: str, chosen: dict[str, tuple[str, float]], *, goes_on: bool
) -> None:
    head, row = (*HEAD, "Soft foot 1L"), (*ROW, "0.1")
    sheet = sheet_of((said,), head, row)
    made = read(sheet, length)
    ways = [chosen.get(c.heading, (c.unit or length, c.times)) for c in made.columns]
    columns = [
        replace(c, unit=unit, times=times, asks=frozenset(), why="") if c.field and c.field.quantity else c
        for c, (unit, times) in zip(made.columns, ways, strict=True)
    ]
    mapping = FileMapping((replace(made, columns=tuple(columns)),), confirmed=True, units=f"{length}, °C")
    assert len(fitting(mapping, [sheet])) == 1
    # Where nothing is said any more, it reads on if that is what would be proposed.
    assert bool(fitting(mapping, [sheet_of(head, row)])) is goes_on


def test_a_sign_that_was_answered_is_not_lost_to_a_row_of_units() -> None:
    sheet = sheet_of(HEAD, ("", "", "", "mil", "mm/m"), ROW)
    new = read(sheet)
    columns = [names_above(sheet, new.header_row, new.table), names_above(sheet, 1, new.table)]
    assert columns == [list(HEAD), []]
    before = kept("a", (V, "found_offset_v", "mm", -1.0), (A, "found_angle_v", "mm/m", 1.0))
    made = as_answered(new, [before], Display("mm"), above=columns[0]).columns[3:5]
    assert [(c.unit, c.times, sorted(c.asks)) for c in made] == [("mil", -1.0, ["times"]), ("mm/m", 1.0, [])]


@pytest.mark.parametrize(
    ("said", "units"),
    [
        ("All offsets in mils, angles in mils/inch", ["mil?", "mm/m"]), ("[values in 1/100 mm]", ["?", "?"]), ("values in 0.01 mm", ["?", "?"]),
        ("Plant 2026 in mils", ["mil?", "?"]), ("offsets: µm, angles: mm/m", ["µm?", "mm/m"]), ("Units: imperial", ["?", "?"]),
        ("Readings in 1/1000 in", ["?", "?"]), ("gap per 100 mm", ["mm", "?"]), ("all in mm", ["mm", "mm/m"]), ("Units: metric", ["mm", "mm/m"]),
        ("Tolerance 0.05 mm, 3 mil; resolution 0.01 mm", ["mm", "mm/m"]), ("Motor 75 kW, 1480 rpm, 20 °C, 10/2026", ["mm", "mm/m"]),
        ("Shims and offsets in mils", ["mil?", "?"]), ("Shims in mils, all readings too: mils", ["mil?", "?"]), ("shim log in mils", ["mil?", "?"]),
        ("Values in 0.01 mm; base shims at all feet 0.25 mm", ["?", "?"]), ("in 0.1 mm, 0.01 mm", ["?", "?"]),
        ("Offsets, angles, shims in mils", ["mil?", "?"]), ("Offset (V, H), soft foot (mils)", ["mil?", "?"]), ("Offset; angle; soft foot: mils", ["mil?", "?"]),
        ("1. mils", ["mil?", "?"]), ("mils, 1780 rpm", ["mil?", "?"]), ("0.01 mm, 75 kW", ["?", "?"]), ("Readings in 0.01 mm; 500 mm span", ["?", "?"]),
        ("Offsets in 1/100 mm, angles in mm/m", ["?", "mm/m"]), ("CM alignment log, HP pumps, Imperial Mill (IN)", ["mm", "mm/m"]), ("Values in hundredths of a mm", ["?", "?"]),
        ("Readings in 1/100 mm, tolerance 0.05 mm", ["?", "?"]), ("Tolerance 0.05 mm, offsets in 1/100 mm", ["?", "?"]), ("Readings in 1/100 mm (max 5)", ["?", "?"]),
        ("Readings and tolerances in 1/100 mm", ["?", "?"]), ("Limits & offsets: 1/100 mm", ["?", "?"]), ("Readings, tolerances in 1/100 mm", ["?", "?"]), ("Readings, tolerance 0.01 mm", ["mm", "mm/m"]), ("Readings in mm, tolerances in 0.01 mm", ["mm", "mm/m"]), ("Tolerance values/limits in 1/100 mm", ["mm", "mm/m"]),
        ("Tolerance in 1/100 mm, readings in mm", ["mm", "mm/m"]), ("Tolerances: offset 0.1 mm, angle 0.1 mm/m", ["mm", "mm/m"]),
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


def test_hundredths_in_a_title_are_read_once_it_is_said_by_what_they_are_multiplied() -> None:
    column = read(sheet_of(("TIR, offsets in 1/100 mm, angles in mm/m",), HEAD, ROW)).columns[3]
    assert (column.unit, column.guess_of_times, column.asks) == ("", "", {Ask.UNIT, Ask.TIMES})
    assert "'1/100 mm'" in column.why
    assert "whether the numbers are halved" in column.why
    assert read(sheet_of(("in mils",), HEAD, ROW)).columns[3].asks == {Ask.UNIT}


@pytest.mark.parametrize(
    ("said", "asked"),
    [
        ("All readings TIR", "0.5? 1"), ("Log - t.i.r., mm", "1 1"), ("T.I.R. in mm", "0.5? 1"), ("Total indicator readings", "0.5? 1"), ("Full Indicator movement", "0.5? 1"),
        ("Dial indicator log", "1 1"), ("Tolerance 0.05 mm TIR", "1 1"), ("Fim de turno", "1 1"), ("Hot alignment log", "1?? 1??"), ("Readings (hot)", "1?? 1??"), ("Log in hot condition", "1?? 1??"), ("Hot state", "1?? 1??"), ("Hot well pumps", "1 1"), ("Hot strip mill", "1 1"),
        ("TIR, hot", "0.5??? 1??"),
    ],
)  # fmt: skip
def test_a_word_of_how_readings_were_taken_is_asked_about_in_a_title_as_in_a_heading(said: str, asked: str) -> None:
    head, row = (*HEAD, "Soft foot 1L", "Target offset V"), (*ROW, "0.1", "0.1")
    plain, titled = sheet_of(head, row), sheet_of((said,), head, row)
    made, before = read(titled), read(plain)
    marks = {Ask.TIMES: "?", Ask.FIELD: "??"}
    columns = made.columns[3:5]
    assert (
        " ".join(f"{c.times:g}{''.join(marks[ask] for ask in sorted(c.asks, reverse=True))}" for c in columns) == asked
    )
    assert made.columns[5].asks == frozenset(), "a foot is not on a rim"
    assert read(sheet_of(head, row, name=said)).questions == [
        one.replace("row 1 above the headings", "the name of the sheet").replace("Log,", f"{said},")
        for one in made.questions
    ]
    is_asked = "?" in asked
    assert bool(fitting(FileMapping((before,), confirmed=True), [titled])) is not is_asked
    answered = replace(made, columns=tuple(replace(c, asks=frozenset(), why="") for c in made.columns))
    assert fitting(FileMapping((answered,), confirmed=True, units="mm, °C"), [titled]) == (answered,)
    for other in (plain, sheet_of(("Readings in mm",), head, row)):
        assert bool(fitting(FileMapping((answered,), confirmed=True, units="mm, °C"), [other])) is ("0.5" not in asked)
    assert bool(fitting(FileMapping((made,), units="mm, °C"), [plain])) is not is_asked, (
        "a question is about its own list"
    )
    # What was confirmed for a list without that title answers no such question; for one with it, it does.
    again = as_answered(made, [Confirmed("a", before)], Display("mm"), suiting(titled, made))
    assert again.questions == made.questions
    assert as_answered(made, [Confirmed("a", answered)], Display("mm"), suiting(titled, made)).questions == []


@pytest.mark.parametrize("text", ["mm" * 10_000, "." * 1_000, "hundredth " * 2_000, "1" * 20_000 + "x"])
def test_a_title_or_a_row_below_the_headings_of_any_length_takes_no_time(text: str) -> None:
    """One of a megabyte, as a CSV may have, took hours."""
    sheet, began = sheet_of((text,), HEAD, ("", "", "", "mm", text), ROW), time.thread_time()
    read(sheet)
    assert time.thread_time() - began < 1.0


WIDE = ("Machine", "Date", "Found offset V", "Found offset H", "Soft foot 1L", "Found angle V")


@pytest.mark.parametrize(
    ("length", "head", "units"),
    [
        ("mm", ("Found offset V (mil)", "Found offset H", "Soft foot 1L", "Found angle V"), ["mil", "mil?", "mil?", "mm/m"]),
        ("mil", ("Found offset V (mm)", "Found offset H", "Soft foot 1L", "Found angle V"), ["mm", "mm?", "mm?", "mil/in"]),
        ("mm", ("Found offset V [mm]", "Found offset H", "Soft foot 1L [µm]", "Found angle V"), ["mm", "mm", "µm", "mm/m"]),
        ("mm", ("Found offset V [mm]", "Found offset H [mil]", "Left offset V", "Found angle V"), ["mm", "mil", "?", "mm/m"]),
        ("mm", ("Soft foot 1L [mil]", "Soft foot 1R", "Found offset V", "Found angle V"), ["mil", "mil?", "mm", "mm/m"]),
        ("mm", ("Found offset V", "Found offset H", "Found angle V [mm/100mm]", "Found angle H"), ["mm", "mm", "mm/100mm", "mm/100mm?"]),
    ],
)  # fmt: skip
def test_one_column_of_a_kind_in_another_unit_asks_about_those_that_say_none(
    length: str, head: Sequence[str], units: list[str]
) -> None:
    sheet = sheet_of(("Machine", "Date", *head), ("P-1", "2026-05-04", "0.1", "0.2", "0.1", "0.2"))
    made = read(sheet, length)
    assert units_of(made) == units
    # Whoever confirmed it has seen the headings.
    answered = replace(made, columns=tuple(replace(c, asks=frozenset(), why="") for c in made.columns))
    assert fitting(FileMapping((answered,), confirmed=True), [sheet]) == (answered,)


@pytest.mark.parametrize(
    ("below", "units"),
    [
        ([("Readings in mils", "", "", "", "")], ["mil?", "?"]), ([("", "", "", "+ up", "+ open"), ("", "", "", "mil", "mil/in")], ["mil?", "mm/m"]),
        ([("", "", "", "mm", "see note")], ["mm", "mm/m"]), ([("Pump house (mm)", "", "", "", "")], ["mm", "mm/m"]),
        ([("Limit", "", "", "0.05", "0.5"), ("", "", "", "mil", "mil/in")], ["mil?", "mm/m"]),
        ([ROW, ("Readings in mils", "", "", "", "")], ["mm", "mm/m"]), ([("A2", "P-2", "2026-05-05", "mil", "mil/in")], ["mm", "mm/m"]),
    ],
)  # fmt: skip
def test_units_in_lines_between_headings_and_records_are_asked_about(
    below: Sequence[Sequence[str]], units: list[str]
) -> None:
    assert units_of(read(sheet_of(HEAD, *below, ROW))) == units


def test_a_title_in_two_cells_is_one() -> None:
    assert units_of(read(sheet_of(("Units:", "", "inch"), HEAD, ROW), "mil")) == ["in?", "mil/in"]
    assert units_of(read(sheet_of(("Pump", "inch"), HEAD, ROW), "mil")) == ["mil", "mil/in"]


def test_what_is_said_in_one_place_is_one_question_and_one_answer_a_quantity() -> None:
    sheet = sheet_of(("all in mils",), WIDE, ("P-1", "2026-05-04", "1", "2", "3", "4"))
    made = FileMapping((read(sheet),))
    assert len(made.questions) == 1
    assert made.questions[0].startswith(
        "Log, columns C ('Found offset V'), D ('Found offset H'), E ('Soft foot 1L'), F"
    )
    assert "says 'mils', where it would be read in mm and mm/m" in made.questions[0]
    text = to_toml(made, "a")

    def answered(*answers: tuple[str, str]) -> list[str]:
        new = text
        for old, said in answers:
            new = new.replace(old, said, 1)
        return units_of(from_toml(new, Path("a.toml")).sheets[0])

    offset, angle = ('unit = "mil?"', 'unit = "mil"'), ('unit = "?"', 'unit = "mil/in"')
    assert answered() == ["mil?", "mil?", "mil?", "?"]
    assert answered(offset) == ["mil", "mil", "mil", "?"]
    assert answered(offset, angle) == ["mil", "mil", "mil", "mil/in"]
    # Answers that differ, or turn a sign, are those of their own columns.
    assert answered(offset, (offset[0], 'unit = "mm"')) == ["mil", "mm", "mil?", "?"]
    assert answered((offset[0], f"{offset[1]}\ntimes = -1")) == ["mil", "mil?", "mil?", "?"]


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
        ("Type", ("CM", "CM"), "", ["mm", "mm/m"]), ("Type", ("MM", "CM"), "", ["mm", "mm/m"]), ("Unit", ("HP", "HP"), "area", ["mm", "mm/m"]), ("Kind", ("mil", "mil"), "", ["mil?", "?"]),
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
        ([kept("a", ("VO", "found_offset_v", "mil", 1.0))], "VO", "found_offset_v mil? 1 in a"), ([kept("a", MIL)], V.upper(), "found_offset_v mil? -1? in a"),
        ([kept("a", (f"{V} [mil]", "found_offset_v", "mil", -1.0))], f"{V.lower()}(mil)", "found_offset_v mil -1? in a"),
        ([kept("a", (f"{V} [mil]", "found_offset_v", "mil", -1.0))], f"{V} [mm]", "found_offset_v mm 1"),
        ([kept("a", MIL, (V.upper(), "found_offset_v", "mm", 1.0))], V.upper(), "found_offset_v mm 1"),
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


class Deaf:
    """Hears nothing; what is shown or waits is a question."""

    def __init__(self) -> None:
        self.heard: list[str] = []

    def says(self, text: str) -> None:
        self.heard.append(text)

    def begins(self, name: str, text: str) -> None:
        self.heard.append(f"{name} {text}")

    def shows(self, mapping: FileMapping) -> None: ...

    def waits(self, place: Path, asked: Sequence[str]) -> None: ...


@pytest.mark.parametrize("own", [False, True])
def test_a_mapping_that_was_itself_begun_from_another_serves_a_second_site(tmp_path: Path, *, own: bool) -> None:
    head = (*HEAD[:3], f"{V} [mm]", f"{A} [mm/m]", "Gist")
    sheet = sheet_of(head, (*ROW, "x"))
    begun = as_answered(read(sheet), [kept("l1.toml", ("Gist", "notes", "", 1.0))], Display("mm"))
    assert begun.columns[-1].as_in == "l1.toml"
    otherwise = as_answered(read(sheet_of((*HEAD, "Gist"), ROW)), [kept("", ("Gist", "people", "", 1.0))], Display())
    answers = [("Quay", begun)] + [("Mole", otherwise)] * own
    for site, one in answers:
        made = FileMapping((one,), confirmed=True, site=site, units="mm, °C")
        (tmp_path / f"{site}.toml").write_text(to_toml(made, "a"), encoding="utf-8")
    heard, mole = Deaf(), Site(2, "mole", "Mole", "Europe/Lisbon", Display())
    choice = Chooser(tmp_path, mole, heard).choose(Path("l3.xlsx"), [sheet])
    assert choice.ready is not own
    told = " ".join(heard.heard)
    assert ("here some of its headings were confirmed otherwise" if own else "every unit stands in a heading") in told


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
