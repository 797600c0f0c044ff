"""A large file goes in as columns and leaves the same bytes and the same words as row by row, on both engines."""

from __future__ import annotations

import csv
import itertools
import random
import shutil
import struct
import zoneinfo
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
import sqlalchemy as sa

import models.commands.import_sheets as work
import models.store.unit as unit_of
from models.commands.lexicon import Moments
from models.commands.report import Report, SameVisit
from models.intake.problems import Code
from models.settings import Settings
from models.store.engine import make_engine
from models.store.unit import writing
from models.store.verify import verify_book
from models.store.verify_schema import guard_findings
from models.tables.base import to_microseconds
from models.tables.jobs import JobRow
from models.values.kinds import Kind
from models.values.story import Site
from tests.conftest import NOW, make_site
from tests.seeded import FILES, bring_in, contents, write
from tests.test_commands_plain_jobs import HEADS, _told, _without_names, take_way

ASSETS = """tag,description,coupling,spacer span [mm],running speed [rpm],valid from
P-1,invented,short flexible,,1485,
P-1,invented and rebuilt,spacer,220,2970,2021-06-01
P-2,invented,spacer,180,2970,
P-3,without a speed,short flexible,,,
Ü-4,invented °,short flexible,,985,
M-5,invented and geared,short flexible,,2970,2022-05-01
M-5,invented,spacer,180,985,2017-02-01
M-5,invented and new,short flexible,,1485,2024-01-01
"""
INSTRUMENTS = "serial,description,calibrated,calibration due\nD-1,dial set,2024-01-01,2027-01-01\n"
TAGS = ("P-1", "P-2", "P-3", "Ü-4", " P-2", "M-5")


def some_jobs(seed: int, count: int, *, faults: bool) -> list[list[str]]:
    """Make rows of all kinds, most of them plain: invented and seeded, in no order of time."""
    lot = random.Random(seed)
    rows = []
    for number in range(count):
        when = datetime(2015, 1, 1) + timedelta(minutes=lot.randrange(11 * 365 * 24 * 60))  # noqa: DTZ001 - a cell holds no zone
        said = {
            "job": f"J{number}",
            "tag": lot.choice(TAGS),
            "performed at": f"{when:%Y-%m-%d %H:%M}",
            "reason": "planned",
        }
        said |= {
            "people": lot.choice(["Ana Wick", "Zoë Tarn; Ana Wick", "Bo / Cy", ""]),
            "instrument": lot.choice(["D-1", "D-2", "D 3", ""]),
        }
        said |= {
            "method": lot.choice(["laser", "", "rim and face"]),
            "notes": lot.choice(["", "", f"n {number}", "ünï", "back\\slash"]),
        }
        for head in HEADS[7:19]:
            said[head] = f"{lot.gauss(0, 0.05):.3f}"
        for head in HEADS[16:18]:
            said[head] = lot.choice(["", "0.02", "0.1"])
        said["hours run"] = lot.choice(["", "1200", "0"])
        _vary(said, lot, number)
        if faults:
            _spoil(said, lot, number)
        rows.append([said.get(head, "") for head in HEADS])
    return rows


def _vary(said: dict[str, str], lot: random.Random, number: int) -> None:
    """Make some rows of rarer kinds, all of them right."""
    kind = lot.randrange(12)
    if kind == 0:
        said["reason"] = "installation"
        said |= dict.fromkeys(HEADS[7:11], "")
    elif kind == 1:  # nothing moved, nothing left: what was found stays
        said |= dict.fromkeys(HEADS[11:15], "") | {HEADS[18]: lot.choice(["", "0"])}
    elif kind == 2:
        said |= {HEADS[7]: "2 mil", HEADS[8]: "−0.3", HEADS[9]: "1e-2", HEADS[10]: "0,25"}
    elif kind == 3:
        said["performed at"] = lot.choice(
            [f"0{1 + number % 9}.03.2020 14:30", "2024-03-31 01:30", "2024-10-27 01:30", "2020-05-06"]
        )
    elif kind == 4:
        said["reason"], said[HEADS[16]] = "condition", lot.choice(["0.3", "-0.02"])
    elif kind == 5:
        said["notes"] = 'said "so",\nand more'


