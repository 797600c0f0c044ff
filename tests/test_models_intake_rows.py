"""Rows of cells: nothing is lost or read wrong without a word, and what is plain stays plain."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from models.intake.dates import Doubt, Order, clock_doubt, read_day
from models.intake.mapping import SheetMapping, outline
from models.intake.mend import Bad, write_mend
from models.intake.problems import Code, Severity
from models.intake.reading import Cell, Sheet, parse, read_sheets
from models.intake.rows import Row, RowReader
from models.intake.totals import is_total
from models.units import Decimal, Display

ZONE = ZoneInfo("Europe/Lisbon")
NOW = datetime(2026, 11, 25, 7, 0, tzinfo=UTC)
JOBS = "job,tag,performed at,people,found offset V [mm],found angle V [mm/m],notes"
ASSETS = "tag,description,spacer span [mm],running speed [rpm],power [kW],movable foot row 1 [mm],commissioned,retired"


def rows_of(text: str) -> list[list[Cell]]:
    return list(parse(io.StringIO(text, newline=""), ",", None))  # type: ignore[arg-type]


def reader_of(text: str, **how: object) -> tuple[RowReader, list[list[Cell]]]:
    rows = rows_of(text)
    sheet = Sheet(None, "", encoding="utf-8", delimiter=",", head=tuple(map(tuple, rows)))  # type: ignore[arg-type]
    mapping = outline(sheet, Display())
    assert mapping is not None
    mapping = replace(mapping, **how)  # type: ignore[arg-type]
    return RowReader(mapping, "rows.csv", ZONE, headings=rows[0], now=NOW), rows[1:]


def read(text: str, **how: object) -> list[Row | None]:
    reader, rows = reader_of(text, **how)
    return [reader.read(number, cells) for number, cells in enumerate(rows, start=2)]


def one(text: str, **how: object) -> Row:
    row = read(text, **how)[0]
    assert row is not None
    return row


def codes(row: Row | None) -> list[Code]:
    assert row is not None
    return [problem.code for problem in row.problems]


# -- totals ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text", ["Total", "total:", " SUM ", "Sum: 12", "Total 2023", "Totals May 2023", "Average", "Grand total", "Sub-total", "Summe", "Count = 7",
             "Total – 6 machines", "Total: 1 machine", "Total machines"]
)  # fmt: skip
def test_words_for_totals(text: str) -> None:
    assert is_total(text)


@pytest.mark.parametrize(
    "text", ["SUMP-3", "Sump pump 9", "Sum pump 3", "Total machinery", "Summers", "SUM-3", "Total loss of oil", "Counter 3", "Meaney", "Averages of May look good", "", "2023"]
)  # fmt: skip
def test_words_that_only_begin_like_a_total(text: str) -> None:
    assert not is_total(text)


@pytest.mark.parametrize(
    "line",
    [
        "J2,SUMP-3,2019-05-02,Ana,0.O5,0.1,",
        "J2,P-1,2019-05-02,Summers,0.05,<0.1,",
        "J2,P-1,2019-05-02,Total,0.O5,0.1,",
        "Total,P-1,2019-05-02,Ana,0.O5,0.1,",
    ],
)
def test_a_record_with_a_fault_comes_back_and_is_no_total(line: str) -> None:
    row = one(f"{JOBS}\n{line}\n")
    assert not row.is_total
    assert codes(row) == [Code.NOT_A_NUMBER]
    assert not row.is_good


@pytest.mark.parametrize("line", ["Total,8,,,0.8,,", "Sum 2023,,,,0.8,,", ",,Total,,0.8,,", ",Average:,,,0.8,,"])
def test_a_total_without_tag_or_date_is_left_out(line: str) -> None:
    assert one(f"{JOBS}\n{line}\n").is_total


@pytest.mark.parametrize(
    "line", ["Total,,,,,,,", "Total,6 machines,,,,,,", "Total,,,2,,,,", "Summe,1,,,,,,", "Total 6,,,1480,90,,,"]
)
def test_a_total_under_a_register_is_no_machine_also_where_its_numbers_could_be_one(line: str) -> None:
    row = one(f"{ASSETS}\n{line}\n")
    assert row.is_total
    (told,) = row.problems
    assert (told.code, told.severity, told.found) == (Code.LOOKS_LIKE_TOTAL, Severity.WARNING, line.partition(",")[0])
    assert "driftbook asset rename" in told.expected


@pytest.mark.parametrize("line", ["Total,,,1480,,,,", "Total,,,x,,,,"])
def test_a_machine_that_the_book_knows_by_such_a_name_is_a_record(line: str) -> None:
    reader, (cells,) = reader_of(f"{ASSETS}\n{line}\n")
    reader.knows = {"Total"}.__contains__
    row = reader.read(2, cells)
    assert row is not None
    assert not row.is_total
    assert codes(row) == ([Code.NOT_A_NUMBER] if "x" in line else [])


def test_a_total_of_machines_is_left_out_and_a_machine_is_not() -> None:
    total, machine = read(f"{ASSETS}\nTotal,,,x,,,,\nSummit pump,,,x,,,,\n")
    assert total is not None
    assert total.is_total
    assert codes(machine) == [Code.NOT_A_NUMBER]


# -- more cells than headings -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "found"),
    [
        ("J1,P-1,2019-05-02,Ana,0.1,0.1,bolt loose, shim replaced, see P-2", "shim replaced | see P-2"),
        ("J1,P-1,2019-05-02,Ana,0,05,0,10,ok", "10 | ok"),
        (",,,,,,,stray", "stray"),
    ],
)
def test_more_cells_than_headings_are_an_error_that_says_what_stands_there(line: str, found: str) -> None:
    row = one(f"{JOBS}\n{line}\n")
    more = [problem for problem in row.problems if problem.code is Code.MORE_CELLS]
    assert [(problem.found, problem.severity) for problem in more] == [(found, Severity.ERROR)]
    assert "7 cells" in more[0].expected


def test_blank_cells_beyond_the_headings_are_fine() -> None:
    assert codes(one(f"{JOBS}\nJ1,P-1,2019-05-02,Ana,0.1,0.1,fine,, ,\n")) == []


def test_a_column_without_a_heading_is_told_once_and_refuses_nothing() -> None:
    rows = read(f"{JOBS},,\nJ1,P-1,2019-05-02,,,,,,\nJ2,P-1,2019-05-03,,,,,see sheet,\nJ3,P-1,2019-05-04,,,,,again,x\n")
    assert [codes(row) for row in rows] == [[], [Code.NO_HEADING], [Code.NO_HEADING]]
    said = [problem for row in rows if row for problem in row.problems]
    assert [(p.column, p.found, p.severity) for p in said] == [
        ("H", "see sheet", Severity.WARNING),
        ("I", "x", Severity.WARNING),
    ]


def test_what_came_back_with_more_cells_is_refused_until_it_is_mended() -> None:
    heads = f"{JOBS},what to mend"
    assert codes(one(f"{heads}\nJ1,P-1,2019-05-02,,,,bolt loose,why,shim replaced\n")) == [Code.MORE_CELLS]
    assert codes(one(f"{heads},\nJ1,P-1,2019-05-02,,,,bolt loose,why,shim replaced\n")) == [Code.MORE_CELLS]
    assert codes(one(f"{heads},\nJ1,P-1,2019-05-02,,,,bolt loose; shim replaced,why,\n")) == []


@pytest.mark.parametrize("is_saved_by_a_spreadsheet", [False, True])
def test_the_file_to_mend_keeps_what_was_too_much_an_error(is_saved_by_a_spreadsheet: bool, tmp_path: Path) -> None:
    reader, rows = reader_of(f"{JOBS}\nJ1,P-1,2019-05-02,,,,bolt loose, shim replaced\nJ2,P-1,2019-05-03,,x,,\n")
    back = tmp_path / "back.csv"
    write_mend(back, [Bad(reader.mapping, [(tuple(cells), "why") for cells in rows])])
    if is_saved_by_a_spreadsheet:  # it fills the row of headings up with blank ones
        lines = back.read_text(encoding="utf-8-sig").splitlines()
        back.write_text("\n".join([f"{lines[0]},", *lines[1:]]) + "\n", encoding="utf-8")
    sheet = read_sheets(back)[0]
    mapping = outline(sheet, Display())
    assert mapping is not None
    assert mapping.is_template
    again = RowReader(mapping, "back.csv", ZONE, headings=sheet.head[0], now=NOW)
    found = [again.read(number, cells) for number, cells in sheet.rows() if number > 1]
    assert [codes(row) for row in found] == [[Code.MORE_CELLS], [Code.NOT_A_NUMBER]]
    assert found[0] is not None
    assert found[0].problems[0].found == "shim replaced"


# -- what a spreadsheet shows in place of a value -------------------------------------------------------------------


@pytest.mark.parametrize("place", ["job", "people", "found offset V [mm]", "notes", "performed at"])
@pytest.mark.parametrize("text", ["#N/A", " #REF! ", "#DIV/0!", "#VALUE!", "#NAME?", "#NUM!", "#NULL!", "#WERT!", "######", '#NO VALUE: =A1&"x"'])  # fmt: skip
def test_an_error_value_is_an_error_in_every_column_that_is_read(place: str, text: str) -> None:
    cells = {"job": "J1", "tag": "P-1", "performed at": "2019-05-02", place: text}
    quoted = text.replace('"', '""')
    cells[place] = f'"{quoted}"'
    row = one(JOBS + "\n" + ",".join(cells.get(name, "") for name in JOBS.split(",")) + "\n")
    assert codes(row) == [Code.NO_VALUE]
    assert row.problems[0].found == text.strip()
    assert not row.is_good


@pytest.mark.parametrize("text", ["#3 bearing hot", "see #12", "# 4", "N/A", "Error light on"])
def test_texts_that_look_a_little_like_it_are_texts(text: str) -> None:
    assert codes(one(f"{JOBS}\nJ1,P-1,2019-05-02,,,,{text}\n")) == []


# -- numbers --------------------------------------------------------------------------------------------------------


def decimal_of(*numbers: str) -> Decimal:
    lines = "".join(f'J{n},P-1,2019-05-02,,"{text}",,\n' for n, text in enumerate(numbers))
    return reader_of(f"{JOBS}\n{lines}")[0].mapping.decimal


@pytest.mark.parametrize(
    ("numbers", "sign"),
    [
        (["0.125", "-0.032", "1.250"], Decimal.POINT),
        (["0,05", "1.250"], Decimal.COMMA),
        (["1.250,5", "1.250"], Decimal.COMMA),
        (["1.250.000"], Decimal.COMMA),
        (["1,250.5", "1,250"], Decimal.POINT),
        (["1.25", "1,250"], Decimal.POINT),
        (["1.250", "2.980"], Decimal.AUTO),
        (["1,250", "2,980"], Decimal.AUTO),
        (["0.05", "0,05"], Decimal.AUTO),
        (["12", "7"], Decimal.AUTO),
    ],
)
def test_only_what_cannot_be_a_group_of_thousands_tells_the_decimal_sign(numbers: list[str], sign: Decimal) -> None:
    assert decimal_of(*numbers) is sign


def test_a_file_in_mm_with_three_decimals_is_read_without_a_word() -> None:
    rows = read(f"{JOBS}\nJ1,P-1,2019-05-02,,0.125,1.250,\nJ2,P-1,2019-05-03,,-0.032,1.000,\n")
    assert [codes(row) for row in rows] == [[], []]
    assert [row.values["found_angle_v"] for row in rows if row] == [1.25, 1.0]


def asset(how: Decimal, *, feet: str = "", speed: str = "", power: str = "", span: str = "") -> Row:
    return one(f'{ASSETS}\nD-1,,"{span}","{speed}","{power}","{feet}",,\n', decimal=how)


def test_with_a_decimal_comma_points_group_thousands() -> None:
    row = asset(Decimal.COMMA, feet="1.250", speed="2.980", power="1.200,5", span="1.000 mm")
    assert codes(row) == []
    assert [row.values[key] for key in ("feet_movable_1", "speed", "power", "span")] == [1250.0, 2980.0, 1200.5, 1000.0]


@pytest.mark.parametrize(("text", "value"), [("0.125", 0.125), ("-0.032", -0.032), ("37.5", 37.5), ("1.2505", 1.2505)])
def test_with_a_decimal_comma_a_point_that_can_group_nothing_is_a_decimal_sign(text: str, value: float) -> None:
    row = asset(Decimal.COMMA, power=text)
    assert row.values["power"] == value


def test_where_nothing_tells_a_point_before_three_digits_is_said() -> None:
    row = asset(Decimal.AUTO, feet="1.250", power="0.125")
    assert codes(row) == [Code.AMBIGUOUS_NUMBER]
    assert row.is_good
    assert "1.25" in row.problems[0].expected
    assert row.values["feet_movable_1"] == 1.25
    assert codes(asset(Decimal.AUTO, feet="1,250")) == [Code.AMBIGUOUS_NUMBER]
    assert not asset(Decimal.AUTO, feet="1,250").is_good


@pytest.mark.parametrize("text", ["1e999", "-1e400", "1e308 m"])
def test_a_number_that_is_not_finite_is_an_error_of_its_cell(text: str) -> None:
    row = asset(Decimal.AUTO, feet=text)
    assert codes(row) == [Code.NOT_A_NUMBER]
    assert row.problems[0].column.startswith("F")


@pytest.mark.parametrize(
    "text", [" " * 200_000 + "5", "5" + " " * 200_000 + "x", "1" * 200_000, "sum " + "jan" * 60_000 + "!"]
)
def test_a_cell_that_is_longer_than_any_number_takes_no_time(text: str) -> None:
    row = asset(Decimal.AUTO, feet=text)
    assert row.is_good == text.endswith(" 5")
    assert all(len(problem.found) < 100 for problem in row.problems)


@pytest.mark.parametrize("text", ["1 2 mil", "0 05", "1 2", "12 34", "2'", "0 050"])
def test_a_blank_inside_a_number_that_groups_nothing_is_refused(text: str) -> None:
    assert codes(one(f"{JOBS}\nJ1,P-1,2019-05-02,,{text},,\n")) == [Code.NOT_A_NUMBER]


@pytest.mark.parametrize(("text", "value"), [("1 250", 1250.0), ("1\u00a0250 mm", 1250.0), ("1'250.5", 1250.5)])
def test_blanks_by_threes_group_thousands(text: str, value: float) -> None:
    assert asset(Decimal.POINT, feet=text).values["feet_movable_1"] == value


# -- dates ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "key", "day"),
    [
        ("12.05.87", "commissioned", date(1987, 5, 12)),
        ("12.05.24", "commissioned", date(2024, 5, 12)),
        ("25-Nov-26", "commissioned", date(2026, 11, 25)),
        ("26.11.26", "commissioned", date(2026, 11, 26)),
        ("26.11.45", "commissioned", date(1945, 11, 26)),
        ("01.02.98", "retired", date(1998, 2, 1)),
        ("01.02.35", "retired", date(2035, 2, 1)),
    ],
)
def test_a_year_of_two_digits_gets_the_century_that_can_be(text: str, key: str, day: date) -> None:
    lines = {"commissioned": f"D-1,,,,,,{text},", "retired": f"D-1,,,,,,,{text}"}
    row = one(f"{ASSETS}\n{lines[key]}\n", order=Order.DAY_FIRST)
    assert row.values[key] == day
    assert codes(row) == ([Code.SHORT_YEAR] if day.year < 2000 else [])
    assert row.is_good


def test_a_leap_day_of_two_digits_stays_one() -> None:
    told = read_day("29.02.96", Order.DAY_FIRST, date(2026, 1, 1), may_lie_ahead=False)
    assert told == (date(1996, 2, 29), (Doubt.CENTURY,))


@pytest.mark.parametrize(
    ("text", "code", "utc", "word"),
    [
        ("2019-03-31 01:30", Code.ODD_TIME, "2019-03-31 01:30", "kept as 02:30"),
        ("2019-10-27 01:30", Code.ODD_TIME, "2019-10-27 00:30", "2019-10-27 01:30+00:00"),
        ("2019-10-27 01:30+00:00", None, "2019-10-27 01:30", ""),
        ("2019-10-27 02:00", None, "2019-10-27 02:00", ""),
        ("2019-03-31", None, "2019-03-31 11:00", ""),
        ("05.05.87 14:00", Code.SHORT_YEAR, "1987-05-05 13:00", "1987-05-05"),
    ],
)
def test_what_was_made_of_a_time_is_said(text: str, code: Code | None, utc: str, word: str) -> None:
    row = one(f"{JOBS}\nJ1,P-1,{text},,,,\n", order=Order.DAY_FIRST)
    assert codes(row) == ([] if code is None else [code])
    assert f"{row.values['performed'].astimezone(UTC):%Y-%m-%d %H:%M}" == utc
    assert all(word in problem.expected for problem in row.problems)


def test_the_clock_of_a_zone_without_changes_is_never_in_doubt() -> None:
    local = datetime.fromisoformat("2019-03-31 01:30")
    assert clock_doubt(local, ZoneInfo("Asia/Tokyo")) is None
    assert clock_doubt(local, ZONE) is Doubt.SKIPPED


@pytest.mark.parametrize("text", ["43588", "43588.0", "43588.604"])
def test_a_spreadsheets_number_for_a_date_is_called_that(text: str) -> None:
    row = one(f"{JOBS}\nJ1,P-1,{text},,,,\n")
    assert codes(row) == [Code.BAD_DATE]
    assert "spreadsheet's number for a date" in row.problems[0].expected


def test_any_other_number_is_not() -> None:
    assert "spreadsheet" not in one(f"{JOBS}\nJ1,P-1,12,,,,\n").problems[0].expected


def test_a_mapping_that_was_made_for_other_headings_stays_the_measure_where_none_are_given() -> None:
    mapping: SheetMapping = reader_of(f"{JOBS}\n")[0].mapping
    cells: Sequence[Cell] = ["J1", "P-1", "2019-05-02", "", "", "", "", "more"]
    assert codes(RowReader(mapping, "rows.csv", ZONE, now=NOW).read(2, cells)) == [Code.MORE_CELLS]
