"""What a person says of a list whose headings are not understood: proposed, asked about and found again as any other."""

from __future__ import annotations

import argparse
import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from dashboard.console.importing import said_of
from models.commands.choose_mapping import Chooser
from models.errors import DriftbookError, UnreadableFileError
from models.intake.dates import Order
from models.intake.fields import FIELDS, Table
from models.intake.fitting import fitting
from models.intake.mapping import FileMapping, SheetMapping
from models.intake.mapping_file import from_toml, to_toml
from models.intake.proposing import Ask, as_said
from models.intake.reading import Sheet, read_sheets
from models.intake.said import Said, likely, rows_offered, told_anew, told_of_file
from models.units import Decimal, Display
from models.values.story import Site

SITE = Site(1, "quay", "Quay", "Europe/Berlin", Display("mm"), 12)
LIST = (
    ("Planta Norte",),
    (),
    ("Equipo", "Fecha", "DV hallada", "AV hallada (mm/100 mm)"),
    ("P-1", "13/05/2024", "0,12", "0,03"),
    ("P-1", "02/06/2024", "0,08", "0,02"),
)
FIELD = {f"{one.table}.{one.key}": one for one in FIELDS}


class Deaf:
    """Hears nothing."""

    def says(self, text: str) -> None: ...
    def begins(self, name: str, text: str) -> None: ...
    def shows(self, mapping: object) -> None: ...
    def waits(self, place: Path, asked: Sequence[str]) -> None: ...


def sheet_of(*rows: Sequence[str], name: str = "") -> Sheet:
    cells = tuple(tuple(row) for row in rows)
    return Sheet(Path("lista.csv"), name, head=cells, _cells=cells)


def answered(mapping: SheetMapping, *keys: str) -> SheetMapping:
    fields = [FIELD.get(f"jobs.{key}") for key in keys]
    return replace(mapping, columns=tuple(replace(c, field=f) for c, f in zip(mapping.columns, fields, strict=True)))


def test_the_widest_row_is_proposed_where_no_heading_is_understood_else_the_nearest() -> None:
    assert likely(sheet_of(*LIST)) == (None, 3)
    assert likely(sheet_of(("a", "b", "c"), ("Equipo", "Date")))[1] == 2
    assert likely(sheet_of()) == (None, 0)
    deep = sheet_of(*[(f"line {n}",) for n in range(20)], *LIST[2:])
    assert [number for number, _ in rows_offered(deep, 21)] == [*range(1, 16), 21]


@pytest.mark.parametrize("row", [0, -1, 2, 6, 31])
def test_a_row_without_headings_or_beyond_the_file_is_refused_with_its_place(row: int) -> None:
    with pytest.raises(
        UnreadableFileError, match=f"Row {row} of sheet 'May' of lista.csv cannot be that of the headings"
    ):
        Said(Table.JOBS, row).of(sheet_of(*LIST, name="May"), Display())


def test_what_is_missing_waits_in_the_mapping_and_nothing_is_read_before(tmp_path: Path) -> None:
    made = Said(Table.JOBS, 3).of(sheet_of(*LIST), Display())
    assert [field.key for field in made.missing] == ["tag", "performed"]
    text = to_toml(FileMapping((made,)), "lista.csv")
    assert "tag (needed)" in text
    kept = from_toml(text, tmp_path / "m.toml")
    assert kept.is_open
    assert "no column is 'tag' yet" in kept.questions[0]
    with pytest.raises(UnreadableFileError, match="no column of jobs is 'tag'"):
        from_toml(text.replace("confirmed = false", "confirmed = true"), tmp_path / "m.toml")