def _spoil(said: dict[str, str], lot: random.Random, number: int) -> None:
    """Make one row in eight wrong, or such that something has to be said of it."""
    kind = lot.randrange(80)
    if kind == 0:
        said["job"] = f"J{lot.randrange(number + 1)}"
    elif kind == 1:
        said[HEADS[7]] = lot.choice(["abc", "99", "0.O5", "1,234"])
    elif kind == 2:
        said["tag"] = lot.choice(["", "P-9"])
    elif kind == 3:
        said["performed at"] = lot.choice(["", "2031-01-01 10:00", "2024-02-30 10:00", "1949-01-01 10:00", "soon"])
    elif kind == 4:
        said[HEADS[8]] = ""
    elif kind == 5:
        said["instrument"] = f"X-{number % 4}"
    elif kind == 6:
        said |= dict.fromkeys(HEADS, "")
    elif kind == 7:
        said |= dict.fromkeys(HEADS, "") | {"job": "Total", HEADS[7]: "3.5"}
    elif kind == 8:
        said["performed at"], said["tag"] = "2020-02-02 10:00", "P-1"
    elif kind == 9:
        said["hours run"] = "-5"


def files_of(folder: Path, rows: list[list[str]], *, tail: str = "") -> list[Path]:
    paths = write(folder, assets=ASSETS, instruments=INSTRUMENTS)
    jobs = folder / "jobs.csv"
    with jobs.open("w", newline="", encoding="utf-8") as stream:
        csv.writer(stream).writerows([HEADS, *rows])
        stream.write(tail)
    return [*paths, jobs]


Bring = Callable[..., tuple[Report, dict[str, Any]]]


