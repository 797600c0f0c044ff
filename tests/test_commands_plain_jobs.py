"""The short way and the long way write the same bytes and say the same: files of all kinds are imported both ways."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

import models.commands.import_sheets as work
from models.commands.import_files import import_files
from models.commands.report import Report
from models.intake.problems import Code
from models.ledger.content import job_content, job_content_text
from models.settings import Settings
from models.store.engine import make_engine
from models.store.unit import Unit
from models.tables.base import to_microseconds
from models.values.story import Site
from seed_data.generate import generate
from seed_data.generate import write as write_plant
from seed_data.ugly import write_ugly
from tests.conftest import NOW, make_site
from tests.recorder import job_of
from tests.seeded import FILES, contents, sources_of, write

WAYS = ("long", "plain", "columns")
"""The row loop alone; with the short way for plain rows; and plain rows as columns."""

Ways = Callable[..., tuple[Report, Report]]


@pytest.fixture
def both(sqlite_template: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Ways:
    """Import the same files the short and the long way into two books, and hold everything together."""
    made = 0

    def run(*paths: Path, accept_good: bool = False, batch: int = 7) -> tuple[Report, Report]:
        nonlocal made
        made += 1
        monkeypatch.setattr(work, "BATCH", batch)
        monkeypatch.setattr(work, "CHUNK", batch)
        reports, books = [], []
        for way in WAYS:
            take_way(monkeypatch, way)
            book = tmp_path / f"{made}-{way}.db"
            shutil.copy(sqlite_template, book)
            settings = Settings(book=str(book), key=tmp_path / "key")
            site, engine = _site(settings), make_engine(settings)
            sources = sources_of(site, *paths)
            reports.append(import_files(engine, site, sources, by="tester", now=NOW, accept_good=accept_good))
            books.append(_without_names(contents(engine)))
            engine.dispose()
        for book, report in zip(books[1:], reports[1:], strict=True):
            assert book == books[0]
            assert _told(report) == _told(reports[0])
        return reports[0], reports[1]

    return run


def take_way(patch: pytest.MonkeyPatch, way: str) -> None:
    patch.setattr(work, "PLAIN_LANE", way != "long")
    patch.setattr(work, "COLUMNS_FROM", 0 if way == "columns" else 10**9)


def _site(settings: Settings) -> Site:
    return make_site(settings)


def _without_names(found: dict[str, list[tuple[object, ...]]]) -> dict[str, list[tuple[object, ...]]]:
    """Leave out the name under which a book signs: it is drawn by lot, and with it go the first statements and all heads."""
    return {
        name: [row for row in rows if name != "statement" or int(str(row[0])) > 3]
        for name, rows in found.items()
        if name not in {"book_key", "tree_head"}
    }


def _told(report: Report) -> Any:
    sheets = [
        (
            s.read,
            s.taken,
            s.unchanged,
            s.left_out,
            s.doubled,
            s.done,
            [(r.row, tuple(r.cells), r.why) for r in s.refused],
        )
        for s in report.sheets
    ]
    return (report.written, report.first_entry, report.last_entry, report.problems, sheets)


def test_the_invented_plant_goes_in_the_same_both_ways_and_most_of_it_the_short_one(
    both: Ways, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plant = tmp_path / "plant"
    write_plant(plant, generate())
    taken = {"plain": 0, "columns": 0}
    made, chunk = work.Sheets._plain, Unit.add_block

    def count(self: Any, *said: Any) -> Any:
        taken["plain"] += 1
        return made(self, *said)

    def count_block(self: Any, kind: Any, batch: Any, lines: Any, *said: Any) -> None:
        taken["columns"] += len(lines.values)
        chunk(self, kind, batch, lines, *said)

    monkeypatch.setattr(work.Sheets, "_plain", count)
    monkeypatch.setattr(Unit, "add_block", count_block)
    names = ("people", "instruments", "assets", "breaks", "jobs")
    report, _ = both(*(plant / f"{name}.csv" for name in names), batch=500)
    assert report.written
    assert min(taken.values()) > 0.9 * report.sheets[-1].read


def test_a_plants_own_register_goes_in_the_same_both_ways(both: Ways, tmp_path: Path) -> None:
    register = tmp_path / "register.xlsx"
    write_ugly(register)
    both(register, accept_good=True)


def test_small_files_go_in_the_same_both_ways(both: Ways, tmp_path: Path) -> None:
    assert both(*write(tmp_path, **FILES))[0].written


HEADS = (
    "job", "tag", "performed at", "reason", "people", "instrument", "method", "found offset V [mm]", "found angle V [mm/m]",
    "found offset H [mm]", "found angle H [mm/m]", "left offset V [mm]", "left angle V [mm/m]", "left offset H [mm]",
    "left angle H [mm/m]", "target offset V [mm]", "soft foot before 1L [mm]", "soft foot before 2R [mm]", "shim 1L [mm]",
    "hours run", "notes",
)  # fmt: skip

NUMBERS = st.one_of(
    st.sampled_from(
        ["", "", " ", "0", "0.0", "-0", "-0.0", "1", "12", "1e-2", "1E-7", "0.1 ", " 0.2", "+0.3", "0,25", "1,234"]
    ),
    st.sampled_from(
        ["0.05 mm", "2 mil", "4.3 thou", "−0.02", "99", "1e300", "nan", "inf", "1_0", "0x1", "abc", "0.O5", "٣", "'0.1"]
    ),
    st.sampled_from(["1.250", "-1.250", "1.2501", "0 05", "1 250", "1e999", "#N/A", "#DIV/0!"]),
    st.floats(-0.5, 0.5).map(lambda x: f"{x:.3f}"),
    st.floats(-1.0, 1.0).map(repr),
)
DATES = st.sampled_from(
    ["2024-03-04 09:30", "2024-03-04T09:30", "2024-03-31 01:30", "2024-10-27 01:30", "2024-3-4", "04.03.2024 14:30", "2024-02-30 10:00",
     "2024-W01-1T06:00", "2024-03-04 24:00", "2024-03-04 9:30", "2024-03-04 09:30:15", "2024-03-04 09:30Z", "2024-03-04 09:30+02:00",
     "1949-12-31 10:00", "2026-11-25 06:59", "2026-11-25 09:00", "2030-01-01 10:00", "", "soon", " 2024-05-05 10:00 ",
     "04.03.87", "04.03.24 10:00", "31.03.24 01:30", "43588", "#REF!"]
)  # fmt: skip
WORDS = {
    "reason": st.sampled_from(
        ["planned", "planned", "Planned", " planned ", "installation", "condition", "", "other", "never"]
    ),
    "people": st.sampled_from(
        ["Ana Wick", "Bo Tarn; Ana Wick", "Ana  Wick/Bo Tarn", "", ";", 'O\'Neil "Bo"', "Zoë", "#N/A"]
    ),
    "instrument": st.sampled_from(["D-1", "D-2", " D-2", "", "D 3"]),
    "method": st.sampled_from(["laser", "Laser", "", "rim and face", "by eye"]),
    "notes": st.sampled_from(
        ["", "fine", "two  blanks", 'quoted "so"', "line\nbreak", "ünïcode \u2028", "\\back", "#N/A", "#3", "Err:502"]
    ),
    "tag": st.sampled_from(["P-1", "P-1", "P-2", " P-2", "P-9", ""]),
}


@st.composite
def job_rows(draw: st.DrawFn) -> list[list[str]]:
    rows = []
    for number in range(draw(st.integers(1, 8))):
        row = []
        for head in HEADS:
            key = head.partition(" ")[0]
            if head == "job":
                row.append(draw(st.sampled_from([f"J{number}", f"J{number}", "J0", f" J{number}  x", ""])))
            elif head == "performed at":
                row.append(draw(DATES))
            elif key in WORDS:
                row.append(draw(WORDS[key]))
            else:
                row.append(draw(NUMBERS))
        cut = row[: draw(st.sampled_from([len(row), len(row), len(row), 12]))]
        rows.append([*cut, *draw(st.sampled_from([[], [], [], ["", " "], ["x"], ["", "x"], ["", "", "", "x"]]))])
    return rows


@hypothesis_settings(max_examples=25, deadline=None)
@given(data=st.data())
def test_any_rows_go_in_the_same_both_ways(data: st.DataObject, tmp_path_factory: pytest.TempPathFactory) -> None:
    folder = tmp_path_factory.mktemp("rows")
    paths = [path for path in write(folder, **FILES) if path.stem != "jobs"]
    jobs = folder / "jobs.csv"
    with jobs.open("w", newline="", encoding="utf-8") as stream:
        without = data.draw(st.sampled_from([(), (), ("",), ("", " ", "")]))
        csv.writer(stream).writerows([[*HEADS, *without], *data.draw(job_rows())])
    with pytest.MonkeyPatch.context() as patch:
        _both_by_hand(patch, folder, [*paths, jobs])


def _lines(number: int, *, notes: str = "", tail: str = "", day: str = "", offset: str = "0.1") -> str:
    when = day or f"2024-05-{number:02d} 10:00"
    return f"J{number},P-1,{when},planned,Ana Wick,D-1,laser,{offset},0.1,0.1,0.1,0.01,0.1,0.1,0.1,,,,,,{notes}{tail}\n"


SAID = {
    "more cells": (_lines(3, notes="loose", tail=", shim replaced"), Code.MORE_CELLS),
    "an error value in the notes": (_lines(3, notes="#N/A"), Code.NO_VALUE),
    "an error value for a number": (_lines(3, offset="#DIV/0!"), Code.NO_VALUE),
    "a time that was skipped": (_lines(1, day="2024-03-31 01:30"), Code.ODD_TIME),
    "a time that was there twice": (_lines(1, day="2024-10-27 01:30"), Code.ODD_TIME),
    "a year of two digits": (_lines(3, day="04.03.87"), Code.SHORT_YEAR),
    "a number that is not finite": (_lines(3, offset="1e999"), Code.NOT_A_NUMBER),
}


@pytest.mark.parametrize("name", SAID)
@pytest.mark.parametrize("quoted", [False, True])
def test_what_is_said_of_a_row_is_said_both_ways(name: str, quoted: bool, both: Ways, tmp_path: Path) -> None:
    line, code = SAID[name]
    paths = [path for path in write(tmp_path, **FILES) if path.stem != "jobs"]
    jobs = tmp_path / "jobs.csv"
    before = [_lines(number, notes='"a, b"' if quoted else "") for number in range(4, 14)]
    after = [_lines(number) for number in range(14, 24)]
    jobs.write_text(",".join(HEADS) + "\n" + "".join([*before, line, *after]), encoding="utf-8")
    report, _ = both(*paths, jobs, accept_good=True)
    assert [(problem.row, problem.code) for problem in report.problems] == [(12, code)]


@pytest.mark.parametrize("tail", [",", ",,"])
@pytest.mark.parametrize("quoted", [False, True])
def test_a_column_without_a_heading_is_told_once_both_ways(tail: str, quoted: bool, both: Ways, tmp_path: Path) -> None:
    paths = [path for path in write(tmp_path, **FILES) if path.stem != "jobs"]
    jobs = tmp_path / "jobs.csv"
    tails = {8: f"{tail[:-1]},see sheet", 12: f"{tail[:-1]},again"}
    lines = [_lines(n, notes='"a, b"' if quoted else "", tail=tails.get(n, tail)) for n in range(1, 24)]
    jobs.write_text(",".join(HEADS) + tail + "\n" + "".join(lines), encoding="utf-8")
    report, _ = both(*paths, jobs)
    assert report.written
    assert [(problem.row, problem.code, problem.found) for problem in report.problems] == [
        (9, Code.NO_HEADING, "see sheet")
    ]


def _both_by_hand(patch: pytest.MonkeyPatch, folder: Path, paths: list[Path]) -> None:
    """Hold the two ways together without a book for each: what they write is taken from one transaction that is undone."""
    settings = Settings(book=str(folder / "book.db"))
    site, engine = _site(settings), make_engine(settings)
    sources = sources_of(site, *paths)
    seen = []
    for way in WAYS:
        take_way(patch, way)
        patch.setattr(work, "BATCH", 3)
        patch.setattr(work, "CHUNK", 5)
        rows: list[Any] = []

        def take(self: Any, mapped: Any, values: Any, into: list[Any] = rows) -> None:
            del self
            into.append((mapped.__tablename__, values))

        def take_block(
            self: Any, kind: Any, batch: Any, lines: Any, mapped: Any, columns: Any, into: list[Any] = rows
        ) -> None:
            del self, kind, batch
            count = len(lines.values)
            into.extend((mapped.__tablename__, row) for row in zip(*(c.stored(count) for c in columns), strict=False))

        patch.setattr(Unit, "add", take)
        patch.setattr(Unit, "add_block", take_block)
        patch.setattr(Unit, "flush", lambda _self: None)
        patch.setattr(Unit, "finish", lambda _self: None)
        report = import_files(engine, site, sources, by="tester", now=NOW, accept_good=True)
        rows.sort(key=lambda brought: (brought[1][0], brought[0]))  # by entry: columns are handed over by the chunk
        seen.append((rows, _told(report)))
        patch.undo()
    engine.dispose()
    for other in seen[1:]:
        assert other == seen[0]
        assert [[type(v) for v in row] for _, row in other[0]] == [[type(v) for v in row] for _, row in seen[0][0]]


def test_the_digest_put_together_by_hand_is_the_digest() -> None:
    for number in range(50):
        job = job_of(number % 3, number)
        us = to_microseconds(job.performed_at)
        content = job_content_text(
            job.ref, job.tag, us, job.reason, job.people, job.instrument, job.method, job.work_order,
            (job.found and job.found.as_tuple(), job.left and job.left.as_tuple(), job.target.as_tuple()), ["[]"] * 4,
            [None, None, None, None], job.checks, job.notes, job.reviewer,
        )  # fmt: skip
        assert content == job_content(job, us)
