"""The unit of work: one transaction that appends entries and rows, or leaves nothing.

Entry numbers run without a gap, so there is one writer at a time: SQLite
sees to that itself (``BEGIN IMMEDIATE``), PostgreSQL by an advisory lock that
ends with the transaction.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import DeclarativeBase

from models.errors import BookBusyError
from models.tables.base import to_microseconds
from models.tables.book import EntryRow
from models.values.kinds import Kind

_WRITER_LOCK = 0x626F_6F6B

Values = tuple[Any, ...]


@dataclass(slots=True)
class Unit:
    """An open transaction of one author at one moment on one site.

    Rows are kept in buffers and written in batches of plain tuples: the same
    engine given dictionaries is five times slower.
    """

    connection: sa.Connection
    site_id: int
    author: str
    at: datetime
    next_number: int
    _entries: list[Values] = field(default_factory=list)
    _rows: dict[str, list[Values]] = field(default_factory=dict)
    _statements: dict[str, str] = field(default_factory=dict)

    def append(
        self,
        kind: Kind,
        subject: int | None = None,
        *,
        supersedes: int | None = None,
        why: str = "",
        batch: int | None = None,
        line: str | None = None,
    ) -> int:
        """Append an entry and give its number; without a subject it founds one."""
        number = self.next_number
        self.next_number = number + 1
        self._entries.append(
            (
                number,
                self.site_id,
                to_microseconds(self.at),
                self.author,
                str(kind),
                subject or number,
                supersedes,
                why,
                batch,
                line,
                None,
            )
        )
        return number

    def add(self, mapped: type[DeclarativeBase], values: Values) -> None:
        """Add a row of a table: values in the order of its columns, as the database takes them."""
        table = mapped.__table__
        name = str(table.name) if isinstance(table, sa.Table) else str(table)
        if name not in self._statements:
            self._statements[name] = insert_statement(table, self.connection.dialect)
        self._rows.setdefault(name, []).append(values)

    def forget(self) -> None:
        """Drop what is buffered: for a run that has failed and only goes on looking."""
        self._entries = []
        self._rows = {name: [] for name in self._rows}

    def flush(self) -> None:
        """Write what is buffered: entries first, for every row points to its own."""
        if self._entries:
            self.connection.exec_driver_sql(
                insert_statement(EntryRow.__table__, self.connection.dialect), self._entries
            )
            self._entries = []
        for name, rows in self._rows.items():
            if rows:
                self.connection.exec_driver_sql(self._statements[name], rows)
        self._rows = {name: [] for name in self._rows}


def insert_statement(table: sa.FromClause, dialect: sa.Dialect) -> str:
    """Write a plain INSERT for all columns of a table, with the driver's own marks."""
    columns = [column.name for column in table.columns]
    mark = "?" if dialect.paramstyle == "qmark" else "%s"
    return f"INSERT INTO {table.name} ({', '.join(columns)}) VALUES ({', '.join([mark] * len(columns))})"  # type: ignore[attr-defined]  # noqa: S608


def _begun(connection: sa.Connection) -> sa.RootTransaction:
    """Begin, or say that somebody else is writing."""
    try:
        return connection.begin()
    except sa.exc.OperationalError as fault:
        if "locked" not in str(fault.orig):
            raise
        raise BookBusyError(
            "The book is busy: somebody else is writing, perhaps a large import.",
            remedy="Wait until it has ended and do it again.",
        ) from fault


@contextmanager
def writing(engine: sa.Engine, site_id: int, author: str, at: datetime, *, rehearse: bool = False) -> Iterator[Unit]:
    """Open a unit of work; commits at the end, rolls back on any exception.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book's engine. [unitless]
    site_id : int
        Site that is written to; 0 before there is one. [unitless]
    author : str
        Who says it. [unitless]
    at : datetime
        Aware moment of recording. [unitless]
    rehearse : bool
        Take no lock and always roll back: for a run that only shows what would happen. [unitless]
    """
    with engine.connect().execution_options(write=not rehearse) as connection, _begun(connection) as transaction:
        if connection.dialect.name == "postgresql" and not rehearse:
            connection.execute(sa.select(sa.func.pg_advisory_xact_lock(_WRITER_LOCK)))
        last = connection.execute(sa.select(sa.func.max(EntryRow.number))).scalar()
        unit = Unit(connection, site_id, author, at, (last or 0) + 1)
        yield unit
        if rehearse:
            transaction.rollback()
        else:
            unit.flush()
