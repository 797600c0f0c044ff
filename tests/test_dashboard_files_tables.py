"""Every table as CSV, XLSX and Parquet, read back by other code: typed, whole, and nothing in it that would run."""

from __future__ import annotations

import csv
import io
import re
import sys
import zipfile
from datetime import UTC, date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import openpyxl
import pandas as pd
import pytest
import sqlalchemy as sa
from flask.testing import FlaskClient
from hypothesis import given
from hypothesis import strategies as st
from pyarrow import parquet

from dashboard.app import create_app
from dashboard.cli import main
from dashboard.context import Context, install
from dashboard.files.around import shown_exactly
from dashboard.files.csv_file import MARK, csv_bytes, on_clock
from dashboard.files.parquet_file import NoParquetError, parquet_bytes
from dashboard.files.table_out import Form, TableOut, Value
from dashboard.files.tables import TABLES, make_table
from dashboard.files.xlsx_file import xlsx_bytes
from models.errors import InvalidValueError, UnknownNameError
from models.intake.plain_text import guarded, is_active, unguarded
from models.intake.reading import read_sheets
from models.settings import Settings
from models.store.engine import make_engine
from models.store.reader import Reader
from models.units import Display, Quantity, to_stored
from tests.conftest import make_site
from tests.history_maker import NOW, ZONE, made_book
from tests.seeded import ASSETS, FILES, INSTRUMENTS, bring_in, write
from tests.taken_tables import NASTY, QUERIES, asking, every_table, nasty_table


@pytest.fixture(scope="module")
def tables() -> list[TableOut]:
    """Give every table in mil, which is not the unit in which anything is stored."""
    return every_table("mil")


def cell(text: str, form: Form, zone: str) -> Value:
    """Read a cell of a CSV by the kind of its column."""
    if form is Form.TEXT:
        return unguarded(text)
    if not text:
        return None
    if form is Form.YES:
        return {"TRUE": True, "FALSE": False}[text]
    if form is Form.DAY:
        return date.fromisoformat(text)
    if form is Form.MOMENT:
        moment = datetime.fromisoformat(text)
        return moment if moment.tzinfo else moment.replace(tzinfo=ZoneInfo(zone))
    return int(text) if form is Form.COUNT else float(text)


def test_every_table_holds_something_and_says_what_each_column_means(tables: list[TableOut]) -> None:
    assert [table.name for table in tables] == list(TABLES)
    empty = {table.name for table in tables if not len(table)}
    assert empty <= {"month-left-over", "month-returned", "no-forecast", "groups"}, empty
    for table in tables:
        for column in table.columns:
            assert column.meaning.endswith((".", "…")), (table.name, column.name)
            assert "{" not in column.meaning


def test_a_csv_reads_back_equal(tables: list[TableOut]) -> None:
    for table in (*tables, nasty_table()):
        body = csv_bytes(table)
        assert body.startswith(b"\xef\xbb\xbf")
        heading, *rows = csv.reader(io.StringIO(body.decode("utf-8-sig"), newline=""))
        assert [unguarded(text) for text in heading] == [column.heading for column in table.columns]
        forms = [column.form for column in table.columns]
        back = [tuple(cell(text, form, table.zone) for text, form in zip(row, forms, strict=True)) for row in rows]
        wanted = [tuple("" if v is None and f is Form.TEXT else v for v, f in zip(row, forms, strict=True)) for row in table.rows()]  # fmt: skip
        assert back == wanted, table.name
        assert not [text for row in (heading, *rows) for text in row if is_active(text) and not text.startswith("'")]


