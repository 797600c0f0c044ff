"""The order of day and month: told by all rows, never guessed where two readings are possible."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
import sqlalchemy as sa
from hypothesis import given
from hypothesis import strategies as st

from models.commands.import_dates import decided
from models.commands.report import Source
from models.errors import NotAQuantityError
from models.intake.dates import Order, Place, place_of_year, read_day, spelt_out
from models.intake.day_order import evidence_in, evidence_of
from models.intake.fields import Table, fields_of
from models.intake.mapping import Column, SheetMapping, propose
from models.intake.problems import Code
from models.intake.reading import Cell, Sheet, read_sheets
from models.intake.rows import RowReader
from models.store.reader import Reader
from models.units import Display
from models.values.story import Site
from tests.seeded import bring_in, seed
from tests.test_commands_import_files import GOOD, HEAD, jobs_file
from tests.test_commands_plain_jobs import Ways, both  # noqa: F401 - a fixture


def parse_day(text: str, order: Order) -> date:
    return read_day(text, order, date(2026, 11, 25), may_lie_ahead=False)[0]


@pytest.mark.parametrize(
    ("texts", "order"),
    [
        (["3/4/2019", "2019-04-25"], Order.BY_ROWS),
        (["3/4/2019", "25/4/2019"], Order.DAY_FIRST),
        (["3/4/2019", "04/25/2019 14:30"], Order.MONTH_FIRST),
        (["25/04/2019", "04/26/2019"], Order.CLEAR),
        (["3.4.2019"], Order.BY_ROWS),
        (["3.4.2019", "25.4.2019", "12.13.2019"], Order.DAY_FIRST),
        (["3.4.2019", "04/25/2019"], Order.CLEAR),
        (["3.4.2019", "25/04/2019"], Order.DAY_FIRST),
        (["3.4.2019", "4.25.2019"], Order.CLEAR),
        (["4.25.2019"], Order.MONTH_FIRST),
        (["5/5/2019", "n/a", "", "12:30"], Order.BY_ROWS),
        (["26-05-01", "25-04-19"], Order.BY_ROWS),
        (["26-05-01", "25-04-30"], Order.BY_ROWS),  # 2030 has not come: it may be a slip
        (["26-05-01", "98-04-19", "99-01-02"], Order.YEAR_FIRST),
        (["03-04-08", "15-06-07", "98-12-01", "22-10-09"], Order.BY_ROWS),  # one may be a slip
        (["26-05-01", "98-04-19 07:30", "98-04-19 16:00"], Order.BY_ROWS),
        (["26-05-01", "31-05-19"], Order.DAY_FIRST),
        (["03/04/19", "04/25/19"], Order.MONTH_FIRST),
        (["26/05/19", "3/4/2019", "25/4/2019"], Order.DAY_FIRST),
        (["26.05.19"], Order.DAY_FIRST),
        (["26-05-01", "25-04-30", "31-05-19"], Order.DAY_FIRST),
        (["26-05-01", "98-04-30", "31-05-19"], Order.CLEAR),
        (["14/03/24", "12/03/24", "25/11/23", "15/01/27", "20/06/25"], Order.DAY_FIRST),
        (["14.03.24", "12.03.24", "15.01.27"], Order.DAY_FIRST),
        (["14/11/26", "24/03/25", "26/11/26"], Order.DAY_FIRST),  # today in the east
        (["14-03-24", "05-06-2024"], Order.DAY_FIRST),
        (["  25-03-20", "  05-03-20"], Order.DAY_FIRST),  # cut behind ten signs: years of four digits may go on
    ],
)
def test_a_day_above_twelve_tells(texts: list[str], order: Order) -> None:
    for some in (texts, texts[::-1]):
        assert evidence_of(some, date(2026, 11, 25)).order is order


@pytest.mark.parametrize(("text", "ahead"), [("27-01-15", True), ("31-05-01", True), ("26-11-26", False)])
def test_what_may_lie_ahead_decides_where_a_year_may_stand(text: str, ahead: bool) -> None:
    """27 January 2015 or 15 January 2027 for a day that may lie ahead; tomorrow is today somewhere on earth."""
    today = date(2026, 11, 25)
    places = [place_of_year(text, today, may_lie_ahead=may) for may in (False, True)]
    assert places == [Place.LAST if ahead else Place.EITHER, Place.EITHER]
    if text == "27-01-15":
        told = [evidence_of([text, "03-02-14"], today, may_lie_ahead=may).order for may in (False, True)]
        assert told == [Order.DAY_FIRST, Order.BY_ROWS]


@pytest.mark.parametrize(
    ("text", "order", "day"),
    [
        ("3.4.2019", Order.BY_ROWS, date(2019, 4, 3)),
        ("3/4/2019", Order.BY_ROWS, None),
        ("3-4-2019", Order.BY_ROWS, None),
        ("5/5/2019", Order.BY_ROWS, date(2019, 5, 5)),
        ("25/4/2019", Order.BY_ROWS, date(2019, 4, 25)),
        ("4/25/2019", Order.BY_ROWS, date(2019, 4, 25)),
        ("3.4.2019", Order.CLEAR, None),
        ("13/13/2019", Order.CLEAR, None),
        ("3/4/2019", Order.MONTH_FIRST, date(2019, 3, 4)),
        ("25/4/2019", Order.MONTH_FIRST, None),
    ],
)
def test_a_date_that_reads_two_ways_is_read_only_by_an_order(text: str, order: Order, day: date | None) -> None:
    if day is not None:
        assert parse_day(text, order) == day
        return
    with pytest.raises(NotAQuantityError) as fault:
        parse_day(text, order)
    if text.startswith("3"):
        assert "2019-04-03 or 2019-03-04" in fault.value.expected


@given(
    st.dates(min_value=date(1990, 1, 1), max_value=date(2030, 1, 1)),
    st.sampled_from("/.- "),
    st.sampled_from([Order.DAY_FIRST, Order.MONTH_FIRST]),
    st.booleans(),
)
def test_a_date_that_is_spelt_out_is_the_same_day_in_any_order(day: date, mark: str, order: Order, short: bool) -> None:
    parts = [str(day.day), str(day.month)] if order is Order.DAY_FIRST else [str(day.month), str(day.day)]
    typed = mark.join([*parts, f"{day.year % 100:02d}" if short else str(day.year)])
    read = parse_day(typed, order)
    spelt = spelt_out(f"{typed} 14:30", order)
    two_ways = short or (day.day <= 12 and day.day != day.month)
    assert (spelt != f"{typed} 14:30") is two_ways
    assert spelt.endswith(" 14:30")
    for other in Order if two_ways else (order,):
        assert parse_day(spelt.removesuffix(" 14:30"), other) == read


def test_the_last_row_of_a_file_tells_whatever_stands_around_it(tmp_path: Path) -> None:
    lines = [f"P-1,2019-01-0{1 + n % 9}," for n in range(9_000)]
    for name, text in {
        "plain": [*lines, "P-1,04/25/2019,"],
        "quoted": [*lines, '"P-1","04/25/2019","a, b"'],
        "note": [*lines, 'P-1,04/25/2019,"two\nlines,25/04/2019,x"'],
    }.items():
        path = tmp_path / f"{name}.csv"
        path.write_text("\n".join(["tag,date,notes", *text]) + "\n", encoding="utf-8")
        (sheet,) = read_sheets(path)
        assert evidence_in(sheet, 1, [1]).order is Order.MONTH_FIRST, name


PERFORMED = Column(0, "Date", next(f for f in fields_of(Table.JOBS) if f.key == "performed"))
LIST = SheetMapping("a", Table.JOBS, 1, (PERFORMED,), order=Order.DAY_FIRST)


def half_converted(*, every: int, form: str = "%d/%m/%Y") -> list[Cell]:
    """Days of a list as a spreadsheet of the other order leaves them."""
    days = [datetime(2008, 1, 1) + timedelta(days=every * n) for n in range(24)]  # noqa: DTZ001 - a cell has no zone
    return [day.replace(month=day.day, day=day.month) if day.day <= 12 else day.strftime(form) for day in days]


def columns_turned(cells: list[Cell]) -> dict[int, str]:
    sheet = Sheet(Path("l.xlsx"), "a", _cells=(("Date",), *((cell,) for cell in cells)))
    return dict(decided([Source(sheet, LIST)])[0].mapping.turned)


def test_dates_that_a_spreadsheet_of_the_other_order_has_half_converted_are_refused() -> None:
    """Day and month of 9 of 24 visits were exchanged, without a word."""
    turned = columns_turned(half_converted(every=37))
    assert turned == {0: "15/03/2008"}
    reader = RowReader(replace(LIST, turned=turned), "l.xlsx", ZoneInfo("UTC"))
    row = reader.read(3, [datetime(2008, 7, 2, 8, 30)])  # noqa: DTZ001
    assert row is not None
    assert [(p.code, p.found) for p in row.problems] == [(Code.BAD_DATE, "2008-07-02")]
    assert "Write as a text 2008-02-07, which is likely, or 2008-07-02;" in row.problems[0].expected
    same = reader.read(4, [datetime(2008, 5, 5)])  # noqa: DTZ001
    assert same is not None
    assert same.is_good, "nothing of 5 May can be exchanged"


def test_dates_of_which_one_tells_against_it_are_no_half_converted_ones() -> None:
    cells = half_converted(every=37)
    late = datetime(2012, 4, 13, tzinfo=UTC)
    known = [cell for cell in cells if isinstance(cell, date)]
    texts = [cell for cell in cells if isinstance(cell, str)]
    assert columns_turned(known[:4] + texts[:4])
    for some in ([*cells, late], [*cells, "03/04/2012"], [*cells, "04/13/2012"], known[:3] + texts, known + texts[:3]):
        assert not columns_turned(some)
    assert not columns_turned([*known, *(f"2012-05-{n}" for n in range(13, 30))])


def rows_on(*days: str) -> list[dict[str, str]]:
    return [{**GOOD, "job": f"N{n}", "performed_at": day} for n, day in enumerate(days)]


def days_of(engine: sa.Engine, site: Site) -> dict[str, date]:
    story = Reader(engine).story(site.site_id, "P-1")
    assert story is not None
    return {line.job.ref: line.job.performed_at.date() for line in story.standing}


def test_a_template_with_american_dates_is_not_read_day_first(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    seed(engine, site, tmp_path)
    path = jobs_file(tmp_path, *rows_on("3/4/2019", "5/6/2019 14:30", "7.6.2019", "5/5/2019"))
    report = bring_in(engine, site, path, accept_good=True)
    assert [(p.code, p.row) for p in report.problems] == [(Code.BAD_DATE, 2), (Code.BAD_DATE, 3)]
    assert days_of(engine, site) | {"N2": date(2019, 6, 7), "N3": date(2019, 5, 5)} == days_of(engine, site)


def test_rows_far_down_and_in_other_files_of_a_call_tell(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    seed(engine, site, tmp_path)
    first = jobs_file(tmp_path, *rows_on("03/04/2019"), name="first")
    second = jobs_file(
        tmp_path, *({**row, "job": f"M{n}"} for n, row in enumerate(rows_on(*["2018-01-01"] * 70, "04/25/2019"))), name="second"
    )  # fmt: skip
    report = bring_in(engine, site, first, second)
    assert report.written
    assert days_of(engine, site)["N0"] == date(2019, 3, 4)
    assert days_of(engine, site)["M70"] == date(2019, 4, 25)


def test_where_rows_tell_both_only_clear_dates_are_read(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    seed(engine, site, tmp_path)
    report = bring_in(
        engine, site, jobs_file(tmp_path, *rows_on("25/04/2019", "03/04/2019", "04/26/2019")), dry_run=True
    )
    assert [(p.code, p.row) for p in report.problems] == [(Code.BAD_DATE, 3)]
    assert "both" in report.problems[0].expected


@pytest.mark.parametrize("last", ["04/25/2019", "25/04/2019", "2019-04-25"])
def test_every_way_of_reading_follows_the_same_order(both: Ways, tmp_path: Path, last: str) -> None:  # noqa: F811
    from tests.seeded import FILES, write

    paths = write(tmp_path, **{name: text for name, text in FILES.items() if name != "jobs"})
    jobs = jobs_file(tmp_path, *rows_on("2019-01-01 08:00", "3/4/2019", "3.5.2019 10:00", "2019-02-01", last))
    report, _ = both(*paths, jobs, accept_good=True)
    refused = [row.row for row in report.sheets[-1].refused]
    assert refused == {"04/25/2019": [3, 4], "25/04/2019": [], "2019-04-25": [3]}[last]


def test_a_proposal_fixes_the_order_only_where_rows_tell_it(tmp_path: Path) -> None:
    head = "Job no,Machine,Date," + ",".join(HEAD.split(",")[6:10])
    for last, order in (("04/25/2019", Order.MONTH_FIRST), ("2019-01-01", Order.BY_ROWS)):
        path = tmp_path / "own.csv"
        rows = [f"A{n},P-1,3/4/2019,0,0,0,0" for n in range(80)]
        path.write_text("\n".join([head, *rows, f"Z,P-1,{last},0,0,0,0"]) + "\n", encoding="utf-8")
        (mapping,) = propose(read_sheets(path), Display()).sheets
        assert not mapping.is_template
        assert mapping.order is order
