"""A reading that was confirmed for an earlier file is not followed where the rows of a later one tell the contrary."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date, time
from pathlib import Path
from typing import Any

import openpyxl
import pytest
import sqlalchemy as sa

from models.commands.import_dates import decided
from models.commands.import_files import import_files
from models.commands.report import Report, Source
from models.intake.contrary import FIXED_DECIMAL, FIXED_ORDER, Told
from models.intake.dates import Order
from models.intake.decimal_sign import sign_told, two_readings
from models.intake.fields import Table
from models.intake.mapping import Column, SheetMapping
from models.intake.mend import Bad, write_mend
from models.intake.problems import Code
from models.store.reader import Reader
from models.units import Decimal
from models.values.story import Site
from tests import test_commands_plain_jobs
from tests.conftest import NOW
from tests.seeded import FILES, loud, seed, sources_of, write
from tests.test_commands_plain_jobs import Ways, both  # noqa: F401 - a fixture

HEAD = (
    "job;tag;performed at;reason;people;found offset V [µm];found angle V [mm/m];found offset H [µm];found angle H [mm/m];"
    "notes"
)
Confirm = Callable[..., None]


def jobs(folder: Path, *rows: tuple[str, str], name: str = "later", notes: str = "") -> Path:
    """Write jobs, each with a day and an offset; every one of another day has a number of its own."""
    path = folder / f"{name}.csv"
    lines = [
        f"{name}{n};P-1;{day};planned;Ana Wick;{offset};0;0;0;{notes}" for n, (day, offset) in enumerate(rows, start=2)
    ]
    path.write_text("\n".join([HEAD, *lines]) + "\n", encoding="utf-8")
    return path


def on(*days: str) -> list[tuple[str, str]]:
    return [(day, "0") for day in days]


def of(*offsets: str) -> list[tuple[str, str]]:
    return [(f"20{10 + n // 300}-{1 + n // 25 % 12:02d}-{1 + n % 25:02d}", text) for n, text in enumerate(offsets)]


def read_as(site: Site, *paths: Path, **how: Any) -> list[Source]:
    """Give sheets of jobs as they are read by what was confirmed for an earlier file."""
    return [
        replace(source, mapping=replace(source.mapping, is_template=False, **how)) if "later" in source.name else source
        for source in sources_of(site, *paths)
    ]


@pytest.fixture
def confirm(monkeypatch: pytest.MonkeyPatch) -> Confirm:
    """Fix how the later files are read that go in by all ways."""

    def fix(**how: Any) -> None:
        monkeypatch.setattr(test_commands_plain_jobs, "sources_of", lambda site, *paths: read_as(site, *paths, **how))

    return fix


def machines(folder: Path) -> list[Path]:
    return write(folder, **{name: text for name, text in FILES.items() if name != "jobs"})


def refused(report: Report) -> list[int]:
    return [row.row for row in report.sheets[-1].refused]


def bring(engine: sa.Engine, site: Site, sources: Sequence[Source]) -> Report:
    return import_files(engine, site, sources, by="tester", now=NOW, accept_good=True)


def standing(engine: sa.Engine, site: Site) -> dict[str, tuple[date, float | None]]:
    story = Reader(engine).story(site.site_id, "P-1")
    assert story is not None
    found = {line.job.ref: line.job for line in story.standing}
    return {
        ref: (job.performed_at.date(), None if job.found is None else job.found.offset_v)
        for ref, job in found.items()
        if ref.startswith("later")
    }


# -- dates ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("order", "days", "rows"),
    [
        (Order.MONTH_FIRST, ["04.06.2025", "07.06.2025", "26.06.2025"], [2, 3, 4]),
        (Order.MONTH_FIRST, ["26/06/2025 08:00", "04/06/2025 08:00", "2025-06-05", "5-Jun-2025", "06/06/2025"], [2, 3]),
        (Order.DAY_FIRST, ["06/26/25", "04/06/25 7:30", "2025-06-05 07:30"], [2, 3]),
        # both are told: what was confirmed stands, and the slip alone comes back
        (Order.MONTH_FIRST, ["05/26/2025", "04/06/2025", "31.12.2024"], [4]),
        (Order.DAY_FIRST, ["05/26/2025", "04/06/2025", "31.12.2024"], [2]),
        # nothing tells against it
        (Order.MONTH_FIRST, ["04.06.2025", "07/06/2025", "06/26/2025"], []),
        (Order.MONTH_FIRST, ["04.06.2025", "07/06/2025"], []),
        (Order.DAY_FIRST, ["04.06.2025", "07/06/2025", "13/13/2025"], [4]),
    ],
)
def test_a_date_that_reads_two_ways_is_refused_where_the_rows_tell_the_contrary(
    both: Ways,  # noqa: F811
    confirm: Confirm,
    tmp_path: Path,
    order: Order,
    days: list[str],
    rows: list[int],
) -> None:
    confirm(order=order)
    report, _ = both(*machines(tmp_path), jobs(tmp_path, *on(*days)), accept_good=True)
    assert refused(report) == rows
    assert {problem.code for problem in report.errors} <= {Code.BAD_DATE}


def test_it_is_said_what_tells_the_contrary_and_what_to_do(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    seed(engine, site, tmp_path)
    path = jobs(tmp_path, *on("04.06.2025", "26.06.2025"))
    report = bring(engine, site, read_as(site, path, order=Order.MONTH_FIRST))
    doubtful, contrary = (problem.text for problem in loud(report))
    assert doubtful == (
        "found '04.06.2025'; expected a date that reads one way: other dates here tell day first (row 3: 26.06.2025), and "
        "the reading says month first; correct how this file is read (in a mapping: dates = 'day first'), or "
        "write 2025-06-04 or 2025-04-06"
    )
    assert contrary == (
        "found '26.06.2025'; expected a date such as 2026-11-25 or 25.11.2026; there is no such day (read month first)"
    )
    corrected = bring(engine, site, read_as(site, path, order=Order.DAY_FIRST))
    assert not loud(corrected)
    assert standing(engine, site)["later2"][0] == date(2025, 6, 4)


@pytest.mark.parametrize("note", ["", '"quoted; with a sign between cells"'])
@pytest.mark.parametrize(("last", "is_told"), [("26.06.2025", True), ("2025-06-26", False)])
def test_a_row_far_down_in_a_large_file_tells_whatever_way_it_is_read(
    both: Ways,  # noqa: F811
    confirm: Confirm,
    tmp_path: Path,
    note: str,
    last: str,
    is_told: bool,
) -> None:
    days = [f"{1 + n % 4:02d}.{6 + n // 4 % 6:02d}.{2010 + n // 24 % 15}" for n in range(1_600)]
    confirm(order=Order.MONTH_FIRST)
    path = jobs(tmp_path, *on(*days, last), notes=note)
    report, _ = both(*machines(tmp_path), path, accept_good=True, batch=500)
    assert len(report.sheets[-1].refused) == (1_601 if is_told else 0)
    if is_told:
        assert "(row 1602: 26.06.2025)" in report.problems[0].expected


def test_a_sheet_that_tells_nothing_is_told_by_its_file_and_by_what_is_read_like_it(site: Site, tmp_path: Path) -> None:
    first, second = jobs(tmp_path, *on("04.06.2025")), jobs(tmp_path, *on("26.06.2025"), name="later too")
    doubted = decided(read_as(site, first, second, order=Order.MONTH_FIRST))
    assert [s.mapping.order_against for s in doubted] == ["later too.csv, row 2: 26.06.2025", "row 2: 26.06.2025"]
    third = jobs(tmp_path, *on("06/26/2025"), name="later still")
    also = decided(read_as(site, first, second, third, order=Order.MONTH_FIRST))
    assert [s.mapping.order_against for s in also] == ["", "row 2: 26.06.2025", ""]
    # by what somebody has corrected in the meantime, nothing is told of what was not
    one, other = read_as(site, first, second, order=Order.MONTH_FIRST)
    mixed = decided([one, replace(other, mapping=replace(other.mapping, order=Order.DAY_FIRST))])
    assert [s.mapping.order_against for s in mixed] == ["", ""]


def test_sheets_of_a_workbook_tell_of_one_another_and_what_it_holds_as_a_date_tells_nothing(
    site: Site, tmp_path: Path
) -> None:
    book = openpyxl.Workbook()
    book.active.title = "May"
    for name, days in (("May", ["04.05.2025", date(2025, 5, 26)]), ("June", ["04.06.2025", "26.06.2025"])):
        sheet = book[name] if name in book.sheetnames else book.create_sheet(name)
        sheet.append(HEAD.split(";"))
        for day in days:
            sheet.append(["", "P-1", day, "planned", "Ana Wick", "12,5", 0, 0, 0])
    path = tmp_path / "later.xlsx"
    book.save(path)
    doubted = decided(read_as(site, path, order=Order.MONTH_FIRST))
    assert [source.mapping.order_against for source in doubted] == [
        "later.xlsx › June, row 3: 26.06.2025",
        "row 3: 26.06.2025",
    ]
    assert all(not source.mapping.order_against for source in decided(read_as(site, path, order=Order.DAY_FIRST)))


def test_no_file_is_opened_where_its_first_rows_tell_the_same(
    site: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sources = read_as(site, jobs(tmp_path, ("26.06.2025", "12,5")), order=Order.DAY_FIRST, decimal=Decimal.COMMA)
    monkeypatch.setattr(Path, "open", lambda *_args, **_how: pytest.fail("opened"))
    for fixed in (FIXED_ORDER, FIXED_DECIMAL):
        assert fixed.told(sources[0].sheet, sources[0].mapping) is Told.SAME  # type: ignore[attr-defined]
    assert decided(sources) == sources


# -- decimal signs --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "sign"),
    [
        ("12.5", Decimal.POINT), ("-0.125 mm", Decimal.POINT), (".5", Decimal.POINT), ("1,250.5", Decimal.POINT),
        ("1,250,000", Decimal.POINT), ("1250.500", Decimal.POINT), ("1 250.500", Decimal.POINT), ("0.05 mm/100mm", Decimal.POINT),
        ("12,5", Decimal.COMMA), ("−12,50 mil", Decimal.COMMA), ("1.250,5", Decimal.COMMA), ("12,5 in.", Decimal.COMMA),
        ("12.500", None), ("1,250", None), ("-1.250 mil", None), ("1250", None), ("12.", None), ("26.06.2026", None),
        ("2026-06-26", None), ("1.2501e3", None), ("12.30-14.00", None), ("1.2.3", None), ("", None), ("n/a 12.5", None),
    ],
)  # fmt: skip
def test_only_a_number_that_reads_one_way_tells_a_sign(text: str, sign: Decimal | None) -> None:
    assert sign_told(text) is sign


@pytest.mark.parametrize(
    ("text", "ways"),
    [
        ("12.500", ("12.5", "12500")),
        ("-1,250 mil", ("-1,25 mil", "-1250 mil")),
        ("'-1.000", ("'-1.0", "'-1000")),
        ("12.5", None),
        ("0.125", None),
        ("1.250.000", None),
        ("1.250e3", None),
        ("1250", None),
        ("x", None),
    ],
)
def test_a_number_that_reads_two_ways_is_written_so_that_it_does_not(text: str, ways: tuple[str, str] | None) -> None:
    assert two_readings(text) == ways
    for way in ways or ():
        assert two_readings(way) is None


@pytest.mark.parametrize(
    ("sign", "offsets", "rows"),
    [
        (Decimal.COMMA, ["12.5", "12.500", "1.250", "1,250", "0", "7"], [3, 4, 5]),
        (Decimal.POINT, ["12,5", "12.500", "12,500", "0,125"], [3, 4]),
        # both are told, or nothing against it
        (Decimal.COMMA, ["12,5", "12.500", "12.5"], []),
        (Decimal.COMMA, ["12.500", "1.250,5"], []),
        (Decimal.COMMA, ["12.500", "1.250"], []),
        (Decimal.POINT, ["12.500", "0.125", "12,5"], []),
        (Decimal.AUTO, ["12,5", "12.500"], []),
    ],
)
def test_a_number_that_reads_two_ways_is_refused_where_the_rows_tell_the_contrary(
    both: Ways,  # noqa: F811
    confirm: Confirm,
    tmp_path: Path,
    sign: Decimal,
    offsets: list[str],
    rows: list[int],
) -> None:
    confirm(decimal=sign)
    report, _ = both(*machines(tmp_path), jobs(tmp_path, *of(*offsets)), accept_good=True)
    assert refused(report) == rows
    assert {problem.code for problem in report.errors} <= {Code.AMBIGUOUS_NUMBER}


def test_it_is_said_which_number_tells_the_other_sign(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    seed(engine, site, tmp_path)
    path = jobs(tmp_path, *of("12.500", "12.5"))
    report = bring(engine, site, read_as(site, path, decimal=Decimal.COMMA))
    (doubtful,) = (problem.text for problem in report.errors)
    assert doubtful == (
        "found '12.500'; expected a number that reads only one way: other numbers here tell a decimal point (row 3: 12.5), "
        "and the reading says a decimal comma; correct how this file is read (in a mapping: decimal = '.'), or "
        "write 12.5 or 12500"
    )
    corrected = bring(engine, site, read_as(site, path, decimal=Decimal.POINT))
    assert not corrected.errors
    assert standing(engine, site)["later2"][1] == pytest.approx(0.0125)


@pytest.mark.parametrize("note", ["", '"quoted; with a sign between cells"'])
@pytest.mark.parametrize(("last", "is_told"), [("12.5", True), ("12", False)])
def test_a_number_far_down_in_a_large_file_tells_whatever_way_it_is_read(
    both: Ways,  # noqa: F811
    confirm: Confirm,
    tmp_path: Path,
    note: str,
    last: str,
    is_told: bool,
) -> None:
    confirm(decimal=Decimal.COMMA)
    path = jobs(tmp_path, *of(*["1.250", "2"] * 800, last), notes=note)
    report, _ = both(*machines(tmp_path), path, accept_good=True, batch=500)
    assert len(report.sheets[-1].refused) == (800 if is_told else 0)
    if is_told:
        assert "(row 1602: 12.5)" in report.errors[0].expected


def test_the_sign_of_a_template_is_told_by_its_own_rows_and_not_doubted(site: Site, tmp_path: Path) -> None:
    (source,) = sources_of(site, *write(tmp_path, jobs=FILES["jobs"]))
    assert source.mapping.is_template
    (other,) = decided([replace(source, mapping=replace(source.mapping, decimal=Decimal.COMMA))])
    assert not other.mapping.decimal_against


def test_a_day_and_a_time_of_day_come_back_as_what_they_are(tmp_path: Path) -> None:
    columns = tuple(Column(place, name, None) for place, name in enumerate(("Date", "Time", "Exact")))
    cells = (date(2026, 5, 1), time(15, 55), time(15, 55, 30))
    write_mend(tmp_path / "log.xlsx", [Bad(SheetMapping("log", Table.JOBS, 1, columns), [(cells, "odd")])])
    sheet = openpyxl.load_workbook(tmp_path / "log.xlsx")["log"]
    assert [cell.number_format for cell in sheet[2][:3]] == ["yyyy-mm-dd", "hh:mm", "hh:mm:ss.000"]
    assert [cell.value for cell in sheet[2][1:3]] == list(cells[1:])