def test_a_workbook_reads_back_typed_with_headings_frozen_and_a_second_sheet(tables: list[TableOut]) -> None:
    for table in (*tables, nasty_table()):
        book = openpyxl.load_workbook(io.BytesIO(xlsx_bytes(table)))
        sheet, about = book.worksheets
        zone = ZoneInfo(table.zone)
        assert sheet.freeze_panes == "B2"
        assert sheet.auto_filter.ref.startswith("A1:")
        head, *rows = list(sheet.iter_rows())
        assert [one.value for one in head] == [column.heading for column in table.columns]
        assert len(rows) == len(table)
        for cells, values in zip(rows, table.rows(), strict=True):
            for held, value, column in zip(cells, values, table.columns, strict=True):
                assert held.data_type != "f"
                if value is None or value == "":
                    assert held.value in {None, ""}
                elif column.form is Form.TEXT:
                    # A carriage return stands in a workbook as its escape; this reader leaves it so.
                    assert (held.data_type, held.value) == ("s", str(value).replace("\r", "_x000D_"))
                    assert bool(held.quotePrefix) == is_active(str(value))
                elif column.form is Form.MOMENT and held.data_type == "s":
                    assert column.comes_back
                    assert held.value == on_clock(value, zone)
                elif column.form is Form.MOMENT:
                    assert isinstance(value, datetime)
                    local = value.astimezone(zone).replace(tzinfo=None)
                    assert abs((held.value - local).total_seconds()) < 0.001
                elif column.form is Form.DAY:
                    assert held.value.date() == value
                elif column.form is Form.YES:
                    assert held.value is value
                else:
                    assert held.data_type == "n"
                    assert held.value == value
        said = [[one.value for one in row] for row in about.iter_rows()]
        assert [one.data_type for row in about.iter_rows() for one in row if one.data_type == "f"] == []
        named = {row[0] for row in said}
        assert {column.name for column in table.columns} <= named
        assert {"Window", "How sure", "Source", "Site"} <= named


def test_a_workbook_has_no_formula_and_no_link_in_its_bytes() -> None:
    with zipfile.ZipFile(io.BytesIO(xlsx_bytes(nasty_table()))) as archive:
        for name in archive.namelist():
            text = archive.read(name).decode()
            assert "<f>" not in text
            assert "<f " not in text
            assert "<hyperlink " not in text, name


def test_parquet_reads_back_typed(tables: list[TableOut]) -> None:
    kinds = {
        Form.TEXT: "string", Form.NUMBER: "double", Form.COUNT: "int64", Form.YES: "bool", Form.DAY: "date32[day]",
        Form.MOMENT: f"timestamp[us, tz={ZONE}]",
    }  # fmt: skip
    for table in (*tables, nasty_table()):
        read = parquet.read_table(io.BytesIO(parquet_bytes(table)))
        for field, column in zip(read.schema, table.columns, strict=True):
            assert (field.name, str(field.type)) == (column.heading, kinds[column.form])
            assert field.metadata[b"unit"].decode() == column.unit
            assert field.metadata[b"meaning"].decode() == column.meaning
            assert tuple(read[field.name].to_pylist()) == column.values  # noqa: PD011 - ours, no frame
        assert read.schema.metadata[b"Window"].decode() == table.window


def test_numbers_of_the_csv_equal_those_of_the_view_in_a_recount(tables: list[TableOut]) -> None:
    """Counted again from the table of the jobs: the table by speed class, its total, and the month of the chart."""
    by_name = {table.name: pd.read_csv(io.BytesIO(csv_bytes(table))) for table in tables}
    with asking():
        month = make_table("month-jobs", "month=2026-09")
    jobs = pd.read_csv(io.BytesIO(csv_bytes(month)))
    with asking():
        classes = pd.read_csv(io.BytesIO(csv_bytes(make_table("month-classes", "month=2026-09"))))
    total = classes.iloc[-1]
    assert len(jobs) == total["jobs"] > 0
    for stage in ("found", "left"):
        ratio = jobs[f"{stage} ratio"].dropna()
        assert ((ratio > 1).sum(), len(ratio)) == (total[f"{stage} over"], total[f"{stage} judged"])
        assert (classes[f"{stage} over"][:-1].sum(), classes[f"{stage} judged"][:-1].sum()) == (
            total[f"{stage} over"],
            total[f"{stage} judged"],
        )
    assert by_name["due"]["tag"].is_unique
    assert by_name["entries"]["entry"].is_monotonic_decreasing


# -- texts that would run ---------------------------------------------------------------------------------------------