def test_a_unit_that_nobody_wrote_is_that_of_the_heading_or_asked_for(tmp_path: Path) -> None:
    made = Said(Table.JOBS, 3).of(sheet_of(*LIST), Display())
    text = to_toml(FileMapping((made,)), "lista.csv")
    for key in ("tag", "performed", "found_offset_v", "found_angle_v"):
        text = text.replace('field = ""', f'field = "{key}"', 1)
    (sheet,) = from_toml(text.replace("confirmed = false", "confirmed = true"), tmp_path / "m.toml").sheets
    assert [(column.unit, column.asks) for column in sheet.columns[2:]] == [
        ("mm", {Ask.UNIT}),
        ("mm/100mm", frozenset()),
    ]
    assert "C ('DV hallada'): its heading is not understood" in sheet.questions[0]
    # One answer goes for all columns of a quantity here too.
    wider = sheet_of(LIST[2] + ("DH hallada",), *[(*row, "0,1") for row in LIST[3:]])
    text = to_toml(FileMapping((Said(Table.JOBS, 1).of(wider, Display()),)), "lista.csv")
    for key in ("tag", "performed", "found_offset_v", "found_angle_v", "found_offset_h"):
        text = text.replace('field = ""', f'field = "{key}"', 1)
    (sheet,) = from_toml(text.replace('"found_offset_v"', '"found_offset_v"\nunit = "mil"'), tmp_path / "m.toml").sheets
    assert [column.unit for column in sheet.columns] == ["", "", "mil", "mm/100mm", "mil"]
    assert not sheet.questions
    # A half is its own column's.
    halved = text.replace('"found_offset_v"', '"found_offset_v"\nunit = "mil"\ntimes = 0.5')
    (sheet,) = from_toml(halved, tmp_path / "m.toml").sheets
    assert [(column.times, bool(column.asks)) for column in sheet.columns[2:]] == [(0.5, False), (1, False), (1, True)]


@pytest.mark.parametrize(
    ("heading", "key", "asks"),
    [("Velocidad", "assets.speed", False), ("Potencia", "assets.power", True), ("Potencia (kW)", "assets.power", False),
     ("power", "assets.power", False), ("Técnico", "jobs.people", False), ("found offset V hot", "jobs.found_offset_v", True)],
)  # fmt: skip
def test_a_column_is_asked_for_its_unit_where_its_heading_does_not_tell_it(heading: str, key: str, asks: bool) -> None:
    assert (Ask.UNIT in as_said(heading, FIELD[key], Display()).asks) is asks


def test_columns_that_are_said_tell_dates_decimal_sign_and_units_as_others_do() -> None:
    sheet = sheet_of(("Offsets in mils",), *LIST[1:])
    before = Said(Table.JOBS, 3).of(sheet, Display())
    assert (before.order, before.decimal) == (Order.BY_ROWS, Decimal.AUTO)
    after = answered(before, "tag", "performed", "found_offset_v", "found_angle_v")
    after = replace(after, columns=(*after.columns[:2], replace(after.columns[2], unit="mm"), after.columns[3]))
    made = told_anew(sheet, before, after)
    assert (made.order, made.decimal) == (Order.DAY_FIRST, Decimal.COMMA)
    assert Ask.UNIT in made.columns[2].asks
    assert told_anew(sheet, after, after) is after


def test_a_list_that_was_said_is_found_again_below_another_title() -> None:
    made = answered(Said(Table.JOBS, 3).of(sheet_of(*LIST), Display()), "tag", "performed", "", "")
    (found,) = fitting(FileMapping((made,)), [sheet_of(("Otra",), *LIST, LIST[2])])
    assert found.header_row == 4


