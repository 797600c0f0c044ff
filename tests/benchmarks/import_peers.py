"""What the import is held against: files that are made for it, and others that put rows into a database."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import sqlalchemy as sa
from sqlalchemy import orm
from sqlalchemy.dialects.sqlite import dialect as sqlite_dialect

from models.intake.fields import Table, fields_of
from models.store.engine import PAGE
from models.tables.every import metadata
from models.units import Display

ROOT = Path(__file__).resolve().parents[2]
SEED = 20261125
TABLES = ("entry", "job", "statement")


def make_files(folder: Path, assets: int, jobs: int) -> tuple[Path, Path]:
    """Write assets.csv and jobs.csv: invented, seeded, every job with both measurements and four soft-foot readings."""
    rng = np.random.default_rng(SEED)
    names = {
        table: [f.heading_with_unit(Display()) for f in fields_of(table) if f.in_template]
        for table in (Table.ASSETS, Table.JOBS)
    }
    speeds = rng.choice([985, 1185, 1480, 1770, 2970, 3550], assets)
    first, second = folder / "assets.csv", folder / "jobs.csv"
    with first.open("w", encoding="utf-8") as stream:
        stream.write("tag,description,coupling,running speed [rpm],movable foot row 1 [mm],movable foot row 2 [mm]\n")
        for n in range(assets):
            stream.write(f"A-{n:06d},made for a benchmark,short flexible,{speeds[n]},210,640\n")
    weight = rng.gamma(2.0, 1.0, assets)
    of = np.sort(rng.choice(assets, jobs, p=weight / weight.sum()))
    start = np.datetime64("2006-01-01T06:00", "m")
    minutes = rng.integers(0, 20 * 365 * 24 * 60, jobs)
    minutes = minutes[np.lexsort((minutes, of))]
    minutes += np.arange(jobs) - np.searchsorted(of, of)  # no two jobs of an asset at one minute
    when = (start + minutes.astype("timedelta64[m]")).astype(str)
    found = rng.normal(0, 0.05, (jobs, 4)).round(3)
    left = rng.normal(0, 0.02, (jobs, 4)).round(3)
    soft = rng.uniform(0, 0.08, (jobs, 4)).round(2)
    people = rng.integers(0, 40, jobs)
    heads = (
        "job", "tag", "performed at", "reason", "people", "instrument", "method",
        "found offset V [mm]", "found angle V [mm/m]", "found offset H [mm]", "found angle H [mm/m]",
        "left offset V [mm]", "left angle V [mm/m]", "left offset H [mm]", "left angle H [mm/m]",
        "soft foot before 1L [mm]", "soft foot before 1R [mm]", "soft foot before 2L [mm]", "soft foot before 2R [mm]", "notes",
    )  # fmt: skip
    assert set(heads) <= set(names[Table.JOBS])
    with second.open("w", encoding="utf-8") as stream:
        stream.write(",".join(heads) + "\n")
        for n in range(jobs):
            numbers = (*found[n], *(left[n]), *soft[n])
            stream.write(
                f"B{n:07d},A-{of[n]:06d},{when[n]},planned,Person {people[n]},D-{people[n] % 9},laser,"
                + ",".join(f"{x:g}" for x in numbers)
                + ",\n"
            )
    return first, second


def spoil(jobs: Path, target: Path, faults: int) -> None:
    """Copy a file of jobs with faults in cells here and there: seeded, of five kinds."""
    lines = jobs.read_text(encoding="utf-8").splitlines(keepends=True)
    rng = np.random.default_rng(SEED + 1)
    for number, at in enumerate(rng.choice(np.arange(1, len(lines)), faults, replace=False).tolist()):
        cells = lines[at].split(",")
        place, text = ((7, "abc"), (2, "2024-13-01 10:00"), (1, "A-nowhere"), (9, ""), (11, "400"))[number % 5]
        cells[place] = text
        lines[at] = ",".join(cells)
    target.write_text("".join(lines), encoding="utf-8")


@dataclass(frozen=True)
class Spent:
    """What a process took: seconds by the clock, seconds of processor, peak memory [s, s, MiB]."""

    seconds: float
    processor: float
    memory: float


def _compiled() -> dict[str, str]:
    """Give an environment in which modules are compiled once, as in an installed program, whatever is set here."""
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return kept | {"PYTHONPYCACHEPREFIX": str(Path(tempfile.gettempdir()) / "driftbook-bench-compiled")}


def timed(arguments: list[str], wanted: int = 0) -> Spent:
    """Run a process and give what it took; on a machine that is busy with other things only the processor time means much."""
    began = time.perf_counter()
    process = subprocess.Popen(arguments, cwd=ROOT, stdout=subprocess.DEVNULL, env=_compiled())
    _, status, usage = os.wait4(process.pid, 0)
    if os.waitstatus_to_exitcode(status) != wanted:
        raise SystemExit(f"failed: {' '.join(arguments)}")
    return Spent(time.perf_counter() - began, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024)


INDEXES = (
    "UNIQUE INDEX a ON flat (job)",
    "INDEX b ON flat (tag, performed)",
    "INDEX c ON flat (people)",
    "INDEX d ON flat (instrument)",
)


def _columns(jobs: Path, real: str) -> str:
    heads = jobs.open(encoding="utf-8").readline().strip().split(",")
    columns = ", ".join(f'"{head}" {real if "[" in head else "TEXT"}' for head in heads)
    return columns.replace('"performed at"', '"performed"')


def shell_import(jobs: Path, target: Path) -> Spent:
    """Let the shell of SQLite import the same file into one flat table with the same indexes.

    It checks nothing, resolves nothing and hashes nothing.
    """
    if shutil.which("sqlite3") is None:
        raise SystemExit("this needs the shell of SQLite (sqlite3)")
    target.unlink(missing_ok=True)
    script = [
        "PRAGMA journal_mode=WAL;", "PRAGMA synchronous=FULL;", f"CREATE TABLE flat ({_columns(jobs, 'REAL')});", "BEGIN;",
        f".import --csv --skip 1 {jobs} flat", *(f"CREATE {index};" for index in INDEXES), "COMMIT;",
    ]  # fmt: skip
    plan = target.with_suffix(".sql")
    plan.write_text("\n".join(script) + "\n")
    return timed(["sqlite3", "-bail", str(target), f".read {plan}"])


def psql_import(psql: Path, url: str, jobs: Path) -> Spent:
    """Let PostgreSQL's own client copy the same file into one flat table with the same indexes, in one transaction."""
    plan = jobs.with_suffix(".psql")
    script = [
        "DROP TABLE IF EXISTS flat;", f"CREATE TABLE flat ({_columns(jobs, 'DOUBLE PRECISION')});",
        f"\\copy flat FROM '{jobs}' WITH (FORMAT csv, HEADER)", *(f"CREATE {index};" for index in INDEXES),
    ]  # fmt: skip
    plan.write_text("\n".join(script) + "\n")
    return timed([str(psql), url, "-q", "-1", "-v", "ON_ERROR_STOP=1", "-f", str(plan)])