@pytest.fixture
def bring(sqlite_template: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Bring:
    """Import files into a book of its own, one list after the other, and give what was said of the last and the book."""
    made = itertools.count()

    def run(
        way: str, *files: list[Path], chunk: int = 50, accept_good: bool = False, same_visit: SameVisit = SameVisit.TAKE
    ) -> tuple[Report, dict[str, Any]]:
        take_way(monkeypatch, way)
        monkeypatch.setattr(work, "CHUNK", chunk)
        monkeypatch.setattr(unit_of, "MANY", 0)  # guards and indexes are put aside in each of them
        settings = Settings(book=str(tmp_path / f"{next(made)}.db"), key=tmp_path / "key")
        shutil.copy(sqlite_template, settings.book)
        site, engine = make_site(settings), make_engine(settings)
        for paths in files:
            report = bring_in(engine, site, *paths, accept_good=accept_good, same_visit=same_visit)
        found = _without_names(contents(engine))
        with engine.connect() as connection:
            assert not list(guard_findings(connection))
            found["schema"] = sorted(
                connection.exec_driver_sql("SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL").all()
            )
            if report.written:
                assert verify_book(connection).faults() == 0
        engine.dispose()
        return report, found

    return run


def same(bring: Bring, *files: list[Path], accept_good: bool = False, same_visit: SameVisit = SameVisit.TAKE) -> Report:
    report, book = bring("long", *files, accept_good=accept_good, same_visit=same_visit)
    for chunk in (7, 50, 1_000):
        other, another = bring("columns", *files, chunk=chunk, accept_good=accept_good, same_visit=same_visit)
        assert _told(other) == _told(report)
        for table, rows in book.items():
            assert another[table] == rows, table
    return report


def test_clean_rows_of_all_kinds(bring: Bring, tmp_path: Path) -> None:
    report = same(bring, files_of(tmp_path, rows := some_jobs(1, 300, faults=False)))
    assert report.written
    assert sum(row[1] == "M-5" and row[2] < "2017-02-01" for row in rows) > 3, "some are from before the first start"
    assert report.sheets[-1].taken == 300


@pytest.mark.parametrize("accept_good", [True, False])
def test_rows_with_faults(accept_good: bool, bring: Bring, tmp_path: Path) -> None:
    report = same(bring, files_of(tmp_path, some_jobs(2, 500, faults=True)), accept_good=accept_good)
    assert report.written is accept_good
    told = {problem.code for problem in report.problems}
    assert {
        Code.KEY_CONFLICT, Code.NOT_A_NUMBER, Code.UNKNOWN_ASSET, Code.BAD_DATE, Code.FUTURE_DATE, Code.INCOMPLETE,
        Code.UNKNOWN_INSTRUMENT, Code.LOOKS_LIKE_TOTAL, Code.SAME_MOMENT, Code.IMPOSSIBLE_VALUE, Code.ODD_VALUE,
        Code.NOT_JUDGED,
    } <= told  # fmt: skip


def test_into_a_book_that_holds_some_of_the_jobs(bring: Bring, tmp_path: Path) -> None:
    rows = some_jobs(3, 300, faults=False)
    (tmp_path / "first").mkdir()
    first = files_of(tmp_path / "first", rows[:120])
    changed = [list(row) for row in rows]
    for number in (5, 50, 51, 119):
        changed[number][HEADS.index("notes")] = "said otherwise"
    report = same(bring, first, files_of(tmp_path, changed), accept_good=True)
    assert (report.sheets[-1].unchanged, report.sheets[-1].taken, len(report.sheets[-1].refused)) == (116, 180, 4)


@pytest.mark.parametrize("way", SameVisit)
def test_visits_that_the_book_holds_under_other_numbers(way: SameVisit, bring: Bring, tmp_path: Path) -> None:
    rows = some_jobs(3, 200, faults=False)
    (tmp_path / "first").mkdir()
    again = [[f"N{number}", *row[1:]] for number, row in enumerate(rows)]
    for row in again[:60]:  # on the list of the crew they have no hour
        row[HEADS.index("performed at")] = row[HEADS.index("performed at")][:10]
    for row in again[60:80]:
        row[HEADS.index("found offset V [mm]")] = row[HEADS.index("found offset V [mm]")] and "0.777"
    report = same(bring, files_of(tmp_path / "first", rows), files_of(tmp_path, again), same_visit=way)
    told = {
        problem.row: problem.code for problem in report.problems if problem.code in {Code.SAME_VISIT, Code.SAME_MOMENT}
    }
    assert list(told.values()).count(Code.SAME_VISIT) == report.doubled >= 180 - 5
    assert Code.SAME_MOMENT in told.values(), "other readings at the same moment"
    assert report.written is (way is not SameVisit.ASK)
    assert report.taken == 200 - (report.doubled if way is SameVisit.LEAVE else 0)


@pytest.mark.parametrize("way", SameVisit)
def test_visits_that_one_file_names_under_two_numbers(way: SameVisit, bring: Bring, tmp_path: Path) -> None:
    rows = some_jobs(8, 90, faults=False)
    at, offset = HEADS.index("performed at"), HEADS.index("found offset V [mm]")
    again = [[f"N{number}", *row[1:]] for number, row in enumerate(rows)]
    for row in again[:30]:
        row[at] = row[at][:10]
    for row in again[30:60]:  # off by more than any rounding
        row[offset] = row[offset] and "1.777"
    report = same(bring, files_of(tmp_path, [*rows, *again]), same_visit=way)
    told = [problem for problem in report.problems if problem.code is Code.SAME_VISIT]
    assert all("row " in problem.text and "same readings of this machine" in problem.text for problem in told)
    cells = {number: row[at] for number, row in enumerate([*rows, *again], 2)}
    assert all(problem.found == cells[problem.row] and f"({problem.found[:10]})" in problem.text for problem in told), (
        "the cell, and the day"
    )
    assert 60 <= len(told) == report.doubled <= 75, "those without an as-found too"
    assert report.written is (way is not SameVisit.ASK)
    assert report.sheets[-1].taken == 180 - (report.doubled if way is SameVisit.LEAVE else 0)


def test_a_file_that_repeats_itself_and_breaks_off(bring: Bring, tmp_path: Path) -> None:
    rows = some_jobs(4, 60, faults=False)
    report = same(bring, files_of(tmp_path, rows + rows, tail="J900,P-1,2024-0"), accept_good=True)
    assert report.sheets[-1].taken == 60
    assert (len(report.sheets[-1].refused), report.sheets[-1].left_out) == (1, 60)


def test_the_first_row_of_an_unknown_instrument_says_so_even_if_a_total_names_it_before(
    bring: Bring, tmp_path: Path
) -> None:
    rows = some_jobs(5, 20, faults=False)
    serial = HEADS.index("instrument")
    for row in rows:
        row[serial] = "N-1"
    rows[3] = ["Total", "P-1", "", "", "", "N-1", *[""] * (len(HEADS) - 6)]
    rows.insert(0, ["Total", "P-1", "", "", "", "N-1", *[""] * (len(HEADS) - 6)])
    report = same(bring, files_of(tmp_path, rows), accept_good=True)
    assert [p.row for p in report.problems if p.code is Code.UNKNOWN_INSTRUMENT] == [3]


def test_postgresql_gets_the_same_rows(
    settings: Settings, site: Site, engine: sa.Engine, bring: Bring, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    files = files_of(tmp_path, some_jobs(6, 300, faults=True))
    report, book = bring("long", files, accept_good=True)
    del settings
    take_way(monkeypatch, "columns")
    other = bring_in(engine, site, *files, accept_good=True)
    assert _told(other) == _told(report)
    found = _without_names(contents(engine))
    for table in found:
        assert found[table] == book[table], table
    with engine.connect() as connection:
        assert verify_book(connection).faults() == 0


def test_a_key_that_only_the_index_sees_is_refused_at_the_end(
    sqlite_book: Settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Were the look for what stands twice ever wrong, the index that is made last would still refuse it, and nothing is written."""
    monkeypatch.setattr(unit_of, "MANY", 0)
    site, engine = make_site(sqlite_book), make_engine(sqlite_book)
    bring_in(engine, site, *write(tmp_path, **FILES))
    before = contents(engine)
    with engine.connect() as connection:
        row = tuple(connection.exec_driver_sql("SELECT * FROM job ORDER BY entry LIMIT 1").one())

    def twice() -> None:
        with writing(engine, site.site_id, "tester", NOW) as unit:
            unit.expect(1_000)
            for _ in range(2):
                entry = unit.append(Kind.JOB_RECORDED)
                unit.add(JobRow, (entry, row[1], entry, *row[3:6], "twice", *row[7:]))
            unit.flush()

    with pytest.raises(sa.exc.IntegrityError):
        twice()
    assert contents(engine) == before
    with engine.connect() as connection:
        assert not list(guard_findings(connection))
    engine.dispose()


def test_guards_stay_while_few_rows_are_expected(sqlite_book: Settings) -> None:
    site, engine = make_site(sqlite_book), make_engine(sqlite_book)

    def there(connection: sa.Connection) -> int:
        asked = "SELECT count(*) FROM sqlite_master WHERE type IN ('trigger', 'index')"
        return int(connection.exec_driver_sql(asked).scalar_one())

    seen = {}
    for expected in (100, 10_000):
        with writing(engine, site.site_id, "tester", NOW) as unit:
            unit.expect(expected)
            unit.append(Kind.FILE_IMPORTED, late=True)
            unit.flush()
            seen[expected] = there(unit.connection)
        with engine.connect() as connection:
            seen[0] = there(connection)
        if expected == 100:
            assert seen[100] == seen[0]
    assert seen[10_000] < seen[0]
    engine.dispose()


def test_the_indexes_stay_by_which_an_import_asks_what_the_book_holds(sqlite_book: Settings, tmp_path: Path) -> None:
    site, engine = make_site(sqlite_book), make_engine(sqlite_book)
    bring_in(engine, site, *write(tmp_path, **FILES))
    with writing(engine, site.site_id, "tester", NOW) as unit:
        unit.expect(1_000_000)
        unit.append(Kind.FILE_IMPORTED, late=True)
        unit.flush()
        asked = "SELECT name FROM sqlite_master WHERE type = 'index' AND tbl_name = 'job' AND sql IS NOT NULL"
        held = unit.connection.exec_driver_sql(asked).scalars().all()
        assert set(held) == {"uq_job_site_id_ref", "ix_job_asset_id_performed_us", "uq_job_supersedes"}
    engine.dispose()


def test_a_text_that_is_too_long_for_postgresql_is_told_as_ever(
    settings: Settings, site: Site, engine: sa.Engine, tmp_path: Path
) -> None:
    """Where the engine refuses a value, the error is the one that any insert raises, and nothing is written."""
    del settings
    if engine.dialect.name == "sqlite":
        pytest.skip("SQLite takes texts of any length")
    rows = some_jobs(7, 60, faults=False)
    rows[40][0] = "J" * 200
    before = contents(engine)
    with pytest.raises(sa.exc.DataError):
        bring_in(engine, site, *files_of(tmp_path, rows))
    assert contents(engine) == before


class _Lane:
    """What a lane knows of moments, and nothing else."""

    def __init__(self, zone: str) -> None:
        self.zone, self.now = ZoneInfo(zone), NOW
        self.today = NOW.astimezone(self.zone).date()
        self.asked = 0

    def moment(self, cell: str) -> datetime:
        self.asked += 1
        return datetime.fromisoformat(cell).replace(tzinfo=self.zone).astimezone(UTC)


@pytest.mark.parametrize(
    "zone", ["UTC", "Europe/Lisbon", "America/St_Johns", "Australia/Lord_Howe", "Asia/Kathmandu", "America/Sao_Paulo"]
)
def test_moments_at_once_are_the_moments_one_by_one(zone: str) -> None:
    """The other way is the standard library's own: zone database and arithmetic of ``datetime``."""
    lot, lane = random.Random(20261125), _Lane(zone)
    start = datetime(1951, 1, 1)  # noqa: DTZ001 - a cell holds no zone
    cells = [f"{start + timedelta(minutes=lot.randrange(75 * 365 * 24 * 60)):%Y-%m-%d %H:%M}" for _ in range(4_000)]
    us, days, plain = Moments(lane).read(cells)  # type: ignore[arg-type]
    assert plain.all()
    assert lane.asked < 200, "nearly all of them are found at once"
    for cell, found, day in zip(cells, us.tolist(), days.tolist(), strict=True):
        moment = datetime.fromisoformat(cell).replace(tzinfo=lane.zone).astimezone(UTC)
        assert found == to_microseconds(moment)
        assert day == (moment.astimezone(lane.zone).date() - datetime(1970, 1, 1, tzinfo=UTC).date()).days


def test_no_zone_changes_its_clock_twice_within_a_day() -> None:
    """The zone database itself (TZif, RFC 9636): from 1950 on, no two changes of an offset lie within a day."""
    shortest = []
    for name, base in itertools.product(sorted(zoneinfo.available_timezones()), zoneinfo.TZPATH):
        path = Path(base) / name
        if path.is_file() and (data := path.read_bytes())[:4] == b"TZif" and data[4:5] >= b"2":
            changes = [moment for moment in _changes(data) if moment > -631_200_000]
            shortest += np.diff(changes).tolist()
    if not shortest:
        pytest.skip("this machine has no zone database of its own")
    assert min(shortest) > 2 * 86_400


def _changes(data: bytes) -> list[int]:
    """Give the moments at which the offset changes, of the 64-bit part of a TZif file [s since 1970]."""
    counts = struct.unpack(">6l", data[20:44])
    start = 44 + counts[3] * 5 + counts[4] * 6 + counts[5] + counts[2] * 8 + counts[1] + counts[0]
    isut, isstd, leap, times, types, letters = struct.unpack(">6l", data[start + 20 : start + 44])
    del isut, isstd, leap, letters
    at = start + 44
    moments = struct.unpack(f">{times}q", data[at : at + 8 * times])
    kinds = data[at + 8 * times : at + 9 * times]
    offsets = [struct.unpack(">l", data[at + 9 * times + 6 * n : at + 9 * times + 6 * n + 4])[0] for n in range(types)]
    found, last = [], None
    for moment, kind in zip(moments, kinds, strict=True):
        if offsets[kind] != last:
            found.append(moment)
        last = offsets[kind]
    return found
