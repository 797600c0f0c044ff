"""A very large invented book, made in minutes out of a large one: its machines and their jobs again and again under other numbers.

``python -m tests.benchmarks.tiled_book b1m.db b10m.db --times 10``

Such a book is for reading pages and for studying it only.  **It does not
verify**: the texts of the statements are left out, which are two thirds of a book,
and the heads are those of the book that it was made of.  Every tile has the same
jobs on the same days, under other tags, trains and job numbers; people, instruments
and limits are shared by all.  So what depends on how many *different* values there
are is not larger than in the book it was made of, and what depends on how many rows
there are is.

Entries get numbers without a gap.  Guards and indexes are made at the end, by
their own text, and are all there; foreign keys hold.
"""

from __future__ import annotations

import argparse
import sqlite3
import time
from pathlib import Path

LEFT_OUT = "statement"

AGAIN = ("asset_version", "machine_break", "job")
"""Tables whose entries are told again in each tile, with what they found."""

_MAPPED = {
    "entry": ("number", "subject", "supersedes"),
    "asset": ("id",),
    "asset_version": ("entry", "asset_id"),
    "machine_break": ("entry", "asset_id"),
    "job": ("entry", "job_id", "asset_id", "supersedes"),
}
"""Columns that name an entry of the tile; the first is the row's own."""

_MARKED = {"asset": ("tag",), "asset_version": ("tag", "train"), "job": ("ref",)}
"""Texts of which there may be only one in a book, or that belong to the machines of one tile."""


def tile(source: Path, target: Path, times: int) -> int:
    """Make a book of ``times`` the machines and jobs of another one.

    Parameters
    ----------
    source : Path
        A book on SQLite that nobody has open; it stays as it is. [unitless]
    target : Path
        Where the new one goes; nothing may be there. [unitless]
    times : int
        How often each machine is there in the end. [unitless]

    Returns
    -------
    int
        Number of jobs in the new book. [unitless]
    """
    if target.exists():
        raise SystemExit(f"{target} is there already")
    making = target.with_name(f"making-{target.name}")
    making.unlink(missing_ok=True)
    book = sqlite3.connect(f"{making.resolve().as_uri()}?mode=rwc", uri=True, isolation_level=None)
    # For reading only: a pragma without a name before it would be one of the source, too.
    book.execute("ATTACH ? AS old", (f"{source.resolve().as_uri()}?mode=ro",))
    book.execute(f"PRAGMA main.page_size = {book.execute('PRAGMA old.page_size').fetchone()[0]}")
    # Nothing can be lost: the book has its name only when it is whole.
    for pragma in (
        "main.journal_mode = OFF",
        "main.synchronous = OFF",
        "main.cache_size = -200000",
        "foreign_keys = OFF",
    ):
        book.execute(f"PRAGMA {pragma}")
    book.execute("BEGIN")
    made = book.execute(
        "SELECT type, name, sql FROM old.sqlite_master WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite_%' ORDER BY rowid"
    ).fetchall()
    tables = [name for kind, name, _ in made if kind == "table"]
    for sql in (sql for kind, _, sql in made if kind == "table"):
        book.execute(sql)
    for name in tables:
        if name != LEFT_OUT:
            book.execute(f"INSERT INTO main.{name} SELECT * FROM old.{name}")
    _number(book)
    for again in range(1, times):
        for name in _MAPPED:
            _put(book, name, again)
    for sql in (sql for kind, _, sql in made if kind != "table"):
        book.execute(sql)
    book.execute("COMMIT")
    jobs = int(book.execute("SELECT count(*) FROM main.job").fetchone()[0])
    book.execute("DETACH old")
    book.execute("PRAGMA main.journal_mode = WAL")
    book.close()
    making.rename(target)
    return jobs


def _number(book: sqlite3.Connection) -> None:
    """Give each entry that is told again its place among them."""
    book.execute("CREATE TEMP TABLE place (old INTEGER PRIMARY KEY, place INTEGER NOT NULL)")
    every = " UNION ALL ".join(f"SELECT entry FROM old.{name}" for name in AGAIN)
    book.execute(f"INSERT INTO place SELECT entry, row_number() OVER (ORDER BY entry) FROM ({every})")


def _put(book: sqlite3.Connection, table: str, again: int) -> None:
    """Put one tile of a table in: entries after all that are there, in the order in which they were."""
    last, rows = book.execute("SELECT (SELECT max(number) FROM old.entry), (SELECT count(*) FROM place)").fetchone()
    begin, own = last + (again - 1) * rows, _MAPPED[table][0]
    values = []
    for (name,) in book.execute("SELECT name FROM pragma_table_info(?) ORDER BY cid", (table,)).fetchall():
        if name == own:
            values.append(f"p.place + {begin}")
        elif name in _MAPPED[table]:
            # What is not told again (a file, a site) is meant as it stands.
            values.append(f"coalesce((SELECT place + {begin} FROM place WHERE old = t.{name}), t.{name})")
        elif name in _MARKED.get(table, ()):
            values.append(f"CASE t.{name} WHEN '' THEN '' ELSE t.{name} || '-{again}' END")
        elif name == "at_us":
            values.append(f"(SELECT max(at_us) FROM old.entry) + {again}")
        else:
            values.append(f"t.{name}")
    book.execute(
        f"INSERT INTO main.{table} SELECT {', '.join(values)} FROM old.{table} t JOIN place p ON p.old = t.{own} ORDER BY t.{own}"
    )


def main() -> None:
    """Make a book and say how long it took."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("source", type=Path, help="a made book, e.g. of tests.benchmarks.big_book")
    parser.add_argument("target", type=Path, help="the book to make")
    parser.add_argument("--times", type=int, default=10, help="how often each machine is there in the end")
    given = parser.parse_args()
    began = time.perf_counter()
    jobs = tile(given.source, given.target, given.times)
    size = given.target.stat().st_size / 1e9
    print(f"{jobs:,} jobs, {size:.1f} GB, made in {time.perf_counter() - began:.0f} s; it does not verify")


if __name__ == "__main__":
    main()
