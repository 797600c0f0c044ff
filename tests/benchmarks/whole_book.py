"""How long a whole book takes out as a data package and in again, beside a bare copy of the same rows, and with how much memory.

``python -m tests.benchmarks.whole_book --jobs 100000 --assets 5000``

The book is made first, by the import command.  Then, each as a whole process:
the export, the taking in (every cell checked, every statement made again and
compared, every head and signature), and the floor: a program that reads every
table of the history with ``fetchmany`` and puts it into the same tables of an
empty book, triggers and all, without looking at anything.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.benchmarks.import_peers import make_files

ROOT = Path(__file__).resolve().parents[2]

FLOOR = """
import sqlite3, sys
from models.settings import Settings
from models.store.revision import upgrade
from models.tables.every import MAPPED
source, target = sys.argv[1:]
upgrade(Settings(book=target))
old, new = sqlite3.connect(source), sqlite3.connect(target, isolation_level=None)
new.execute("PRAGMA foreign_keys=ON"); new.execute("BEGIN IMMEDIATE")
for mapped in MAPPED:
    name, width = mapped.__tablename__, len(mapped.__table__.columns)
    cursor = old.execute(f"SELECT * FROM {name}")
    while rows := cursor.fetchmany(2000):
        new.executemany(f"INSERT INTO {name} VALUES ({','.join('?' * width)})", rows)
new.execute("COMMIT")
"""


def timed(*command: str) -> tuple[float, float]:
    """Run a process and give its seconds and its peak memory in MiB."""
    code = (
        "import resource, subprocess, sys, json; done = subprocess.run(sys.argv[1:]);"
        "print(json.dumps([done.returncode, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss]))"
    )
    begun = time.perf_counter()
    run = subprocess.run([sys.executable, "-c", code, *command], cwd=ROOT, capture_output=True, text=True, check=True)
    status, peak = json.loads(run.stdout.splitlines()[-1])
    if status:
        raise SystemExit(run.stdout + run.stderr)
    return time.perf_counter() - begun, peak / 1024


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=100_000)
    parser.add_argument("--assets", type=int, default=5_000)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="driftbook-whole-") as passing:
        folder = Path(passing)
        book, tool = str(folder / "book.db"), [sys.executable, "-m", "dashboard.cli"]
        files = make_files(folder, given.assets, given.jobs)
        subprocess.run(
            [*tool, "init", "--site", "Bench", "--zone", "UTC", "--book", book],
            cwd=ROOT,
            check=True,
            capture_output=True,
        )
        timed(*tool, "import", *map(str, files), "--confirm", "--book", book)
        steps = {
            "export to a folder": [*tool, "export", str(folder / "package"), "--book", book],
            "export to a ZIP file": [*tool, "export", str(folder / "package.zip"), "--book", book],
            "take in from the folder": [*tool, "take-in", str(folder / "package"), "--book", str(folder / "in.db")],
            "move": [*tool, "move", "--book", book, "--to", str(folder / "moved.db")],
            "floor: a bare copy": [sys.executable, "-c", FLOOR, book, str(folder / "floor.db")],
        }
        taken = {name: timed(*command) for name, command in steps.items()}
        size = sum(path.stat().st_size for path in (folder / "package").rglob("*") if path.is_file()) / 1e6
        floor = taken["floor: a bare copy"][0]
        print(f"{given.jobs} jobs of {given.assets} assets; the package holds {size:.0f} MB")
        for name, (seconds, peak) in taken.items():
            print(f"{name:<26}{seconds:8.1f} s   {seconds / floor:5.1f} × the floor   peak {peak:6.0f} MiB")


if __name__ == "__main__":
    main()