def test_the_command_and_the_page_begin_with_the_same_mapping(tmp_path: Path) -> None:
    (path := tmp_path / "lista.csv").write_text("\n".join(";".join(row) for row in LIST), encoding="utf-8")
    (sheet,) = read_sheets(path)
    chooser = Chooser(tmp_path / "mappings", SITE, Deaf())
    given = argparse.Namespace(holds="jobs", heading_row=None, sheet=None, files=["lista.csv"])
    said = said_of(given, path, [sheet])
    assert said == {"": Said(Table.JOBS, 3)}
    page = chooser.said(sheet, said[""])
    choice = chooser.choose(path, [sheet], said)
    assert not choice.ready
    assert choice.sources[0].mapping == page
    # The same command once more, or none of it, goes on with the mapping that was written; another kind is a new one.
    for again, held in ((said, Table.JOBS), ({}, Table.JOBS), ({"": Said(Table.ASSETS, 3)}, Table.ASSETS)):
        assert chooser.choose(path, [sheet], again).sources[0].mapping.table is held
    assert len(list((tmp_path / "mappings").glob("*.toml"))) == 2


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({"holds": None, "sheet": "a"}, "belong to --holds"),
        ({"files": ["a", "b"]}, "speaks of one file"),
        ({}, "not clear which sheet"),
        ({"sheet": "c"}, "not clear which sheet"),
    ],
)
def test_the_command_asks_which_sheet_is_meant(more: dict[str, object], told: str) -> None:
    given = argparse.Namespace(**({"holds": "jobs", "heading_row": None, "sheet": None, "files": ["a"]} | more))
    sheets = [sheet_of(*LIST, name=name) for name in ("a", "b")]
    with pytest.raises(DriftbookError, match=told):
        said_of(given, Path("lista.xlsx"), sheets)


GERMAN = (
    ("Maschine", "Datum", "Versatz V [mm]", "Winkel V [mm/100 mm]"),
    ("P-1", "13.05.2024", "0,12", "0,03"),
)
FILLED = ("tag", "performed", "found_offset_v", "found_angle_v")


def told_by_file(folder: Path, rows: Sequence[Sequence[str]], row: int, keys: Sequence[str] = FILLED) -> SheetMapping:
    """Say in the mapping that the command wrote what the columns are, confirm it there, and look how the list is read then."""
    (path := folder / "liste.csv").write_text("\n".join(";".join(one) for one in rows), encoding="utf-8")
    (sheet,) = read_sheets(path)
    chooser = Chooser(folder / "mappings", SITE, Deaf())
    reading = chooser.choose(path, [sheet], {"": Said(Table.JOBS, row)}).readings[0]
    assert reading.mapping.path is not None
    head, *columns = reading.mapping.path.read_text(encoding="utf-8").split("[[sheet.column]]")
    columns = [
        re.sub('field = "[^"]*"', f'field = "{key}"', one, count=1) for key, one in zip(keys, columns, strict=True)
    ]
    text = "[[sheet.column]]".join((head.replace("confirmed = false", "confirmed = true"), *columns))
    reading.mapping.path.write_text(text, encoding="utf-8")
    return chooser.choose(path, [sheet]).sources[0].mapping


@pytest.mark.parametrize(
    ("title", "heading", "asks", "reading"),
    [
        ("Messuhr, TIR", "Versatz V [mm]", {Ask.TIMES}, ("mm", 0.5)),
        ("Rotor hot", "Versatz V [mm]", {Ask.FIELD}, ("mm", 1.0)),
        ("alle Werte in mil", "Versatz V", {Ask.UNIT}, ("mil", 1.0)),
        ("Norden", "Versatz V TIR [mm]", {Ask.TIMES}, ("mm", 0.5)),
        ("Norden", "Versatz V TIR", {Ask.UNIT, Ask.TIMES}, ("mm", 0.5)),
        ("Norden", "Versatz V [mm]", set(), ("mm", 1.0)),
    ],
)
def test_what_stands_above_a_list_is_asked_of_columns_that_are_said_in_the_file(
    tmp_path: Path, title: str, heading: str, asks: set[Ask], reading: tuple[str, float]
) -> None:
    names = (*GERMAN[0][:2], heading, GERMAN[0][3])
    made = told_by_file(tmp_path, ((title,), names, GERMAN[1]), 2)
    assert made.columns[2].asks == asks
    assert (made.columns[2].unit, made.columns[2].times) == reading
    assert made.columns[2].why.count("total indicator") == (Ask.TIMES in asks)
    assert (made.order, made.decimal) == (Order.DAY_FIRST, Decimal.COMMA)
    # What is answered there is not asked again.
    (path,) = (tmp_path / "mappings").glob("*.toml")
    path.write_text(path.read_text(encoding="utf-8").replace('?"', '"'), encoding="utf-8")
    (sheet,) = read_sheets(tmp_path / "liste.csv")
    choice = Chooser(tmp_path / "mappings", SITE, Deaf()).choose(sheet.path, [sheet])
    assert not choice.asked


