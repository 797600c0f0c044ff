"""The unit of work: one transaction that appends entries and rows, or leaves nothing.

Entry numbers run without a gap, so there is one writer at a time: SQLite
sees to that itself (``BEGIN IMMEDIATE``), PostgreSQL by an advisory lock that
ends with the transaction.

Moments follow the numbers.  Where the clock stands before the moment of the
last entry (it was set back, or another machine's runs ahead), an entry takes
the moment of the last one, and from five seconds on it says so in its own words,
with what the clock said.  (Who has waited for another writer was not set back.)  Refusing would be worse: one entry of a clock that
ran years ahead would close the book.
"""

from __future__ import annotations

import logging
import re
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import TYPE_CHECKING, Any, Final

import sqlalchemy as sa

from models.errors import WrongRevisionError
from models.ledger.columns import Column, Each, Same
from models.ledger.tree import HASH_BYTES
from models.store.bulk import COPY_FROM, MANY, PutAside, plan_again, put_columns, put_in
from models.store.revision import needed_revision
from models.store.sealing import seal, seal_columns, write_head
from models.store.turns import TURNS, busy, take_turn
from models.tables.base import Base, to_microseconds
from models.tables.book import EntryRow, SiteRow
from models.tables.every import MAPPED
from models.tables.proofs import StatementRow
from models.values.kinds import Kind
from models.values.spelling import seen

if TYPE_CHECKING:
    from models.store.copy_in import Beside

LOG = logging.getLogger("driftbook.book")

_QUIET = timedelta(seconds=5)
"""Clocks of several machines differ by less than this as a rule; a larger step back is told in the entry."""

CLOCK_SAID: Final = re.compile(r" ?\[The clock said [^\]]*\]")
"""What :func:`_moment` says of a clock that was set back: it stands behind the reason of an entry, or alone."""

Values = tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class Block:
    """Many entries of one kind, each with one row of one table, as columns."""

    rows: int
    entries: tuple[Column, ...]
    table: type[Base]
    columns: tuple[Column, ...]


