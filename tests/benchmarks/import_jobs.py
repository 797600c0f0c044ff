"""How long a large import takes, beside a bare ``executemany`` of the same rows.

``python -m tests.benchmarks.import_jobs --jobs 1000000 --assets 50000``

The file is made first.  Then, as whole processes in turn: the import by the
command (every check, every verdict, every digest and statement, all or nothing), the
peer: the shell of SQLite that imports the same file into a flat table with the same
indexes, and the floor: a program that takes the finished rows of the book's own
tables and puts them into the same tables, without triggers, by ``executemany`` in
one transaction.  Peak memory is that of the process.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from models.intake.fields import Table, fields_of
from models.units import Display

ROOT = Path(__file__).resolve().parents[2]
SEED = 20261125


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


@dataclass(frozen=True)
class Spent:
    """What a process took: seconds by the clock, seconds of processor, peak memory [s, s, MiB]."""

    seconds: float
    processor: float
    memory: float


def timed(arguments: list[str]) -> Spent:
    """Run a process and give what it took; on a machine that is busy with other things only the processor time means much."""
    began = time.perf_counter()
    process = subprocess.Popen(arguments, cwd=ROOT, stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(process.pid, 0)
    if status != 0:
        raise SystemExit(f"failed: {' '.join(arguments)}")
    return Spent(time.perf_counter() - began, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024)


INDEXES = (
    "UNIQUE INDEX a ON flat (job)",
    "INDEX b ON flat (tag, performed)",
    "INDEX c ON flat (people)",
    "INDEX d ON flat (instrument)",
)


def shell_import(jobs: Path, target: Path) -> Spent | None:
    """Let the shell of SQLite import the same file into one flat table with the same indexes; ``None`` where it is not installed.

    It checks nothing, resolves nothing and hashes nothing.
    """
    if shutil.which("sqlite3") is None:
        return None
    target.unlink(missing_ok=True)
    heads = jobs.open(encoding="utf-8").readline().strip().split(",")
    columns = ", ".join(f'"{head}" {"REAL" if "[" in head else "TEXT"}' for head in heads)
    columns = columns.replace('"performed at"', '"performed"')
    script = [
        "PRAGMA journal_mode=WAL;", "PRAGMA synchronous=FULL;", f"CREATE TABLE flat ({columns});", "BEGIN;",
        f".import --csv --skip 1 {jobs} flat", *(f"CREATE {index};" for index in INDEXES), "COMMIT;",
    ]  # fmt: skip
    plan = target.with_suffix(".sql")
    plan.write_text("\n".join(script) + "\n")
    return timed(["sqlite3", "-bail", str(target), f".read {plan}"])


def floor(book: Path, target: Path) -> float:
    """Put the finished rows of a book into fresh tables by ``executemany``; give the seconds of the insert and commit."""
    source = sqlite3.connect(book)
    plan = {
        name: source.execute("SELECT sql FROM sqlite_master WHERE name = ?", (name,)).fetchone()[0]
        for name in ("entry", "job", "statement")
    }
    target.unlink(missing_ok=True)
    sink = sqlite3.connect(target, isolation_level=None)
    sink.execute("PRAGMA journal_mode=WAL")
    spent = 0.0
    sink.execute("BEGIN IMMEDIATE")
    for name, sql in plan.items():
        sink.execute(sql)
        rows = source.execute(f"SELECT * FROM {name}")
        width = len(rows.description)
        statement = f"INSERT INTO {name} VALUES ({', '.join('?' * width)})"
        while chunk := rows.fetchmany(50_000):
            began = time.perf_counter()
            sink.executemany(statement, chunk)
            spent += time.perf_counter() - began
    began = time.perf_counter()
    sink.execute("COMMIT")
    return spent + time.perf_counter() - began


def main() -> None:
    """Run the benchmark and print the table and the JSON."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--jobs", type=int, default=100_000)
    parser.add_argument("--assets", type=int, default=5_000)
    parser.add_argument("--runs", type=int, default=1)
    parser.add_argument("--keep", help="folder to work in and to keep")
    given = parser.parse_args()
    folder = Path(given.keep or tempfile.mkdtemp(prefix="driftbook-bench-"))
    folder.mkdir(parents=True, exist_ok=True)
    files = make_files(folder, given.assets, given.jobs)
    book = folder / "book.db"
    command = [sys.executable, "-m", "dashboard.cli"]
    runs = []
    for _ in range(given.runs):
        for old in folder.glob("book.db*"):
            old.unlink()
        timed([*command, "init", "--book", str(book), "--site", "Bench", "--zone", "UTC"])
        ours = timed([*command, "import", *map(str, files), "--book", str(book), "--by", "bench"])
        shell = shell_import(files[1], folder / "flat.db")
        began = time.process_time()
        bare = floor(book, folder / "floor.db")
        run = {
            "import_s": ours.seconds, "import_processor_s": ours.processor, "peak_mib": ours.memory,
            "executemany_s": bare, "executemany_processor_s": time.process_time() - began,
        }  # fmt: skip
        if shell is not None:
            run |= {
                "shell_s": shell.seconds, "shell_processor_s": shell.processor,
                "ratio": ours.seconds / shell.seconds, "ratio_processor": ours.processor / shell.processor,
            }  # fmt: skip
        runs.append(run)
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    result = {
        "jobs": given.jobs,
        "assets": given.assets,
        "csv_mb": files[1].stat().st_size / 1e6,
        "runs": runs,
        "bench_mib": own,
    }
    print(f"{given.jobs:,} jobs of {given.assets:,} assets, {result['csv_mb']:.0f} MB of CSV")
    for run in runs:
        print(
            f"import, whole process {run['import_s']:.1f} s ({run['import_processor_s']:.1f} s of processor), "
            f"peak {run['peak_mib']:.0f} MiB; bare executemany of the same rows {run['executemany_s']:.1f} s"
        )
        if "ratio" in run:
            print(
                f"the sqlite3 shell's .import of the same file and the same indexes {run['shell_s']:.1f} s "
                f"({run['shell_processor_s']:.1f} s of processor); ratio {run['ratio']:.1f} (processor {run['ratio_processor']:.1f})"
            )
    print(json.dumps(result))
    if not given.keep:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