def apart(what: str, *given: object) -> list[Any]:
    """Do something of this module in a process of its own: memory that this one takes would count for its children."""
    arguments = [sys.executable, "-m", "tests.benchmarks.import_peers", what, *map(str, given)]
    done = subprocess.run(arguments, cwd=ROOT, check=True, stdout=subprocess.PIPE)
    found: list[Any] = json.loads(done.stdout)
    return found


def floor(book: Path, target: Path, *, ready: bool) -> Spent:
    """Put the finished rows of a book into the same tables, and make the same indexes, in one transaction.

    With ``ready`` by ``INSERT … SELECT`` from the book: what SQLite alone needs for the same bytes.
    Otherwise by ``executemany`` of rows that are there as tuples: the least that a program
    needs that has them.  No triggers, no checks, no hashes.
    """
    for end in ("", "-wal", "-shm"):
        Path(f"{target}{end}").unlink(missing_ok=True)
    sink = sqlite3.connect(target, isolation_level=None)
    for pragma in (f"page_size={PAGE}", "journal_mode=WAL", "synchronous=FULL", "cache_size=-65536"):
        sink.execute(f"PRAGMA {pragma}")
    sink.execute("ATTACH ? AS book", (str(book),))
    asked = "SELECT sql FROM book.sqlite_master WHERE type = ? AND tbl_name = ? AND sql IS NOT NULL"
    plans = {name: [row[0] for row in sink.execute(asked, ("table", name))] for name in TABLES}
    indexes = [row[0] for name in TABLES for row in sink.execute(asked, ("index", name))]
    source = sqlite3.connect(book)
    seconds, processor = 0.0, 0.0
    sink.execute("BEGIN IMMEDIATE")
    for name, (sql,) in plans.items():
        sink.execute(sql)
        rows = source.execute(f"SELECT * FROM {name}")
        marks = ", ".join("?" * len(rows.description))
        while chunk := [] if ready else rows.fetchmany(50_000):
            began, used = time.perf_counter(), time.process_time()
            sink.executemany(f"INSERT INTO {name} VALUES ({marks})", chunk)
            seconds, processor = seconds + time.perf_counter() - began, processor + time.process_time() - used
        began, used = time.perf_counter(), time.process_time()
        if ready:
            sink.execute(f"INSERT INTO {name} SELECT * FROM book.{name}")
        seconds, processor = seconds + time.perf_counter() - began, processor + time.process_time() - used
    began, used = time.perf_counter(), time.process_time()
    for sql in indexes:
        sink.execute(sql)
    sink.execute("COMMIT")
    sink.close()
    return Spent(seconds + time.perf_counter() - began, processor + time.process_time() - used, 0.0)


