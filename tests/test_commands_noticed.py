"""What an import notices of rows that it takes: said in one line for many rows, the same whichever way they were read."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
import sqlalchemy as sa
from hypothesis import given
from hypothesis import strategies as st

import models.commands.import_sheets as work
from dashboard.console.importing import show_report
from models.commands.amend_job import amend_job, void_job
from models.commands.doubtful_moves import Feet, many_may_be_meant, may_be_meant, told_of
from models.commands.noticed import FEW, Tally
from models.commands.report import Report
from models.intake.problems import Code, Problem, Severity
from models.settings import Settings
from models.store.engine import make_engine
from models.store.reader import Reader
from models.units import Display
from models.values.asset import Asset
from models.values.job import FeetValues, Job, Misalignment
from models.values.kinds import Reason
from models.values.limits import LimitsGiven
from models.values.story import JobLine, Site
from tests.conftest import NOW, make_site
from tests.seeded import ASSETS, FILES, bring_in, write
from tests.test_commands_plain_jobs import WAYS, _told, take_way

HEAD = (
    "job,tag,performed at,reason,people,instrument,found offset V [mm],found angle V [mm/m],found offset H [mm],found angle H [mm/m],"
    "left offset V [mm],left angle V [mm/m],left offset H [mm],left angle H [mm/m],shim 1L [mm],shim 1R [mm],shim 2L [mm],shim 2R [mm]\n"
)
WENT = "0.3,0.5,0,0,0.01,0,0,0"
"""From as-found to as-left the rows of feet of P-1 went down by 0.39 and 0.59 mm."""


@dataclass
class Book:
    engine: sa.Engine
    site: Site
    folder: Path
    patch: pytest.MonkeyPatch

    def look(self, *rows: str, name: str = "more", **files: str) -> Report:
        """Look at jobs in every way, without writing, and give what is said in each of them."""
        paths = write(self.folder, **files, **{name: HEAD + "".join(f"{row}\n" for row in rows)})
        reports = []
        for way, chunk in (*((way, 2) for way in WAYS), ("columns", 50)):
            take_way(self.patch, way)
            self.patch.setattr(work, "CHUNK", chunk)
            self.patch.setattr(work, "BATCH", chunk)
            reports.append(bring_in(self.engine, self.site, *paths, dry_run=True))
        assert all(_told(report) == _told(reports[0]) for report in reports)
        return reports[0]

    def lines(self, tag: str) -> tuple[JobLine, ...]:
        story = Reader(self.engine).story(self.site.site_id, tag)
        assert story is not None
        return story.jobs


@pytest.fixture
def book(sqlite_book: Settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Book]:
    made = Book(make_engine(sqlite_book), make_site(sqlite_book), tmp_path, monkeypatch)
    assert bring_in(made.engine, made.site, *write(tmp_path, **FILES)).written
    yield made
    made.engine.dispose()


def job(
    number: int, *, tag: str = "P-1", reason: str = "planned", people: str = "Ana Wick", instrument: str = "D-1",
    measured: str = "0.05,0.1,0,0,0.01,0,0,0", shims: str = ",,,",
) -> str:  # fmt: skip
    return f'K{number},{tag},2025-06-{number:02d} 09:00,{reason},"{people}",{instrument},{measured},{shims}'


def said(report: Report, code: Code) -> list[Problem]:
    return [problem for problem in report.problems if problem.code is code]


def test_rows_that_are_taken_as_left_as_found_are_counted_in_one_note(
    book: Book, capsys: pytest.CaptureFixture[str]
) -> None:
    as_found = "0.05,0.1,0,0,,,,"
    rows = [job(n, measured=as_found, shims="0,,," if n % 2 else ",,,") for n in range(1, 9)]
    others = [
        job(10),
        job(11, reason="condition", measured=as_found),  # unknown what was left: a warning of its own
        job(12, measured=as_found, shims="0.1,0.1,,"),  # moved
        job(13, reason="installation", measured=",,,,0.01,0,0,0"),
        job(14, measured="0.05,oops,0,0,,,,"),  # refused
    ]
    report = book.look(*rows, *others)
    [note] = said(report, Code.LEFT_AS_FOUND)
    assert (note.severity, note.row, note.place) == (Severity.NOTE, 0, "more.csv")
    assert note.text.startswith("8 planned jobs give an as-found, no as-left and no move: they count as left as found")
    assert "(rows 2, 3, 4, 5, 6 and 3 more)" in note.text
    assert report.notes == [note]
    show_report(report, dry_run=True)
    assert "  note: more.csv: 8 planned jobs give" in capsys.readouterr().out
    assert [p.row for p in said(report, Code.FOUND_WITHOUT_LEFT)] == [11, 12]
    one = book.look(rows[3])
    assert "1 planned job gives" in said(one, Code.LEFT_AS_FOUND)[0].text
    assert "(row 2)" in said(one, Code.LEFT_AS_FOUND)[0].text
    assert not said(book.look(job(1)), Code.LEFT_AS_FOUND)


def test_what_the_book_holds_already_is_not_counted_again(book: Book) -> None:
    path = write(book.folder, again=HEAD + job(1, measured="0.05,0.1,0,0,,,,") + "\n")[0]
    first = bring_in(book.engine, book.site, path)
    assert len(said(first, Code.LEFT_AS_FOUND)) == 1
    assert first.written
    assert not said(bring_in(book.engine, book.site, path), Code.LEFT_AS_FOUND)


def test_instruments_and_people_spelled_otherwise_are_told_once_with_their_rows(book: Book) -> None:
    rows = [job(n, instrument="d-1" if n > 1 else "D-1", people="ana  wick; Bo Tarn") for n in range(1, 8)]
    report = book.look(*rows, job(9, instrument="X-5", people="Cy Dorn"), job(10, instrument="x-5", people="cy dorn"))
    told = [(p.found, p.row, p.severity) for p in said(report, Code.NAME_LOOKS_ALIKE)]
    assert told == [
        ("ana wick", 2, Severity.WARNING), ("d-1", 3, Severity.WARNING), ("cy dorn", 10, Severity.WARNING), ("x-5", 10, Severity.WARNING),
    ]  # fmt: skip
    texts = [p.text for p in said(report, Code.NAME_LOOKS_ALIKE)]
    assert "'Ana Wick' is known and differs only by capitals" in texts[0]
    assert "(rows 2, 3, 4, 5, 6 and 2 more)" in texts[0]
    assert "'D-1' is known" in texts[1]
    assert "write D-1 (rows 3, 4, 5, 6, 7 and 1 more)" in texts[1]
    assert "'X-5' is known" in texts[3], "the first of two new ones that look alike is none"


def test_who_may_be_several_people_is_told_though_they_come_later(book: Book) -> None:
    report = book.look(
        job(1, people="Cy Dorn, bo tarn"), job(2, people="Cy Dorn, bo tarn; Ana Wick"), job(3, people="Cy Dorn"), job(4, people="Wick, Ana")
    )  # fmt: skip
    [told] = said(report, Code.SEVERAL_PEOPLE)
    assert (told.found, told.row) == ("Cy Dorn, bo tarn", 2)
    assert "'Cy Dorn' and 'Bo Tarn' are known" in told.text
    assert "write: Cy Dorn; Bo Tarn (rows 2, 3)" in told.text


def test_a_sheet_of_instruments_or_people_says_so_at_its_row(book: Book) -> None:
    paths = write(book.folder, i="serial,description\nD 1,dial set\nE-2,laser\n", p="name,qualification\nANA WICK,\n")
    report = bring_in(book.engine, book.site, *paths, dry_run=True)
    assert [(p.file, p.row, p.found) for p in said(report, Code.NAME_LOOKS_ALIKE)] == [
        ("i.csv", 2, "D 1"), ("p.csv", 2, "ANA WICK"),
    ]  # fmt: skip


def test_moves_against_what_was_measured_are_told_in_one_line(book: Book) -> None:
    right, turned = "-0.4,-0.4,-0.6,-0.6", "0.4,0.4,0.6,0.6"
    rows = [job(n, measured=WENT, shims=turned if n > 1 else right) for n in range(1, 6)]
    still = [job(n, measured="0.3,0.5,0,0,0.3,0.5,0,0", shims=turned) for n in (11, 12)]
    far = job(20, measured=WENT, shims="-6,-6,-0.6,-0.6")
    elsewhere = [job(n, measured=WENT, shims="-0.6,-0.6,-0.4,-0.4") for n in (21, 22)]
    report = book.look(*rows, *still, far, *elsewhere)
    [against, other] = said(report, Code.MOVED_AGAINST)
    assert (other.row, "rows 1 and 2 exchanged both agree" in other.text) == (10, True)
    assert other.text.endswith("The same has to be asked of row 11.")
    assert (against.row, against.column) == (3, "Q (shim 2L [mm])")
    assert "By the shims, row 2 of the movable machine went +0.600 mm (+ is up)" in against.text
    assert against.text.endswith("The same has to be asked of rows 4, 5, 6.")
    [nothing] = said(report, Code.MOVED_NOTHING)
    assert (nothing.row, nothing.column) == (7, "O (shim 1L [mm])")
    assert nothing.text.endswith("The same has to be asked of row 8.")
    assert [(p.row, p.severity) for p in said(report, Code.ODD_VALUE)] == [(9, Severity.WARNING)] * 2, "above 5 mm"
    assert not report.refused


MOVE = st.one_of(st.none(), st.sampled_from([0.0, 0.1, -0.4, 0.6, 2.0]))
NUMBER = st.sampled_from([0.0, 0.05, -0.05, 0.4, -0.6, 1.0])


@given(
    found=st.tuples(*[NUMBER] * 4),
    left=st.tuples(*[NUMBER] * 4),
    moves=st.tuples(st.lists(MOVE, max_size=7), st.lists(MOVE, max_size=7)),
    x=st.sampled_from([(), (200.0,), (200.0, 600.0), (150.0, 500.0, 900.0)]),
)
def test_what_is_never_looked_at_would_not_be_told(
    found: tuple[float, float, float, float], left: tuple[float, float, float, float], moves: tuple[Feet, Feet], x: tuple[float, ...]
) -> None:  # fmt: skip
    """The look by numbers alone passes over nothing that the form would ask, one row or many at once."""
    for feet in moves:
        while feet and feet[-1] is None:
            feet.pop()  # type: ignore[attr-defined]
    one = may_be_meant(found, left, moves, x)
    wide = tuple(np.array([[np.nan if m is None else m for m in feet]]).reshape(1, len(feet)) for feet in moves)
    many = many_may_be_meant(np.array([found]), np.array([left]), wide, [(), x], np.array([1]))  # type: ignore[arg-type]
    assert bool(many[0]) is one
    if not one:
        asset = Asset("P-1", feet_movable_mm=x)
        made = Job(
            "K", "P-1", NOW, "UTC", Reason.OTHER, found=Misalignment(*found), left=Misalignment(*left),
            moves_v=FeetValues(tuple(moves[0])), moves_h=FeetValues(tuple(moves[1])),
        )  # fmt: skip
        from models.maths.moved import check_moves
        from models.maths.plausible import Doubt

        asked = check_moves(made, asset, LimitsGiven(0.05, 0.5), Display())
        assert {check.doubt for check in asked} <= {Doubt.MOVE, Doubt.TWISTED}
        assert told_of(made, asset, LimitsGiven(0.05, 0.5), Display()) == []


def test_rows_are_named_in_order_and_counted() -> None:
    tally = Tally()
    tally.add(1, [9])
    tally.add(3, [4, 5, 6])
    assert (tally.count, tally.rows, tally.places) == (4, [4, 5, 6, 9], "rows 4, 5, 6, 9")
    tally.add(10, [1, 2, 3])
    assert len(tally.rows) == FEW
    assert tally.places == "rows 1, 2, 3, 4, 5 and 9 more"


FASTER = ASSETS.splitlines()[0] + ",valid from\nP-1,cooling water pump,short flexible,,2970,200,600,{}\n"


@pytest.mark.parametrize(
    ("day", "jobs"), [("2024-03-04", "2 jobs"), ("2025-03-04", "1 job"), ("2025-03-05", ""), ("2027-01-01", "")]
)
def test_jobs_that_keep_what_judged_them_before_a_description_are_told(book: Book, day: str, jobs: str) -> None:
    path = write(book.folder, faster=FASTER.format(day))[0]
    for dry_run in (True, False):
        report = bring_in(book.engine, book.site, path, dry_run=dry_run)
        told = said(report, Code.JUDGED_BEFORE)
        assert [(p.severity, p.place) for p in told] == ([(Severity.NOTE, "faster.csv")] if jobs else [])
        if jobs:
            assert told[0].text.startswith(f"{jobs} in the book, of 1 machine (P-1), fall")
            assert "amend it: a word in its notes is change enough" in told[0].text
    assert report.written
    assert {line.judged_as.speed_rpm for line in book.lines("P-1") if line.judged_as} == {1485}, "they keep it indeed"


def test_only_jobs_that_would_be_judged_otherwise_are_told(book: Book) -> None:
    """Void ones, those that were amended since, and another description of what no verdict rests on are none."""
    same = FASTER.replace("2970", "1485").replace("cooling water pump", "another name")
    assert not said(
        bring_in(book.engine, book.site, *write(book.folder, same=same.format("2024-02-01"))), Code.JUDGED_BEFORE
    )
    first, second = book.lines("P-1")
    later = NOW + timedelta(hours=1)
    void_job(book.engine, book.site, first.entry, by="tester", now=later, why="twice")
    path = write(book.folder, faster=FASTER.format("2024-03-01"))[0]
    report = bring_in(book.engine, book.site, path)
    assert [p.text.partition(",")[0] for p in said(report, Code.JUDGED_BEFORE)] == ["1 job in the book"]
    amend_job(
        book.engine, book.site, second.entry, replace(second.job, notes="judged at 2970 rpm"), by="tester", now=later,
        why="the speed was put right",
    )  # fmt: skip
    again = FASTER.replace("pump", "pump again").format("2024-03-02")
    assert not said(bring_in(book.engine, book.site, *write(book.folder, again=again)), Code.JUDGED_BEFORE)


def test_a_description_that_begins_first_of_all_speaks_for_the_days_before_it_too(book: Book) -> None:
    """A job of June 2025 was judged by what begins in 2026; what is now known to begin in September 2025 is nearer to it."""
    machines = FASTER.replace("P-1", "N-1")
    first = write(book.folder, machines=machines.format("2026-01-01"), jobs=HEAD + job(1).replace("P-1", "N-1") + "\n")
    assert bring_in(book.engine, book.site, *first).written
    assert f"{book.lines('N-1')[0].job.performed_at:%Y-%m-%d}" < "2025-09-01"
    earlier = machines.replace("2970", "985").format("2025-09-01")
    report = bring_in(book.engine, book.site, *write(book.folder, earlier=earlier))
    assert [p.text.partition(",")[0] for p in said(report, Code.JUDGED_BEFORE)] == ["1 job in the book"]
    assert {line.judged_as.speed_rpm for line in book.lines("N-1") if line.judged_as} == {2970}, "it keeps what it has"


def test_jobs_that_come_along_with_the_description_are_judged_by_it(book: Book) -> None:
    jobs = HEAD + job(1) + "\n"
    report = bring_in(book.engine, book.site, *write(book.folder, faster=FASTER.format("2025-06-01"), jobs=jobs))
    assert report.written
    assert not said(report, Code.JUDGED_BEFORE)


def test_both_engines_tell_which_jobs_keep_their_verdict(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    assert bring_in(engine, site, *write(tmp_path, **FILES)).written
    report = bring_in(engine, site, *write(tmp_path, faster=FASTER.format("2025-01-01")))
    assert [p.text.partition(",")[0] for p in said(report, Code.JUDGED_BEFORE)] == ["1 job in the book"]


def test_several_people_and_nobody_in_one_cell_are_told(book: Book) -> None:
    report = book.look(job(1, people="Ana Wick & Bo Tarn"), job(2, people="Di Rook + Ed Sand"), job(3, people="n/a"))
    (nobody,) = said(report, Code.NOBODY)
    assert (nobody.row, nobody.severity) == (4, Severity.WARNING)
    assert "names nobody" in nobody.text
    told = {problem.row: problem.text for problem in said(report, Code.SEVERAL_PEOPLE)}
    assert "known, and this is taken for one name" in told[2]
    assert "write: Ana Wick; Bo Tarn" in told[2]
    assert "write: Di Rook; Ed Sand" in told[3]