@given(st.one_of(st.text(max_size=20), st.sampled_from(NASTY), st.text("'=+-@ \t\r\n\uff1d1a", max_size=6)))
def test_a_guarded_text_comes_back_and_none_begins_with_what_is_run(text: str) -> None:
    assert unguarded(guarded(text)) == text
    begins = guarded(text).lstrip()[:1]
    if begins and begins in "=+-@\uff1d\uff0b\uff0d\uff20":
        assert re.fullmatch(r"[+-][0-9][0-9.,]*([eE][+-]?[0-9]+)?", text), "nothing but a plain number"


@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_our_own_import_reads_every_text_as_it_was(tmp_path: Path, form: str) -> None:
    table = nasty_table()
    path = tmp_path / f"nasty.{form}"
    path.write_bytes(csv_bytes(table) if form == "csv" else xlsx_bytes(table))
    (sheet, *_) = read_sheets(path)
    rows = [row for _, row in sheet.rows()]
    assert rows[0][-1] == "=column"
    column = [str(row[0]) for row in rows[1 : len(NASTY) + 1]]
    assert column == list(NASTY)


def test_a_file_to_mend_holds_nothing_that_would_run(tmp_path: Path, sqlite_book: Settings) -> None:
    from models.intake.mapping import propose
    from models.intake.mend import Bad, write_mend

    site = make_site(sqlite_book)
    (path,) = write(tmp_path, people="name,qualification\n=1+1,-0.5\n")
    sheets = list(read_sheets(path))
    mapping = propose(sheets, site.display).sheets[0]
    write_mend(tmp_path / "mend.csv", [Bad(mapping, [(("=1+1", "-0.5"), "why")])])
    text = (tmp_path / "mend.csv").read_text(encoding="utf-8-sig").splitlines()
    assert text[1] == "'=1+1,-0.5,why"
    assert [row for _, row in read_sheets(tmp_path / "mend.csv")[0].rows()][1] == ["=1+1", "-0.5", "why"]
    # As a workbook it gives back what a workbook had: all digits of a number, and the parts of a second.
    cells = (10 / 3 / 0.0254, datetime.fromisoformat("2025-11-28 08:15:07.250"), date(2025, 11, 28))
    write_mend(tmp_path / "mend.xlsx", [Bad(mapping, [(cells, "why")])])
    back = [row for _, row in read_sheets(tmp_path / "mend.xlsx")[0].rows()][1]
    assert tuple(back[:3]) == cells


# -- into the book again ----------------------------------------------------------------------------------------------

JOBS = """job,tag,performed at,reason,people,instrument,method,work order,found offset V [mm],found angle V [mm/m],found offset H [mm],found angle H [mm/m],left offset V [mm],left angle V [mm/m],left offset H [mm],left angle H [mm/m],target offset V [mm],soft foot before 1L [mm],soft foot before 1R [mm],soft foot before 3L [mm],shim 1L [mm],side move 2R [mm],temperature movable [°C],hours run,checks done,notes,reviewer
J1,P-1,2024-03-04 09:30:15,installation,Ana Wick,D-1,laser,007,,,,,0.01,0.1,-0.02,0.05,0.03,,,,,,,,,'=1+1,
J2,P-1,2025-03-04 09:30,planned,Ana Wick; Bo Tarn,D-1,two faces,+49 1,0.12,0.3,-0.05,0.2,0.0213,0.1,0.01,-0.05,,0.02,0.01,0.09,0.4,-0.2,41.3,8123.5,bolts; base,"a, ""b""; c",Cy Dale
J3,P-2,2025-10-26 01:30+00:00,condition,Bo Tarn,D-1,,,0.05,0.8,0.0,0.1,0.01,0.1,0.0,0.0,,,,,,,,,,,
J4,P-2,2025-10-26 00:30Z,failure,Bo Tarn,,,,0.07,0.8,0.0,0.1,0.01,0.1,0.0,0.0,,,,,,,,,,  -leading,
J5,P-2,2025-11-26 00:00,planned,Bo Tarn,,,,0.0731,0.8123,0.0,0.1,0.01,0.1,0.0,0.0,,,,,,,,8200.25,,,
J6,P-2,2025-11-27 08:15:07,planned,Bo Tarn,,,,0.07,0.8,0.0,0.1,0.01,0.1,0.0,0.0,,,,,,,,8211.125,,,
J7,P-2,2025-11-28 08:15:07.25,planned,Bo Tarn,,,,0.07,0.8,0.0,0.1,0.01,0.1,0.0,0.0,,,,,,,,,,,
J8,P-2,2025-11-29 08:15:59.999601,planned,Bo Tarn,,,,0.07,0.8,0.0,0.1,0.01,0.1,0.0,0.0,,,,,,,,,,,
"""
"""Moments as odd as a book can hold: at midnight, in the hour that comes twice, with seconds and millionths of one."""


