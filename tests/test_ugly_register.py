"""A plant's own register: one mapping, every planted fault at its place, the numbers as in the sheet."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
import sqlalchemy as sa

from dashboard.app import create_app
from dashboard.cli import main
from dashboard.ids import Shell
from dashboard.pages import asset
from models.commands.import_files import import_files
from models.commands.report import Report, Source
from models.intake.fitting import fitting
from models.intake.mapping import FileMapping, propose
from models.intake.mapping_file import from_toml, kept_path, to_toml
from models.intake.problems import Severity
from models.intake.reading import read_sheets
from models.settings import Settings
from models.store.engine import make_engine
from models.store.reader import Reader
from models.values.job import COMPONENTS
from models.values.story import Site
from seed_data.ugly import HAND_CONVERTED, Fault, write_mended, write_ugly
from tests.conftest import NOW, make_site
from tests.seeded import contents
from tests.test_dashboard_pages import call


@pytest.fixture
def book(sqlite_book: Settings) -> Iterator[tuple[sa.Engine, Site]]:
    site = make_site(sqlite_book)
    engine = make_engine(sqlite_book)
    yield engine, site
    engine.dispose()


def mapping_for(path: Path, site: Site) -> FileMapping:
    return propose(read_sheets(path), site.display)


def bring(book: tuple[sa.Engine, Site], path: Path, mapping: FileMapping, *, accept_good: bool = False) -> Report:
    engine, site = book
    sheets = {sheet.name: sheet for sheet in read_sheets(path)}
    sources = [Source(sheets[m.sheet], m) for m in mapping.sheets]
    return import_files(engine, site, sources, by="tester", now=NOW, accept_good=accept_good)


def told(report: Report) -> set[tuple[str, int, str, str, str]]:
    found = set()
    for problem in report.problems:
        if problem.code == "unknown-instrument":
            continue  # the register has no sheet of instruments; that is said once for each, and is no fault of a row
        found.add((problem.sheet, problem.row, problem.column.split(" ")[0], str(problem.code), str(problem.severity)))
    return found


def planted(faults: list[Fault]) -> set[tuple[str, int, str, str, str]]:
    return {(fault.sheet, fault.row, fault.column, fault.code, fault.severity) for fault in faults}


def test_every_planted_fault_is_told_at_its_row_and_column_and_nothing_else(
    book: tuple[sa.Engine, Site], tmp_path: Path
) -> None:
    path = tmp_path / "register.xlsx"
    faults = write_ugly(path)
    before = contents(book[0])
    report = bring(book, path, mapping_for(path, book[1]))
    assert told(report) == planted(faults)
    assert not report.written
    assert contents(book[0]) == before, "all or nothing"


def test_a_problem_says_what_stands_there(book: tuple[sa.Engine, Site], tmp_path: Path) -> None:
    path = tmp_path / "register.xlsx"
    faults = write_ugly(path)
    report = bring(book, path, mapping_for(path, book[1]))
    by_place = {(p.sheet, p.row, p.column.split(" ")[0]): p for p in report.problems if p.code != "unknown-instrument"}
    for fault in faults:
        problem = by_place[fault.sheet, fault.row, fault.column]
        if fault.code not in {"not-a-record", "duplicate-in-file"}:
            assert fault.found in problem.found or not fault.found, (fault, problem)
        assert problem.expected
        assert problem.file == "register.xlsx"


def test_the_proposed_mapping_is_written_confirmed_kept_and_found_again(
    book: tuple[sa.Engine, Site], tmp_path: Path
) -> None:
    path = tmp_path / "register.xlsx"
    write_ugly(path)
    proposed = mapping_for(path, book[1])
    place = kept_path(tmp_path, proposed, path)
    text = to_toml(replace(proposed, site=book[1].name), path.name)
    assert "# samples: W-01 | W-02 | W-03" in text
    back = from_toml(text.replace("confirmed = false", "confirmed = true"), place)
    assert back.confirmed
    assert fitting(back, read_sheets(path)) == back.sheets
    for one, other in zip(proposed.sheets, back.sheets, strict=True):
        assert [(c.heading, c.field, c.unit if c.field and c.field.quantity else "") for c in one.columns] == [
            (c.heading, c.field, c.unit if c.field and c.field.quantity else "") for c in other.columns
        ]
        assert (one.table, one.header_row, one.decimal, one.order, dict(one.words)) == (
            other.table, other.header_row, other.decimal, other.order, dict(other.words)
        )  # fmt: skip


def test_good_rows_go_in_and_the_rest_come_back_to_be_mended(
    sqlite_book: Settings, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    make_site(sqlite_book)
    path = tmp_path / "register.xlsx"
    faults = write_ugly(path)
    arguments = ["import", str(path), "--book", str(sqlite_book.path), "--by", "tester"]
    assert main(arguments) == 3
    assert "Nothing was imported yet" in capsys.readouterr().out
    assert main([*arguments, "--confirm", "--accept-good"]) == 4
    spoken = capsys.readouterr().out
    refused_rows = {(f.sheet, f.row) for f in faults if f.severity == "error"}
    assert f"{len(refused_rows)} rows came back" in spoken
    back = tmp_path / "register.to-mend.xlsx"
    sheets = {sheet.name: sheet for sheet in read_sheets(back)}
    assert sum(len(sheet.head) for sheet in sheets.values()) == len(refused_rows) + 2 + 4  # headings in rows 2 and 4
    mended = tmp_path / "mended.xlsx"
    write_mended(mended)
    assert main(["import", str(mended), "--book", str(sqlite_book.path), "--by", "tester"]) == 0
    assert "confirmed mapping" in capsys.readouterr().out
    assert main(["import", str(mended), "--book", str(sqlite_book.path), "--by", "tester"]) == 0
    assert "nothing changed" in capsys.readouterr().out


def test_the_numbers_of_five_jobs_are_those_converted_by_hand(book: tuple[sa.Engine, Site], tmp_path: Path) -> None:
    path = tmp_path / "mended.xlsx"
    write_mended(path)
    report = bring(book, path, mapping_for(path, book[1]))
    assert report.written
    assert not [problem for problem in report.problems if problem.severity is Severity.ERROR]
    reader = Reader(book[0])
    history = reader.history(book[1].site_id)
    lines = {line.job.ref: line for tag in history.assets.tag for line in getattr(reader.story(1, tag), "jobs", ())}
    assert len(HAND_CONVERTED) == 5
    for wanted in HAND_CONVERTED:
        job = lines[wanted.ref].job
        for stage, numbers in (("found", wanted.found), ("left", wanted.left)):
            measured = getattr(job, stage)
            if numbers is None:
                assert measured is None
            else:
                assert measured.as_tuple() == pytest.approx(numbers.as_tuple(), abs=1e-9)


def rows_of_the_page(book: tuple[sa.Engine, Site], tag: str) -> dict[str, dict[str, object]]:
    """Give the rows of the table of jobs as the asset page sends them, by job number."""
    reader = Reader(book[0])
    client = create_app(Settings(book="x.db"), reader, clock=lambda: NOW).server.test_client()
    inputs = [
        {"id": Shell.PAGE, "property": "data", "value": f"/asset/{tag}"},
        {"id": Shell.URL, "property": "search", "value": ""},
        {"id": Shell.SCHEME, "property": "data", "value": "light"},
    ]
    answer = call(client, f"{asset.Ids.REST}.children", inputs)
    assert answer.status_code == 200
    found: dict[str, dict[str, object]] = {}

    def look(node: object) -> None:
        if isinstance(node, dict):
            for row in node.get("rowData") or ():
                found[str(row["ref"])] = row
            for value in node.values():
                look(value)
        elif isinstance(node, list):
            for value in node:
                look(value)

    look(answer.get_json())
    return found


def test_the_asset_page_shows_the_numbers_that_were_converted_by_hand(
    book: tuple[sa.Engine, Site], tmp_path: Path
) -> None:
    path = tmp_path / "mended.xlsx"
    write_mended(path)
    assert bring(book, path, mapping_for(path, book[1])).written
    history = Reader(book[0]).history(book[1].site_id)
    rows = {ref: row for tag in history.assets.tag for ref, row in rows_of_the_page(book, str(tag)).items()}
    for wanted in HAND_CONVERTED:
        for stage, numbers in (("found", wanted.found), ("left", wanted.left)):
            shown = [rows[wanted.ref].get(f"{stage}_{name}") for name in COMPONENTS]
            if numbers is None:
                assert shown == [None] * 4
            else:
                # A page in mm shows offsets to 0.001 mm and angularities to 0.01 mm/m: the hand's numbers, rounded so.
                offset_v, angle_v, offset_h, angle_h = numbers.as_tuple()
                rounded = [round(offset_v, 3), round(angle_v, 2), round(offset_h, 3), round(angle_h, 2)]
                assert shown == pytest.approx(rounded, abs=1e-9)