@pytest.mark.parametrize(
    ("title", "asks"),
    [("TIR, mm", {Ask.TIMES}), ("hot", {Ask.FIELD}), ("in mils", {Ask.UNIT}), ("in 1/100 mm", {Ask.UNIT, Ask.TIMES})],
)
def test_a_column_that_is_said_in_the_file_of_a_list_that_is_understood_is_held_against_its_title_too(
    tmp_path: Path, title: str, asks: set[Ask]
) -> None:
    rows = ((title,), ("tag", "date", "found angle V [mm/m]", "Versatz V"), ("P-1", "2024-05-13", "0,03", "0,12"))
    (path := tmp_path / "liste.csv").write_text("\n".join(";".join(one) for one in rows), encoding="utf-8")
    (sheet,) = read_sheets(path)
    chooser = Chooser(tmp_path / "mappings", SITE, Deaf())
    kept = chooser.choose(path, [sheet]).readings[0].mapping.path
    assert kept is not None
    text = kept.read_text(encoding="utf-8")
    if title == "hot":  # what is asked of the others is answered, and asked no more
        text = text.replace('field = "found_angle_v?"', 'field = "found_angle_v"')
    text = text.replace('field = ""', 'field = "found_offset_v"\nunit = "mm"')
    kept.write_text(text.replace("confirmed = false", "confirmed = true"), encoding="utf-8")
    columns = chooser.choose(path, [sheet]).sources[0].mapping.columns
    assert [column.asks for column in columns] == [set(), set(), set(), asks]
    text = kept.read_text(encoding="utf-8").replace('unit = "?"', 'unit = "mil"').replace('times = "?"', "times = 1")
    kept.write_text(text.replace('?"', '"').replace("confirmed = false", "confirmed = true"), encoding="utf-8")
    assert chooser.choose(path, [sheet]).ready


@pytest.mark.parametrize(
    ("key", "asks"), [("left_offset_h", True), ("soft_before_1L", False), ("found_angle_v", False)]
)
def test_a_heading_of_total_indicator_readings_is_asked_of_offsets_only(key: str, asks: bool) -> None:
    assert ("total indicator" in as_said("Wert TIR [mm]", FIELD[f"jobs.{key}"], Display()).why) is asks


def test_what_stands_above_a_list_is_asked_although_its_headings_were_confirmed(tmp_path: Path) -> None:
    assert not told_by_file(tmp_path, GERMAN, 1).questions
    later = replace(sheet_of(("TIR",), *GERMAN), path=tmp_path / "liste.csv")
    chooser = Chooser(tmp_path / "mappings", SITE, Deaf())
    page = chooser.said(later, Said(Table.JOBS, 2))
    assert page == chooser.choose(later.path, [later], {"": Said(Table.JOBS, 2)}).sources[0].mapping
    assert (page.columns[2].asks, page.columns[2].times) == ({Ask.TIMES}, 0.5)
    # What is said then of one more column is asked too, and nothing else once more.
    wider = (("TIR",), (*GERMAN[0], "Versatz H [mm]"), (*GERMAN[1], "0,2"))
    made = told_by_file(tmp_path, wider, 2, (*FILLED, "found_offset_h"))
    assert [column.asks for column in made.columns[2:]] == [{Ask.TIMES}, set(), {Ask.TIMES}]
    path = next(one for one in (tmp_path / "mappings").glob("*.toml") if "Versatz H" in one.read_text(encoding="utf-8"))
    path.write_text(path.read_text(encoding="utf-8").replace('times = "0.5?"', "times = 1.0"), encoding="utf-8")
    (sheet,) = read_sheets(tmp_path / "liste.csv")
    assert not Chooser(path.parent, SITE, Deaf()).choose(sheet.path, [sheet]).asked