@pytest.mark.parametrize("units", ["mm", "mil"])  # those of the site, in which its sheets are typed
def test_the_jobs_of_a_machine_go_into_another_book_and_say_the_same(tmp_path: Path, units: str) -> None:
    plants = [Settings(book=str(tmp_path / f"{name}.db")) for name in ("from", "to")]
    engines = []
    for settings in plants:
        site = make_site(settings, units=units)
        engines.append(make_engine(settings))
        assert bring_in(engines[-1], site, *write(tmp_path, assets=ASSETS, instruments=INSTRUMENTS)).written
    typed = JOBS if units == "mm" else JOBS.replace(" [mm]", " [mil]").replace(" [mm/m]", " [mil/in]")
    assert bring_in(engines[0], site, *write(tmp_path, jobs=typed)).written
    from flask import Flask

    server = Flask("there")
    install(server, Context(plants[0], Reader(engines[0]), lambda: NOW))
    paths = []
    with server.app_context():
        for tag in ("P-1", "P-2"):
            paths.append(tmp_path / f"{tag}.csv")
            paths[-1].write_bytes(csv_bytes(make_table("asset-jobs", f"asset={tag}")))
    report = bring_in(engines[1], site, *paths)
    assert report.written, report.problems
    with server.app_context():
        # As workbooks they say the very same: each row is in the book already, word for word and number for number.
        books = [path.with_suffix(".xlsx") for path in paths]
        for path in books:
            path.write_bytes(xlsx_bytes(make_table("asset-jobs", f"asset={path.stem}")))
        same = bring_in(engines[1], site, *books)
        assert not same.problems
        assert [sheet.unchanged for sheet in same.sheets] == [2, 6]
        paths = [tmp_path / f"asset-{tag}.csv" for tag in ("P-1", "P-2")]
        for path, tag in zip(paths, ("P-1", "P-2"), strict=True):
            path.write_bytes(csv_bytes(make_table("asset-versions", f"asset={tag}")))
    again = bring_in(engines[1], site, *paths)
    assert not again.problems
    assert [sheet.unchanged for sheet in again.sheets] == [1, 1], (
        "the same descriptions, word for word and number for number"
    )
    said = []
    for engine in engines:
        with engine.connect() as connection:
            rows = connection.execute(
                sa.text(
                    "SELECT ref, content, found_ratio, left_ratio, performed_us, notes, work_order FROM job ORDER BY ref"
                )
            )
            said.append([tuple(row) for row in rows])
        engine.dispose()
    assert len(said[0]) == 8
    assert {row[4] % 1_000_000 for row in said[0]} == {0, 250_000, 999_601}, "the way in loses no part of a second"
    assert said[0] == said[1]
    assert said[0][0][5:] == ("=1+1", "007")


@given(
    st.floats(-50, 50, allow_nan=False).map(lambda x: round(x, 4)),
    st.sampled_from(list(Quantity)),
    st.sampled_from([Display(), Display("mil", "°F")]),
)
def test_a_number_typed_in_the_unit_that_is_shown_comes_back_the_very_same(
    typed: float, quantity: Quantity, display: Display
) -> None:
    value = to_stored(typed, display.unit(quantity), quantity)
    shown = shown_exactly(value, quantity, display)
    assert shown is not None
    assert to_stored(shown, display.unit(quantity), quantity) == value
    assert shown == pytest.approx(typed, abs=1e-12)