def mapped(book: Path, target: Path) -> Spent:
    """Put the finished rows of a book into the same tables as mapped objects, by ``Session.add_all``, in one transaction.

    Objects are made and added 10,000 jobs at a time, indexes at the end.  No triggers, no checks, no hashes.
    """
    for end in ("", "-wal", "-shm"):
        Path(f"{target}{end}").unlink(missing_ok=True)
    engine = sa.create_engine(f"sqlite:///{target}")
    sa.event.listen(engine, "connect", _as_a_book)
    tables = [metadata.tables[name] for name in ("entry", "job", "statement")]
    classes = [_mapped_class(table) for table in tables]
    indexes = [index for table in tables for index in table.indexes]
    for table in tables:
        with engine.begin() as connection:
            connection.execute(sa.schema.CreateTable(table))
    source = sqlite3.connect(book)
    read = [source.execute(f"SELECT * FROM {table.name} ORDER BY 1") for table in tables]
    names = [[column[0] for column in rows.description] for rows in read]
    seconds, processor = 0.0, 0.0
    with orm.Session(engine) as session:
        while any(chunks := [rows.fetchmany(10_000) for rows in read]):
            ready = [_as_typed(one, name, chunk) for one, name, chunk in zip(classes, names, chunks, strict=True)]
            began, used = time.perf_counter(), time.process_time()
            for one, rows in zip(classes, ready, strict=True):
                session.add_all([one(**row) for row in rows])
            session.flush()
            session.expunge_all()
            seconds, processor = seconds + time.perf_counter() - began, processor + time.process_time() - used
        began, used = time.perf_counter(), time.process_time()
        for index in indexes:
            session.execute(sa.schema.CreateIndex(index))
        session.commit()
    engine.dispose()
    return Spent(seconds + time.perf_counter() - began, processor + time.process_time() - used, 0.0)


def _mapped_class(table: sa.Table) -> type[Any]:
    """Give a class of objects for a table, as most programs would have one; ours has rows only."""
    made = type(f"{table.name}_object", (), {})
    orm.registry().map_imperatively(made, table)
    return made


def _as_a_book(raw: Any, _: object) -> None:
    for pragma in (f"page_size={PAGE}", "journal_mode=WAL", "synchronous=FULL", "cache_size=-65536"):
        raw.execute(f"PRAGMA {pragma}")


def _as_typed(one: Any, names: list[str], rows: list[Any]) -> list[dict[str, Any]]:
    """Give rows as the mapped class takes them: what a program has in its hands before it makes objects."""
    mapper, dialect = sa.inspect(one), sqlite_dialect()
    columns = [mapper.local_table.c[name] for name in names]
    keys = [mapper.get_property_by_column(column).key for column in columns]
    reads = [column.type.dialect_impl(dialect).result_processor(dialect, None) for column in columns]
    return [
        {key: value if read is None else read(value) for key, read, value in zip(keys, reads, row, strict=True)}
        for row in rows
    ]


def main() -> None:
    """Do what :func:`apart` asks for."""
    what, *given = sys.argv[1:]
    if what == "make":
        (folder := Path(given[0])).mkdir(parents=True, exist_ok=True)
        print(json.dumps([str(path) for path in make_files(folder, int(given[1]), int(given[2]))]))
    else:
        book, target = Path(given[0]), Path(given[1])
        spent = mapped(book, target) if what == "mapped" else floor(book, target, ready=given[2] == "True")
        print(json.dumps([spent.seconds, spent.processor, 0.0]))


if __name__ == "__main__":
    main()
