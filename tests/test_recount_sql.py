"""The figures on the pages equal those of plain SQL over the book: counts of a month, offenders and what is due.

The SQL shares nothing with the program but the tables; it takes the verdicts that are stored with the jobs and
works months, returns and due days out by itself.  All of it is counted twice: of the demo, and of the demo after a
few new jobs that the pages followed without making anything else anew.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from dashboard.fetch import study_for
from dashboard.pictures import Pictures
from dashboard.prepared import index_for
from dashboard.views import due_view, month_view, offenders_view
from models.commands.amend_job import void_job
from models.commands.record_job import DoubtfulJobError, record_job
from models.history.columns import History
from models.history.runs import Runs, runs_of
from models.store.engine import make_engine
from models.store.reader import Reader
from models.units import Display
from models.values.job import Job, Misalignment
from models.values.kinds import Method, Reason
from models.values.story import Site
from tests.demo_book import demo_in

TODAY = date(2026, 11, 25)
TODAY_US = int(datetime(2026, 11, 25, 12, tzinfo=UTC).timestamp()) * 1_000_000
STANDS = "j.void = 0 AND NOT EXISTS (SELECT 1 FROM job n WHERE n.supersedes = j.entry)"


def followed(reader: Reader, site: Site) -> tuple[History, Runs]:
    """Record jobs one by one, each followed by what the pages show: over limit, in a past month, of four machines; one is void."""
    held = Pictures()
    shown = held.of(reader, site.site_id).history
    study, _ = study_for(shown), index_for(shown)
    stands = np.flatnonzero(
        (shown.jobs.left_ratio <= 1.0) & np.append(shown.jobs.asset[1:] != shown.jobs.asset[:-1], True)
    )
    rows = [row for row in stands.tolist() if not shown.assets.retired[shown.jobs.asset[row]]]
    for k, row in enumerate(rows[3:40:9]):
        tag, left = str(shown.assets.tag[shown.jobs.asset[row]]), shown.jobs.left[row]
        job = Job(
            ref=f"NEW-{k}", tag=tag, performed_at=datetime(2026, 10, 20 + k, 9, tzinfo=UTC), zone=site.zone,
            reason=Reason.PLANNED, people=(shown.people[0],), instrument=shown.instruments[0], method=Method.LASER,
            found=Misalignment(*(left + np.array([0.4, 0.0, 0.0, 0.0])).tolist()), left=Misalignment(0.3 * (k % 2), 0.0, 0.0, 0.0),
        )  # fmt: skip
        written = _recorded(reader, site, job)
        before, picture = shown, held.of(reader, site.site_id)
        shown = picture.history
        assert picture.study is not None
        assert picture.study.fleet is study.fleet, "it was followed"
        assert len(shown.jobs) == len(before.jobs) + 1
    void_job(reader.engine, site, written, by="tester", now=datetime.now(UTC), why="another machine")
    shown = held.of(reader, site.site_id).history
    assert len(shown.jobs) == len(before.jobs)
    return shown, study_for(shown).runs


def _recorded(reader: Reader, site: Site, job: Job) -> int:
    reasons: dict[str, str] = {}
    for _ in range(2):
        try:
            given = {"by": "tester", "now": datetime.now(UTC), "bolts_tight": True}
            return record_job(reader.engine, site, job, stated_reasons=reasons, **given).entry  # type: ignore[arg-type]
        except DoubtfulJobError as doubt:
            reasons = {check.doubt: "invented for a test" for check in doubt.checks}
    raise AssertionError(job.tag)


@pytest.fixture(scope="module", params=["the demo", "after new jobs"])
def demo(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[sqlite3.Connection, Reader, Site, History, Runs]]:
    settings = demo_in(Path(tmp_path_factory.mktemp("demo")), Display())
    reader = Reader(make_engine(settings))
    site = reader.sites()[0]
    if request.param == "the demo":
        history = reader.history(site.site_id)
        runs = runs_of(history.jobs, history.breaks)
    else:
        history, runs = followed(reader, site)
    connection = sqlite3.connect(settings.path)

    def day(at_us: int) -> str:
        return (
            (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=at_us))
            .astimezone(ZoneInfo(site.zone))
            .date()
            .isoformat()
        )

    connection.create_function("day", 1, day, deterministic=True)
    yield connection, reader, site, history, runs
    connection.close()


@pytest.mark.parametrize("month", ["2026-10", "2025-03", "2021-12"])
def test_counts_of_a_month(demo: tuple[sqlite3.Connection, Reader, Site, History, Runs], month: str) -> None:
    sql, reader, site, history, runs = demo
    view = month_view.build(
        history, runs, date.fromisoformat(f"{month}-01"), TODAY,
        site=site, instruments=reader.instruments(site.site_id), limit_set=reader.limit_set(site.site_id), today_us=TODAY_US,
    )  # fmt: skip
    bounds = [1000, 1500, 1800, 3000, 3600, 10**9]
    asked = f"""
        SELECT COUNT(*), SUM(found_ratio > 1), COUNT(found_ratio), SUM(left_ratio > 1), COUNT(left_ratio), COUNT(DISTINCT asset_id)
        FROM job j WHERE {STANDS} AND substr(day(performed_us), 1, 7) = ?
    """
    jobs, found, found_n, left, left_n, machines = sql.execute(asked, (month,)).fetchone()
    assert (view.jobs, view.machines) == (jobs, machines)
    assert (view.found.count, view.found.n, view.left.count, view.left.n) == (found, found_n, left, left_n)
    for line in view.classes:
        if line.index < 0:
            continue
        low, high = bounds[line.index - 1] if line.index else 0, bounds[line.index]
        row = sql.execute(asked + " AND speed_rpm > ? AND speed_rpm <= ?", (month, low, high)).fetchone()
        counts = (line.jobs, line.found.count, line.found.n, line.left.count, line.left.n)
        assert counts == tuple(value or 0 for value in row[:5]), line.name


def test_looks_and_returns_of_each_machine(demo: tuple[sqlite3.Connection, Reader, Site, History, Runs]) -> None:
    sql, reader, site, history, runs = demo
    view = offenders_view.build(
        history, runs, None, None, TODAY, site=site, limit_set=reader.limit_set(site.site_id), most=1000
    )
    rows = sql.execute(
        f"""
        WITH s AS (SELECT j.* FROM job j WHERE {STANDS}),
        p AS (
            SELECT asset_id, entry, reason, found_ratio, performed_us,
                   LAG(left_ratio) OVER w AS before, LAG(performed_us) OVER w AS since, LAG(entry) OVER w AS earlier
            FROM s WINDOW w AS (PARTITION BY asset_id ORDER BY performed_us, entry)
        ),
        looks AS (
            SELECT asset_id, found_ratio > 1 AS back,
              NOT EXISTS (SELECT 1 FROM machine_break b WHERE b.asset_id = p.asset_id AND b.on_day > day(p.since))
              AND NOT EXISTS (SELECT 1 FROM s WHERE s.asset_id = p.asset_id AND s.reason = 'installation' AND s.performed_us > p.since) AS now
            FROM p
            WHERE p.earlier IS NOT NULL AND p.since < p.performed_us AND p.before <= 1 AND p.found_ratio IS NOT NULL AND p.reason <> 'installation'
              AND NOT EXISTS (
                SELECT 1 FROM machine_break b
                WHERE b.asset_id = p.asset_id AND b.on_day > day(p.since) AND b.on_day <= day(p.performed_us))
        )
        SELECT a.tag, SUM(now), SUM(now AND back), SUM(NOT now), SUM(NOT now AND back) FROM looks JOIN asset a ON a.id = asset_id GROUP BY a.tag
        """
    ).fetchall()
    assert view.looks == sum(row[1] for row in rows)
    assert view.returns == sum(row[2] for row in rows)
    expected = {row[0]: row[1:3] for row in rows if row[2]}
    assert {line.tag: (line.looks, line.returns) for line in view.lines} == expected
    assert (view.earlier.looks, view.earlier.returns) == (sum(row[3] for row in rows), sum(row[4] for row in rows))
    assert view.earlier.looks > 5
    before = {line.tag: (line.before.looks, line.before.returns) for line in view.lines if line.before}
    assert before == {row[0]: row[3:5] for row in rows if row[2] and row[3]}
    assert {one.tag for one in view.earlier.gone} == {row[0] for row in rows if row[4] and not row[2]}
    assert len(expected) > 5


def test_what_is_due_by_the_rule(demo: tuple[sqlite3.Connection, Reader, Site, History, Runs]) -> None:
    sql, _, site, history, _ = demo
    due = due_view.due_list(history, TODAY, site.interval_months)
    rows = sql.execute(
        f"""
        WITH s AS (SELECT j.* FROM job j WHERE {STANDS}),
        last AS (
            SELECT * FROM (SELECT *, ROW_NUMBER() OVER (PARTITION BY asset_id ORDER BY performed_us DESC, entry DESC) AS k FROM s)
            WHERE k = 1
        ),
        now AS (
            SELECT * FROM (
                SELECT *, ROW_NUMBER() OVER (PARTITION BY asset_id ORDER BY COALESCE(valid_from, '') DESC, entry DESC) AS k
                FROM asset_version)
            WHERE k = 1
        )
        SELECT now.tag, day(last.performed_us), last.left_ratio, last.found_ratio, last.left_offset_v,
               (SELECT MAX(b.on_day) FROM machine_break b WHERE b.asset_id = last.asset_id AND b.on_day > day(last.performed_us))
        FROM last JOIN now ON now.asset_id = last.asset_id
        WHERE now.retired IS NULL OR now.retired > ?
        """,
        (TODAY.isoformat(),),
    ).fetchall()
    come = 0
    for _, seen, left, found, measured, broke in rows:
        over = (left or 0) > 1 or (measured is None and (found or 0) > 1)
        on = date.fromisoformat(broke or seen)
        if not broke and not over:
            year, month = divmod(on.year * 12 + on.month - 1 + site.interval_months, 12)
            last_day = (date(year + month // 11, (month + 1) % 12 + 1, 1) - timedelta(days=1)).day
            on = date(year, month + 1, min(on.day, last_day))
        come += on <= TODAY
    assert due.now == come
    assert come > 5
    assert (
        due.in_service
        == sql.execute(
            """SELECT COUNT(*) FROM (SELECT retired, ROW_NUMBER() OVER (PARTITION BY asset_id
           ORDER BY COALESCE(valid_from, '') DESC, entry DESC) AS k FROM asset_version)
           WHERE k = 1 AND (retired IS NULL OR retired > ?)""",
            (TODAY.isoformat(),),
        ).fetchone()[0]
    )