@dataclass(slots=True)
class Unit:
    """An open transaction of one author at one moment on one site.

    Rows are kept in buffers and written in batches of plain tuples: the same
    engine given dictionaries is five times slower.  An entry is sealed when it
    is written; one whose rows are known only at the end is appended as *late*.
    ``clock`` is what the clock said, ``at`` the moment of the entries: never
    before that of the last one.
    """

    connection: sa.Connection
    site_id: int
    author: str
    at: datetime
    next_number: int
    clock: datetime
    _first: int = 0
    _leaves: bytearray = field(default_factory=bytearray)
    _sealed: int = 0
    _late: dict[int, Values] = field(default_factory=dict)
    _entries: list[Values] = field(default_factory=list)
    _rows: dict[str, list[Values]] = field(default_factory=dict)
    _statements: dict[str, str] = field(default_factory=dict)
    _told: str = ""
    _blocks: list[Block] = field(default_factory=list)
    _expected: int = 0
    _aside: PutAside | None = None
    _beside: Beside | None = None
    _at_us: int = field(init=False)

    def __post_init__(self) -> None:
        """Find the moment that every entry bears."""
        self._at_us = to_microseconds(self.at)

    def append(
        self,
        kind: Kind,
        subject: int | None = None,
        *,
        supersedes: int | None = None,
        why: str = "",
        batch: int | None = None,
        line: str | None = None,
        late: bool = False,
    ) -> int:
        """Append an entry and give its number; without a subject it founds one.

        The rows of an entry are added before the next flush, those of a late one before the end.
        """
        number = self.next_number
        self.next_number = number + 1
        if self._told:
            why = f"{why} {self._told}".strip()
        entry = (
            number,
            self.site_id,
            self._at_us,
            self.author,
            str(kind),
            subject or number,
            supersedes,
            why,
            batch,
            line,
        )
        self._entries.append(entry)
        if late:
            self._late[number] = entry
        return number

    def take(self, count: int) -> int:
        """Take numbers for entries that will be given as columns; gives the first of them."""
        first = self.next_number
        self.next_number = first + count
        return first

    def add_block(self, kind: Kind, batch: int, lines: Column, mapped: type[Base], columns: Sequence[Column]) -> None:
        """Append entries that each found a thing, with the row that each brought.

        Parameters
        ----------
        kind : Kind
            Kind of all the entries. [unitless]
        batch : int
            Entry of the file that they come from. [unitless]
        lines : Column
            Row of the file for each. [unitless]
        mapped : type
            Class of the rows. [unitless]
        columns : sequence of Column
            Columns of the rows in the order of the table; the first holds the entries' numbers. [as stored]
        """
        numbers = columns[0]
        assert isinstance(numbers, Each)  # noqa: S101 - the numbers of entries are all different
        entries = (
            numbers, Same(self.site_id), Same(self._at_us), Same(self.author), Same(str(kind)), numbers, Same(None),
            Same(self._told), Same(batch), lines,
        )  # fmt: skip
        self._blocks.append(Block(len(numbers.values), entries, mapped, tuple(columns)))

    def add(self, mapped: type[Base], values: Values) -> None:
        """Add a row of a table: values in the order of its columns, as the database takes them."""
        name = mapped.__tablename__
        if name not in self._statements:
            self._statements[name] = insert_statement(mapped, self.connection.dialect)
        self._rows.setdefault(name, []).append(values)

    def expect(self, rows: int) -> None:
        """Say that many rows are to come, before the first of them is written: the book is made ready for them."""
        self._expected = rows

    def tell(self, words: str) -> None:
        """Say something in the words of every entry that is appended from here on, behind what is said of the clock."""
        self._told = f"{self._told} {words}".strip()

    def forget(self) -> None:
        """Drop what is buffered: for a run that has failed and only goes on looking."""
        self._empty()

    def _empty(self) -> None:
        self._entries = []
        self._rows = {name: [] for name in self._rows}
        self._blocks = []

    def flush(self) -> None:
        """Write what is buffered: sites, then entries, for every row points to its own; then rows and seals."""
        if self._entries or self._blocks:
            self._make_ready()
        if self._blocks or len(self._entries) >= COPY_FROM:
            plan_again(self.connection)
        self._insert(SiteRow, self._rows.get(SiteRow.__tablename__, []))
        self._insert(EntryRow, self._entries)
        for block in self._blocks:
            put_columns(self.connection, EntryRow, block.entries, block.rows, self._beside)
        # In the order of the tables, not of the rows: a new machine may come after a change of an old one.
        for mapped in MAPPED:
            name = mapped.__tablename__
            if self._rows.get(name) and mapped is not SiteRow:
                put_in(self.connection, name, self._statements[name], self._rows[name], self._beside)
            for block in self._blocks:
                if block.table is mapped:
                    put_columns(self.connection, block.table, block.columns, block.rows, self._beside)
        self._seal()
        self._seal_blocks()
        self._empty()

    def _make_ready(self) -> None:
        if self._expected < MANY:
            return
        if self.connection.dialect.name == "sqlite":
            self._aside = self._aside or PutAside(self.connection, self._expected, self._first - 1)
        else:
            from models.store.copy_in import Beside  # with a thread: only where rows are copied

            self._beside = self._beside or Beside(self.connection)

    def _insert(self, mapped: type[Base], rows: Sequence[Values]) -> None:
        if rows:
            statement = insert_statement(mapped, self.connection.dialect)
            put_in(self.connection, mapped.__tablename__, statement, rows, self._beside)

    def _seal(self, *, ending: bool = False) -> None:
        """Seal what was written: every entry but the late ones, and of those the ones whose rows have come."""
        brought = {name: rows for name, rows in self._rows.items() if rows}
        come = (
            set(self._late) if ending else {row[0] for rows in brought.values() for row in rows if row[0] in self._late}
        )
        ready = [entry for entry in self._entries if entry[0] not in self._late]
        ready += [self._late.pop(number) for number in sorted(come)]
        sealed = seal(ready, brought)
        self._keep_leaves([row[0] for row in sealed], [row[3] for row in sealed])
        self._insert(StatementRow, sealed)

    def _seal_blocks(self) -> None:
        for block in self._blocks:
            said, leaves = seal_columns(block.rows, block.entries, block.table.__tablename__, block.columns)
            numbers = block.columns[0]
            sealed = (numbers, Same(self.site_id), Each(said), Each(leaves))
            put_columns(self.connection, StatementRow, sealed, block.rows, self._beside)
            self._keep_leaves(list(numbers.stored(block.rows)), leaves, rising=True)

    def _keep_leaves(self, numbers: list[int], leaves: list[bytes], *, rising: bool = False) -> None:
        """Keep leaf hashes end to end, each at the place of its entry: a million of them take a third of the memory so."""
        self._leaves += bytes(HASH_BYTES * (self.next_number - self._first) - len(self._leaves))
        self._sealed += len(leaves)
        if rising and numbers[-1] - numbers[0] == len(leaves) - 1:  # none is missing between
            at = HASH_BYTES * (numbers[0] - self._first)
            self._leaves[at : at + HASH_BYTES * len(leaves)] = b"".join(leaves)
            return
        for number, leaf in zip(numbers, leaves, strict=True):
            at = HASH_BYTES * (number - self._first)
            self._leaves[at : at + HASH_BYTES] = leaf

    def finish(self) -> None:
        """Write what is left, seal what was late, and keep the head of the tree."""
        self.flush()
        self._seal(ending=True)
        if self._sealed:
            ends = range(0, len(self._leaves), HASH_BYTES)
            write_head(self.connection, self._first, (bytes(self._leaves[at : at + HASH_BYTES]) for at in ends))
        if self._aside is not None:
            self._aside.put_back()
            self._aside = None
        if self._beside is not None:
            self._beside.close()
            self._beside = None