def test_the_hour_that_comes_twice_says_which_it_is() -> None:
    zone = ZoneInfo("Europe/Lisbon")
    first, second = datetime(2026, 10, 25, 0, 30, tzinfo=UTC), datetime(2026, 10, 25, 1, 30, tzinfo=UTC)
    assert on_clock(first, zone) == "2026-10-25 01:30+01:00"
    assert on_clock(second, zone) == "2026-10-25 01:30+00:00"
    assert on_clock(datetime(2026, 7, 1, 12, 0, 5, tzinfo=UTC), zone) == "2026-07-01 13:00:05"


# -- over the wire and by command -------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    return create_app(Settings(book="plant.db"), made_book(), clock=lambda: NOW).server.test_client()


@pytest.mark.parametrize("name", list(TABLES))
def test_every_table_can_be_fetched_in_every_form(client: FlaskClient, name: str) -> None:
    for form, begins, mime in (
        ("csv", MARK.encode(), "text/csv"),
        ("xlsx", b"PK", "application/vnd.openxmlformats"),
        ("parquet", b"PAR1", "application/vnd.apache.parquet"),
    ):
        answer = client.get(f"/table/{name}.{form}?{QUERIES.get(name, '')}")
        assert answer.status_code == 200
        assert answer.data.startswith(begins)
        assert answer.headers["Content-Type"].startswith(mime)
        assert f'filename="SAL-{name}-entry-' in answer.headers["Content-Disposition"]
        assert answer.headers["Content-Disposition"].split(";")[0] == "attachment"
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert "no-store" in answer.headers["Cache-Control"]


def test_what_is_not_there_is_said_in_words(client: FlaskClient) -> None:
    for address, words in (
        ("/table/nothing.csv", "There is no table ‘nothing’"),
        ("/table/asset-jobs.csv", "none was named"),
        ("/table/asset-jobs.csv?asset=<b>", "no machine ‘<b>’"),
        ("/table/what-if.csv", "No other set was asked for"),
        ("/table/instrument-jobs.csv?instrument=none", "none"),
    ):
        answer = client.get(address)
        assert answer.status_code == 404, address
        assert answer.mimetype == "text/plain"
        assert words in answer.text
    assert client.post("/table/due.csv").status_code == 405
    assert client.get("/table/due.exe").mimetype == "text/html", "any other address is the page's own"


def test_without_what_writes_parquet_the_message_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(NoParquetError, match="not installed") as caught:
        parquet_bytes(nasty_table())
    assert "'.[parquet]'" in caught.value.remedy
    client = create_app(Settings(book="plant.db"), made_book(), clock=lambda: NOW).server.test_client()
    answer = client.get("/table/due.parquet")
    assert (answer.status_code, answer.mimetype) == (409, "text/plain")


