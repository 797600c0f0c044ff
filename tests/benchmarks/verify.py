"""How long verification takes, against a bare loop that hashes the same bytes in the same run.

``python -m tests.benchmarks.verify --jobs 1000000 --assets 50000 --folder FOLDER``

The book is that of ``tests.benchmarks.big_book``: imported by the command, kept in the folder.  The bare loop is not charged for
reading: it hashes each statement, and does nothing else.  On a machine that others use too, look at the processor time.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import resource
import sqlite3
import time
from contextlib import closing
from pathlib import Path

from models.settings import Settings
from models.store.engine import make_engine
from models.store.proofs import one_state
from models.store.verify import verify_book
from tests.benchmarks.big_book import book_of


def bare(book: Path) -> tuple[float, float, int, int]:
    """Hash the statements in a loop: seconds by the clock and of processor time, entries, bytes."""
    clock = cpu = 0.0
    entries = size = 0
    with closing(sqlite3.connect(book)) as connection:
        asked = connection.execute("SELECT CAST(said AS BLOB) FROM statement ORDER BY entry")
        while some := [row[0] for row in asked.fetchmany(10_000)]:
            began, used, sha256 = time.perf_counter(), time.process_time(), hashlib.sha256
            for text in some:
                sha256(b"\x00" + text).digest()
            clock, cpu = clock + time.perf_counter() - began, cpu + time.process_time() - used
            entries, size = entries + len(some), size + sum(map(len, some))
    return clock, cpu, entries, size


def spent() -> float:
    """Give the seconds of processor time of this process and those that it has waited for."""
    own, others = resource.getrusage(resource.RUSAGE_SELF), resource.getrusage(resource.RUSAGE_CHILDREN)
    return own.ru_utime + own.ru_stime + others.ru_utime + others.ru_stime


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--jobs", type=int, default=100_000)
    parser.add_argument("--assets", type=int, default=5_000)
    parser.add_argument("--folder", type=Path, default=Path("benchmark-books"))
    parser.add_argument("--book", type=Path, help="a book that is there already")
    parser.add_argument("--one-process", action="store_true")
    given = parser.parse_args()
    book = given.book or book_of(given.folder, given.jobs, given.assets)
    settings = Settings(book=str(book))
    engine = make_engine(settings)
    began, cpu = time.perf_counter(), spent()
    with one_state(engine) as connection:
        found = verify_book(connection, settings=None if given.one_process else settings)
    took, used = time.perf_counter() - began, spent() - cpu
    engine.dispose()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    largest = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    clock, floor, entries, size = bare(book)
    assert found.entries == entries
    print(
        f"{entries:,} entries, {size / 1e6:.0f} MB of statements, {os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}"
    )
    print(f"bare loop over their hashes: {clock:.2f} s, {floor:.2f} s of processor time")
    print(f"verify: {took:.2f} s, {used:.2f} s of processor time; faults {found.faults()}, intact {found.intact:,}")
    print(f"ratio: {took / clock:.1f} by the clock, {used / floor:.1f} by processor time of all processes")
    print(f"peak memory: {peak:.0f} MiB, of the largest worker {largest:.0f} MiB")


if __name__ == "__main__":
    main()