def insert_statement(mapped: type[Base], dialect: sa.Dialect) -> str:
    """Write a plain INSERT for all columns of a table, with the driver's own marks."""
    columns = mapped.names()
    mark = "?" if dialect.paramstyle == "qmark" else "%s"
    marks = ", ".join([mark] * len(columns))
    return f"INSERT INTO {mapped.__tablename__} ({', '.join(columns)}) VALUES ({marks})"  # noqa: S608 - our own names


def _begun(connection: sa.Connection) -> sa.RootTransaction:
    """Begin, or say that somebody else is writing."""
    try:
        return connection.begin()
    except sa.exc.OperationalError as fault:
        if "locked" not in str(fault.orig):
            raise
        raise busy() from fault


@contextmanager
def locked(engine: sa.Engine, *, lock: bool = True) -> Iterator[sa.Connection]:
    """Open a transaction of the one writer, without a unit of work; commits at the end.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book's engine. [unitless]
    lock : bool
        False for a rehearsal, which keeps nobody waiting. [unitless]

    Raises
    ------
    BookBusyError
        If somebody else writes for too long, or too many wait already.
    """
    with (
        TURNS.place() if lock else nullcontext(),
        engine.connect().execution_options(write=lock) as connection,
        _begun(connection),
    ):
        if lock:
            take_turn(connection)
        _check_revision(connection)
        yield connection


def _check_revision(connection: sa.Connection) -> None:
    """Refuse to write into a book that was upgraded after it was opened: asked behind the lock, so that it stays as it is."""
    found = connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar()
    if found != _needed():
        raise WrongRevisionError(
            f"The book is at revision {found} by now; this program writes revision {_needed()}. Nothing was recorded.",
            remedy="Somebody upgraded the book, or put another one in its place, while this program ran: start it again in the version that fits.",
        )


_needed = cache(needed_revision)
"""Reads the migrations once a process."""


def _moment(clock: datetime, waited: timedelta, last: datetime | None) -> tuple[datetime, str]:
    """Give the moment of new entries, not before that of the last one, and what they say where the clock was set back."""
    if last is None or clock >= last:
        return clock, ""
    if last - (clock + waited) < _QUIET:
        return last, ""
    LOG.warning("The clock says %s, but the last entry is of %s; new entries say so.", clock, last)
    said = f"{clock.astimezone(UTC):%Y-%m-%d %H:%M:%S} UTC"
    return last, f"[The clock said {said}, before the moment of the last entry, which stands here.]"


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
        Who says it; what nobody sees in the name is left out. [unitless]
    at : datetime
        Aware moment of recording. [unitless]
    rehearse : bool
        Take no lock and always roll back: for a run that only shows what would happen. [unitless]
    """
    asked = time.monotonic()
    with locked(engine, lock=not rehearse) as connection:
        newest = sa.select(EntryRow.number, EntryRow.at).order_by(EntryRow.number.desc()).limit(1)
        row = connection.execute(newest).first()
        last = 0 if row is None else row.number
        waited = timedelta(seconds=time.monotonic() - asked)
        moment, told = _moment(at, waited, None if row is None else row.at_us)
        unit = Unit(connection, site_id, seen(author), moment, last + 1, at.astimezone(UTC), last + 1, _told=told)
        yield unit
        if rehearse:
            connection.rollback()
        else:
            unit.finish()