def test_the_command_writes_what_the_address_gives(
    sqlite_book: Settings, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site = make_site(sqlite_book)
    engine = make_engine(sqlite_book)
    assert bring_in(engine, site, *write(tmp_path, assets=ASSETS, instruments=INSTRUMENTS)).written
    assert bring_in(engine, site, *write(tmp_path, jobs=JOBS)).written
    engine.dispose()
    book = ["--book", sqlite_book.book]
    assert main(["table"]) == 0
    listed = capsys.readouterr().out
    assert [name for name in TABLES if f"  {name} " not in listed] == []
    for form in ("csv", "xlsx", "parquet"):
        path = tmp_path / f"taken.{form}"
        assert main(["table", "asset-jobs", *book, "--query", "asset=P-1&units=mil", "-o", str(path)]) == 0
        assert path.stat().st_size > 500
        assert main(["table", "asset-jobs", *book, "--query", "asset=P-1", "-o", str(path)]) == 2
    frame = pd.read_csv(tmp_path / "taken.csv")
    assert list(frame["job"]) == ["J2", "J1"]
    assert frame["found offset V [mil]"][0] == pytest.approx(0.12 / 0.0254)
    capsys.readouterr()
    assert main(["table", "entries", *book, "-o", str(tmp_path / "e.txt")]) == 2
    assert main(["table", "nothing", *book, "-o", str(tmp_path / "e.csv")]) == 2
    assert "The tables are" in capsys.readouterr().err
    with asking(), pytest.raises(UnknownNameError):
        make_table("nothing", "")
    for name, query, told in (
        ("month-classes", "month=2026-9", "written like 2026-10"),
        ("month-classes", "month=2099-12", "2099-12 has not begun"),
        ("due", "risk=7", "5, 10 or 20"),
        ("due", "by=risc", "neither risk nor rule"),
        ("due", "rsk=5", "It takes: by, risk, site, units"),
        ("due", "risk=5&risk=20", "each once"),
        ("due", "risk", "NAME=VALUE"),
        ("offenders", "window=two", "1 to 1200, or all"),
        ("offenders", "class=9", "1500"),
        ("offenders", "coupling=rigid", "What can be chosen: "),
        ("entries", "kind=jobs", "job"),
        ("entries", "dates=work", "done"),
        ("asset-jobs", "asset=P-1&units=inch", "mm or mil"),
        ("limit-curve", "set=99999", "no limit set"),
    ):
        assert main(["table", name, *book, "--query", query, "-o", str(tmp_path / "no.csv")]) == 2, (name, query)
        assert told in " ".join(capsys.readouterr().err.split())
    assert not (tmp_path / "no.csv").exists()
    with asking():  # a page says so beside what it shows
        assert make_table("due", "risk=7&rsk=5").asked
        with pytest.raises(InvalidValueError, match="2099-12 has not begun"):
            make_table("month-chart", "month=2099-12")
    assert (
        main(
            ["table", "offenders", *book, "--query", "?class=1500&window=all&list=all", "-o", str(tmp_path / "yes.csv")]
        )
        == 0
    )


@pytest.mark.parametrize("name", ["due", "offenders", "month-classes", "machines"])
def test_the_command_waits_until_a_large_book_is_studied(
    name: str, sqlite_book: Settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    site = make_site(sqlite_book)
    engine = make_engine(sqlite_book)
    assert bring_in(engine, site, *write(tmp_path, assets=ASSETS, instruments=INSTRUMENTS)).written
    assert bring_in(engine, site, *write(tmp_path, jobs=JOBS)).written
    engine.dispose()
    small, large = tmp_path / "small.csv", tmp_path / "large.csv"
    assert main(["table", name, "--book", sqlite_book.book, "-o", str(small)]) == 0
    monkeypatch.setattr("dashboard.picture.QUICK", 1)
    monkeypatch.setattr("dashboard.pictures.PATIENCE_S", 0.0)
    assert main(["table", name, "--book", sqlite_book.book, "-o", str(large)]) == 0
    assert large.read_bytes() == small.read_bytes()


def test_a_job_that_a_calibration_entered_afterwards_makes_good_stays_among_the_late_ones(
    sqlite_book: Settings, tmp_path: Path
) -> None:
    site, engine = make_site(sqlite_book), make_engine(sqlite_book)
    early = INSTRUMENTS.replace("2027-01-01", "2024-06-01")
    assert bring_in(engine, site, *write(tmp_path, **FILES | {"instruments": early})).written

    def rows(name: str) -> list[dict[str, str]]:
        path = tmp_path / "out.csv"
        path.unlink(missing_ok=True)
        assert main(["table", name, "--book", str(sqlite_book.path), "-o", str(path)]) == 0
        return list(csv.DictReader(path.read_text(encoding="utf-8-sig").splitlines()))

    before, (set_before,) = rows("late-jobs"), rows("instruments")
    days, then = "days after it ran out [d]", "days after it ran out, when recorded [d]"
    assert before
    assert [one[days] for one in before] == [one[then] for one in before]
    assert (set_before["calibration author"], set_before["jobs told otherwise when recorded"]) == ("tester", "0")
    late = "serial,description,calibrated,calibration due\nD-1,dial set,2025-01-01,2030-01-01\n"
    assert bring_in(engine, site, *write(tmp_path, instruments=late)).written
    after, (set_after,) = rows("late-jobs"), rows("instruments")
    assert [(one["entry"], one[then]) for one in after] == [(one["entry"], one[then]) for one in before]
    assert {one[days] for one in after} == {"0"}
    assert int(set_after["jobs told otherwise when recorded"]) >= len(before)
    assert int(set_after["calibration entry"]) == Reader(engine).head()
    engine.dispose()
