"""Verification of what stands around the rows: tables, indexes and guards, as the migrations make them.

No statement says them, and each of them can hide or swallow a row while every row that is left fits: an index that
leads past one, a trigger that lets one fall, another thing in a table's place.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from typing import Final, NamedTuple

import sqlalchemy as sa

from models.errors import BookDamagedError, UndecodableTextError
from models.ledger.findings import Fault, Finding, shown
from models.store.revision import REVISION_TABLE, marks_of, needed_revision, new_book
from models.store.sealing import BOUND, key_column
from models.store.verify_server import index_row_findings, server_findings
from models.tables.book import EntryRow

AT_MOST: Final = 50
"""So many lines of the database's own check are told; what is broken once is often broken in thousands of rows."""

_OWN: Final = re.compile(r"CREATE (?:TABLE|VIEW) ", re.IGNORECASE)
"""Somebody's own table or view, under a name of its own, harms nothing."""

_ROW_LOST: Final = re.compile(r"row (\d+) missing from index (\w+)")
_INDEX_WRONG: Final = re.compile(r"(?:wrong # of entries in|non-unique entry in|values differ from) index (\w+)")


class _Thing(NamedTuple):
    """A table, an index or a trigger: its kind, name and table, and what makes it."""

    kind: str
    name: str
    table: str
    text: str | None


def guard_findings(connection: sa.Connection) -> Iterator[Finding]:
    """Give the tables, indexes and triggers that are missing, altered, off, or not of the tool's making, and a wrong mark of the revision.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    """
    marks = marks_of(connection)
    if marks != [needed_revision()]:
        yield Finding(
            Fault.REVISION,
            None,
            REVISION_TABLE,
            "version_num",
            shown(", ".join(marks)) if marks else None,
            needed_revision(),
        )
    if connection.dialect.name == "postgresql":
        yield from server_findings(connection)
        return
    asked = connection.exec_driver_sql("SELECT type, name, tbl_name, sql FROM sqlite_master")
    there = {_thing(*(None if value is None else str(value) for value in row)) for row in asked}
    made = _as_made()
    faults = {"table": Fault.SHAPE, "index": Fault.INDEX, "trigger": Fault.GUARD}
    for thing in sorted(made - there, key=lambda one: (one.kind != "table", one.name)):
        yield Finding(faults[thing.kind], None, thing.table, found=thing.name)
    told = {thing.name for thing in made - there}
    for thing in sorted(there - made, key=lambda one: (one.name, one.kind)):
        if thing.name not in told and not _harmless(thing):
            yield Finding(Fault.FOREIGN, None, shown(thing.table), found=shown(f"{thing.kind} {thing.name}"))


@cache
def _as_made() -> frozenset[_Thing]:
    return frozenset(_thing(*row) for row in new_book())


def _thing(kind: str | None, name: str | None, table: str | None, text: str | None) -> _Thing:
    """Take white space for one blank; of a table quotation marks do not count, which another version may set."""
    if text is not None:
        text = " ".join((text.replace('"', "") if kind == "table" else text).split())
    return _Thing(kind or "", name or "", table or "", text)


def _harmless(thing: _Thing) -> bool:
    # What is read is the text: kind and name beside it may say anything.
    if thing.text is None or thing.name.startswith("sqlite_stat"):
        return thing.name.startswith("sqlite_")
    return _OWN.match(thing.text) is not None and thing.name not in {one.name for one in _as_made()}


def index_findings(connection: sa.Connection) -> tuple[list[Finding], bool]:
    """Hold the indexes against the rows by the database's own means: each row has to be found by each of them.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]

    Returns
    -------
    tuple of list of Finding and bool
        What does not fit, and whether it could be looked at: a server without the means says nothing.
    """
    if connection.dialect.name == "postgresql":
        return index_row_findings(connection)
    try:
        return _checked(connection, str(AT_MOST)), True
    except UndecodableTextError:
        raise
    except BookDamagedError:  # a damaged page ends the check of the whole: which table it is, and what of the others?
        found: list[Finding] = []
        for table in sorted({thing.table for thing in _as_made()}):
            try:
                found += _checked(connection, f"'{table}'")
            except BookDamagedError as fault:
                found.append(Finding(Fault.UNREADABLE, None, table, found=fault.found))
        return found, True


def _checked(connection: sa.Connection, what: str) -> list[Finding]:
    """Give what SQLite's own check of the whole, or of one table, says."""
    tables = {thing.name: thing.table for thing in _as_made() if thing.kind == "index"}
    lines = [str(row[0]) for row in connection.exec_driver_sql(f"PRAGMA integrity_check({what})")]
    return [_of_line(connection, " ".join(line.split()), tables) for line in lines if line != "ok"]


_KEYS = {EntryRow.__tablename__: "number"} | {mapped.__tablename__: key_column(mapped) for mapped in BOUND}


def _of_line(connection: sa.Connection, line: str, tables: dict[str, str]) -> Finding:
    """Put a line of SQLite's check into a finding."""
    lost = _ROW_LOST.fullmatch(line)
    if lost:
        table = tables.get(lost[2], "")
        entry = None
        if table in _KEYS:  # SQLite counts the rows of the table; the one that it means is named by its entry
            asked = f"SELECT {_KEYS[table]} FROM {table} NOT INDEXED ORDER BY rowid LIMIT 1 OFFSET ?"  # noqa: S608 - our own names
            entry = connection.exec_driver_sql(asked, (int(lost[1]) - 1,)).scalar()
        return Finding(Fault.INDEX_ROW, entry, table, found=lost[2])
    wrong = _INDEX_WRONG.match(line)
    if wrong:
        return Finding(Fault.INDEX_ROW, None, tables.get(wrong[1], ""), found=wrong[1])
    return Finding(Fault.FILE, None, found=shown(line))