def test_a_row_of_units_below_headings_that_are_said_belongs_to_them(tmp_path: Path) -> None:
    names = ("Anlage", "Zeitpunkt", "Versatz V", "Winkel V")
    made = told_by_file(tmp_path, (names, ("", "", "1/100 mm", "mm/100 mm"), GERMAN[1]), 1)
    assert made.header_row == 2
    assert "its heading says '1/100 mm' where a unit stands" in made.columns[2].why
    assert (made.columns[3].heading, made.columns[3].unit, made.columns[3].asks) == (
        "Winkel V [mm/100 mm]",
        "mm/100mm",
        set(),
    )


def test_a_list_with_a_row_of_units_is_read_when_its_one_odd_heading_is_said(tmp_path: Path) -> None:
    names = ("Anlage", "date", "found offset V", "found angle V")
    made = told_by_file(tmp_path, (names, ("", "", "mil", "mil/in"), GERMAN[1]), 1)
    assert [column.unit for column in made.columns] == ["", "", "mil", "mil/in"]
    assert made.header_row == 2


def test_what_another_site_confirmed_of_such_a_list_is_asked_anew(tmp_path: Path) -> None:
    (path := tmp_path / "lista.csv").write_text("\n".join(";".join(row) for row in LIST), encoding="utf-8")
    (sheet,) = read_sheets(path)
    made = answered(Said(Table.JOBS, 3).of(sheet, Display()), "tag", "performed", "found_offset_v", "found_angle_v")
    units = ("", "", "mm", "mm/100mm")
    made = replace(made, columns=tuple(replace(c, unit=u) for c, u in zip(made.columns, units, strict=True)))
    (folder := tmp_path / "mappings").mkdir()
    mapping = FileMapping((made,), confirmed=True, site="Dock", units="mm, °C")
    (folder / "dock.toml").write_text(to_toml(mapping, "lista.csv"), encoding="utf-8")
    choice = Chooser(folder, SITE, Deaf()).choose(path, [sheet])
    assert not choice.ready
    assert not choice.asked
    assert choice.sources[0].mapping.columns[2].field is FIELD["jobs.found_offset_v"]


def test_what_was_answered_of_a_heading_below_the_same_title_is_not_asked_again(tmp_path: Path) -> None:
    names, row = ("tag", "date", "found angle V [mm/m]", "Versatz V"), ("P-1", "2024-05-13", "0,03", "0,12")
    for more in (((), ()), (("notes",), ("dry",))):
        rows = (("hot",), (*names, *more[0]), (*row, *more[1]))
        (path := tmp_path / "liste.csv").write_text("\n".join(";".join(one) for one in rows), encoding="utf-8")
        (sheet,) = read_sheets(path)
        chooser = Chooser(tmp_path / "mappings", SITE, Deaf())
        kept = chooser.choose(path, [sheet]).readings[0].mapping.path
        assert kept is not None
        text = kept.read_text(encoding="utf-8").replace("confirmed = false", "confirmed = true")
        kept.write_text(text.replace('field = ""', 'field = "found_offset_v"\nunit = "mm"'), encoding="utf-8")
        choice = chooser.choose(path, [sheet])
        if not more[0]:
            assert choice.asked
            text = kept.read_text(encoding="utf-8").replace("confirmed = false", "confirmed = true").replace('?"', '"')
            kept.write_text(text, encoding="utf-8")
            choice = chooser.choose(path, [sheet])
        assert not choice.asked


def test_a_list_is_held_against_its_sheet_once_everything_is_said_that_it_needs() -> None:
    sheet = sheet_of(("TIR",), *((*one, more) for one, more in zip(LIST[2:], ("Método", "láser", ""), strict=True)))
    made = Said(Table.JOBS, 2).of(sheet, Display())
    half = answered(made, "", "", "found_offset_v", "", "method")
    assert told_of_file(sheet, half) is half
    whole = told_of_file(sheet, answered(made, "tag", "performed", "found_offset_v", "", "method"))
    assert whole.columns[2].asks >= {Ask.TIMES}
    assert "láser" in whole.words
    assert whole.units_said == made.units_said == ("TIR",)
