"""How long verification takes, against a bare loop that hashes the same bytes in the same run.

``python -m tests.benchmarks.verify --jobs 1000000 --assets 50000 --folder FOLDER``

The book is that of ``tests.benchmarks.big_book``: imported by the command, kept in the folder.  The bare loop reads all
statements first and is not charged for it: it hashes each of them, and the nodes over them, and does nothing else.
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

from models.ledger.proofs import paired
from models.settings import Settings
from models.store.engine import make_engine
from models.store.proofs import one_state
from models.store.verify import verify_book
from tests.benchmarks.big_book import book_of


def bare(book: Path) -> tuple[float, float, int, int]:
    """Hash the statements in a loop: seconds of leaves alone, of leaves and nodes, entries, bytes."""
    with closing(sqlite3.connect(book)) as connection:
        texts = [row[0] for row in connection.execute("SELECT CAST(said AS BLOB) FROM statement ORDER BY entry")]
    began, sha256 = time.perf_counter(), hashlib.sha256
    leaves = [sha256(b"\x00" + text).digest() for text in texts]
    hashed = time.perf_counter() - began
    level = b"".join(leaves)
    while len(level) > 32:
        level = paired(level)
    return hashed, time.perf_counter() - began, len(texts), sum(map(len, texts))


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
    leaves, nodes, entries, size = bare(book)
    engine = make_engine(settings)
    began, cpu = time.perf_counter(), spent()
    with one_state(engine) as connection:
        found = verify_book(connection, settings=None if given.one_process else settings)
    took, used = time.perf_counter() - began, spent() - cpu
    engine.dispose()
    assert found.entries == entries
    peak = (
        resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
        resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024,
    )
    print(
        f"{entries:,} entries, {size / 1e6:.0f} MB of statements, {os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}"
    )
    print(f"bare loop: leaves {leaves:.2f} s, with nodes {nodes:.2f} s")
    print(f"verify: {took:.2f} s, {used:.2f} s of processor time; faults {found.faults()}, intact {found.intact:,}")
    print(f"ratio to hashing the leaves: {took / leaves:.1f} by the clock, {used / leaves:.1f} by processor time")
    print(f"peak memory: {peak[0]:.0f} MiB (with the bare loop's texts), of the largest worker {peak[1]:.0f} MiB")


if __name__ == "__main__":
    main()
