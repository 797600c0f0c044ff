"""All benchmarks by one command: lists them, runs some or all, and keeps the figures as a table and as JSON.

``python -m tests.benchmarks``                         lists them
``python -m tests.benchmarks all``                     runs all of them, small enough for a coffee break
``python -m tests.benchmarks import_jobs serving``     runs some
``… --full``                                           in the sizes that the figures in DEVELOPERS.md have
``… --json FILE``                                      keeps everything that they gave

Each is a program of its own (``python -m tests.benchmarks.NAME --help``) that
prints a table; most give their figures as JSON too, in the last line or a file.  Each
figure stands beside a floor or a peer that was measured in the same run.
"""

from __future__ import annotations

import argparse
import json
import platform
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True)
class Benchmark:
    """What is measured, and with which options in both sizes; ``into_file`` where the JSON goes into a file."""

    measures: str
    small: tuple[str, ...]
    full: tuple[str, ...]
    into_file: bool = False


EVERY = {
    "import_jobs": Benchmark(
        "a large import, beside the sqlite3 shell's .import and a bare executemany",
        ("--jobs", "20000", "--assets", "1000"),
        ("--jobs", "1000000", "--assets", "50000"),
    ),
    "callbacks": Benchmark(
        "server time of every callback, beside an empty one and one that gives a small figure",
        ("--repeats", "5"),
        ("--jobs", "1000000", "--assets", "50000"),
        into_file=True,
    ),
    "naive_page": Benchmark(
        "the Month page beside one that reads, groups and draws with general libraries",
        ("--repeats", "5"),
        ("--jobs", "1000000"),
    ),
    "starting": Benchmark(
        "starting the command, beside an interpreter that does nothing", ("--runs", "5"), ("--runs", "15")
    ),
    "serving": Benchmark(
        "requests a second, beside other servers where they are installed", ("--seconds", "2", "--runs", "1"), ()
    ),
    "users": Benchmark(
        "twenty people at once, and the rate at which they saturate the server, on both engines",
        ("--seconds", "10"),
        (),
        into_file=True,
    ),
    "verify": Benchmark(
        "verification of a whole book, beside a bare loop that hashes the same bytes",
        ("--jobs", "20000", "--assets", "1000"),
        ("--jobs", "1000000", "--assets", "50000"),
    ),
    "whole_book": Benchmark(
        "export and taking in of a whole book, beside a bare copy",
        ("--jobs", "20000", "--assets", "1000"),
        ("--jobs", "100000", "--assets", "5000"),
    ),
    "many_sites": Benchmark(
        "many sites studied by one process and by several, and many parts on PostgreSQL",
        ("--sites", "4", "--jobs", "5000", "--parts", "50", "--server-jobs", "1000"),
        ("--sites", "10", "--jobs", "100000"),
    ),
    "reports": Benchmark("papers, beside an empty document of the same typesetter", ("--times", "3"), ()),
    "recorders": Benchmark(
        "many people who record at once, and the same with kills",
        ("--jobs", "10", "--kills", "2", "--postgresql", "16"),
        (),
    ),
}


def run(name: str, *, full: bool) -> dict[str, Any]:
    """Run one benchmark, let it print, and give its figures."""
    chosen = EVERY[name]
    with tempfile.TemporaryDirectory() as folder:
        kept = Path(folder) / "figures.json"
        extra = ["--json", str(kept)] if chosen.into_file else []
        command = [sys.executable, "-m", f"tests.benchmarks.{name}", *(chosen.full if full else chosen.small), *extra]
        began = time.perf_counter()
        process = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True)
        assert process.stdout is not None
        last, table = "", []
        for line in process.stdout:
            if line.startswith(("{", "[")):
                last = line
            else:
                table.append(line.rstrip())
                print(f"  {line.rstrip()}", flush=True)
        status = process.wait()
        figures = json.loads(kept.read_text()) if kept.exists() else json.loads(last) if last else None
    spent = round(time.perf_counter() - began, 1)
    return {"benchmark": name, "status": status, "seconds": spent, "figures": figures, "table": table}


def main() -> None:
    """List the benchmarks, or run those that are named."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("names", nargs="*", metavar="NAME", help="which; 'all' for all")
    parser.add_argument("--full", action="store_true", help="in full size; takes an hour and more")
    parser.add_argument("--json", type=Path, help="file for the figures")
    given = parser.parse_args()
    if not given.names:
        for name, one in EVERY.items():
            print(f"{name:14} {one.measures}")
        return
    names = list(EVERY) if given.names == ["all"] else given.names
    unknown = [name for name in names if name not in EVERY]
    if unknown:
        parser.error(f"there is no benchmark {', '.join(unknown)}; there are {', '.join(EVERY)}")
    results = []
    for name in names:
        print(f"{name}: {EVERY[name].measures}")
        results.append(run(name, full=given.full))
    print()
    for one in results:
        print(f"{one['benchmark']:14} {'done' if one['status'] == 0 else 'FAILED':7} {one['seconds']:8.1f} s")
    kept = {"machine": platform.platform(), "python": platform.python_version(), "results": results}
    if given.json:
        given.json.write_text(json.dumps(kept, indent=1))
    else:
        print(json.dumps(kept))
    if any(one["status"] for one in results):
        raise SystemExit(1)


if __name__ == "__main__":
    main()
