"""Whole tables from one book to another: values as stored, row by row, in the order of their keys.

Both ways out of a book (the data package and the move to another engine) and
both ways in use the same reading and writing, and the same check at the end:
what was written is read again, restated, and held against the statements and
the heads of the tree.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from itertools import islice
from typing import Any

import sqlalchemy as sa

from models.errors import DriftbookError
from models.ledger.checkpoint import Checkpoint
from models.ledger.keys import signature_holds
from models.ledger.tree import Frontier
from models.store.partitions import make_parts
from models.store.proofs import read_keys
from models.store.sealing import read_bound, seal
from models.store.unit import insert_statement
from models.tables.base import Base, Day, Instant, Json
from models.tables.book import EntryRow, SiteRow
from models.tables.every import MAPPED, STATE
from models.tables.proofs import StatementRow, TreeHeadRow
from models.tables.state import LoginSessionRow

AT_ONCE = 2_000
"""Rows that are held in memory at a time."""

MOVED = (*MAPPED, *(mapped for mapped in STATE if mapped is not LoginSessionRow))
"""What a move takes along: the history and the state, but no open sessions, which belong to the place."""

Values = tuple[Any, ...]
Mapped = type[Base]


class NotEmptyError(DriftbookError):
    """The book that is to take a copy in holds something already."""


class DoesNotFitError(DriftbookError):
    """What came in is not what its statements, heads or counts say."""


class Kind(StrEnum):
    """What a column stores, whatever the engine."""

    BOOLEAN = "boolean"
    INTEGER = "integer"
    NUMBER = "number"
    BYTES = "bytes"
    TEXT = "text"
    DAY = "day"
    MOMENT = "moment"
    JSON = "json"


@dataclass(frozen=True, slots=True)
class Column:
    """One column as it is stored; ``length`` is the longest text, ``None`` for any."""

    name: str
    kind: Kind
    nullable: bool
    length: int | None


_KINDS: tuple[tuple[type[Any], Kind], ...] = (
    (Instant, Kind.MOMENT),
    (Day, Kind.DAY),
    (Json, Kind.JSON),
    (sa.Boolean, Kind.BOOLEAN),
    (sa.LargeBinary, Kind.BYTES),
    (sa.Integer, Kind.INTEGER),
    (sa.Float, Kind.NUMBER),
    (sa.String, Kind.TEXT),
)


def table_of(mapped: Mapped) -> sa.Table:
    """Give the table of a class."""
    table = mapped.__table__
    assert isinstance(table, sa.Table)  # noqa: S101 - narrows the type: none of ours is a join
    return table


@cache
def columns_of(mapped: Mapped) -> tuple[Column, ...]:
    """Give the columns of a table in its own order."""
    return tuple(_column(column) for column in table_of(mapped).columns)


def _column(column: sa.Column[Any]) -> Column:
    kind = next((kind for of, kind in _KINDS if isinstance(column.type, of)), None)
    if kind is None:
        raise TypeError(f"{column.table.name}.{column.name}: a column of this type cannot be copied")
    length = getattr(column.type, "length", None) if kind is Kind.TEXT else None
    return Column(column.name, kind, bool(column.nullable), length)


@contextmanager
def one_state(engine: sa.Engine) -> Iterator[sa.Connection]:
    """Open a connection that sees one state of the book from begin to end, whoever writes meanwhile."""
    with engine.connect() as connection:
        if connection.dialect.name == "postgresql":
            connection = connection.execution_options(isolation_level="REPEATABLE READ")  # noqa: PLW2901
        with connection.begin():
            yield connection


def rows_of(connection: sa.Connection, mapped: Mapped) -> Iterator[Values]:
    """Give every row of a table in the order of its key, as stored, without holding them all.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection in one transaction. [unitless]
    mapped : type
        The table. [unitless]
    """
    table = table_of(mapped)
    # Typed as nothing at all, so that no value is turned into something else on its way.
    plain = [sa.type_coerce(column, sa.types.NullType()).label(column.name) for column in table.columns]
    asked = sa.select(*plain).order_by(*table.primary_key.columns)
    truths = [place for place, column in enumerate(columns_of(mapped)) if column.kind is Kind.BOOLEAN]
    blobs = [place for place, column in enumerate(columns_of(mapped)) if column.kind is Kind.BYTES]
    result = connection.execution_options(stream_results=True, max_row_buffer=AT_ONCE).execute(asked)
    for row in result:
        values = list(row)
        for place in truths:
            if values[place] in (0, 1):  # SQLite keeps 0 and 1; anything else is no truth and is refused where it goes
                values[place] = bool(values[place])
        for place in blobs:
            if values[place] is not None:
                values[place] = bytes(values[place])
        yield tuple(values)


def put_rows(connection: sa.Connection, mapped: Mapped, rows: Iterable[Values]) -> int:
    """Write rows into a table and give their number.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The one writer's transaction. [unitless]
    mapped : type
        The table. [unitless]
    rows : iterable of tuple
        Values in the order of the columns. [as stored]

    Raises
    ------
    DoesNotFitError
        If the database refuses a row; the message names it.
    """
    table = table_of(mapped)
    text = insert_statement(mapped, connection.dialect)
    done, source = 0, iter(rows)
    while chunk := list(islice(source, AT_ONCE)):
        try:
            with connection.begin_nested():
                connection.exec_driver_sql(text, chunk)
        except sa.exc.DBAPIError:
            _name_refused(connection, table.name, text, chunk, done)
            raise
        done += len(chunk)
    if mapped is SiteRow:
        make_parts(connection, connection.scalars(sa.select(SiteRow.id).order_by(SiteRow.id)).all())
    return done


def _name_refused(connection: sa.Connection, table: str, text: str, chunk: Sequence[Values], before: int) -> None:
    """Write the rows of a refused piece one by one, to name the one that is refused."""
    for place, row in enumerate(chunk, start=before + 1):
        try:
            with connection.begin_nested():
                connection.exec_driver_sql(text, row)
        except sa.exc.DBAPIError as fault:
            raise DoesNotFitError(
                f"Table {table}, row {place}: the database refuses it: {str(fault.orig).splitlines()[0]}",
                remedy="Nothing was taken in. The row does not fit the tables of this version, or points to one that is missing.",
            ) from fault


def refuse_unless_empty(connection: sa.Connection, shown: str) -> None:
    """Refuse a book that holds anything: a copy would be neither the one nor the other.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    shown : str
        The address of the book, for the message. [unitless]

    Raises
    ------
    NotEmptyError
        If any table holds a row.
    """
    for mapped in (*MAPPED, *STATE):
        table = table_of(mapped)
        if connection.execute(sa.select(sa.literal(1)).select_from(table).limit(1)).first() is not None:
            raise NotEmptyError(
                f"The book {shown} is not empty: its table {table.name} holds rows.",
                remedy="Give the address of a new book; one that is there is never overwritten.",
            )


def set_counters(connection: sa.Connection, tables: Iterable[Mapped]) -> None:
    """Let the counters of PostgreSQL go on after the largest number that was copied; SQLite does so by itself."""
    if connection.dialect.name != "postgresql":
        return
    for mapped in tables:
        table = table_of(mapped)
        for column in table.primary_key.columns:
            counter = connection.execute(sa.select(sa.func.pg_get_serial_sequence(table.name, column.name))).scalar()
            last = None if counter is None else connection.execute(sa.select(sa.func.max(column))).scalar()
            if last is not None:
                connection.execute(sa.select(sa.func.setval(counter, last)))


@dataclass(frozen=True, slots=True)
class Checked:
    """What a copy was held against: how many entries, how many of them bear no statement, how many heads, how many signed."""

    entries: int
    unsealed: int
    heads: int
    signed: int
    root: bytes | None


def check_copy(connection: sa.Connection, counts: dict[str, int], tick: Callable[[int], None] | None = None) -> Checked:
    """Read a copy again and hold it against its counts, statements and heads.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The transaction that wrote the copy, before its commit. [unitless]
    counts : dict of str to int
        How many rows each table is to hold. [unitless]
    tick : callable, optional
        Is told how many entries are done. [unitless]

    Raises
    ------
    DoesNotFitError
        If anything differs; the message names table, row and column.
    """
    for mapped in MOVED:
        table = table_of(mapped)
        found = connection.execute(sa.select(sa.func.count()).select_from(table)).scalar_one()
        if table.name in counts and found != counts[table.name]:
            raise DoesNotFitError(
                f"Table {table.name} was to hold {counts[table.name]} rows and holds {found}.", remedy=_NOTHING
            )
    last = connection.execute(sa.select(sa.func.max(EntryRow.number))).scalar() or 0
    if last != connection.execute(sa.select(sa.func.count()).select_from(EntryRow)).scalar_one():
        raise DoesNotFitError(
            f"The entries do not run from 1 to {last} without a gap.",
            remedy=f"{_NOTHING} Entries were taken out of what came in.",
        )
    heads = {head.size: head for head in connection.execute(sa.select(*TreeHeadRow.__table__.columns))}
    tree, unsealed, root = Frontier(), 0, None
    for first in range(1, last + 1, AT_ONCE):
        upto = min(first + AT_ONCE - 1, last)
        for entry, leaf in _leaves(connection, first, upto):
            if leaf is None:
                unsealed += 1
            elif not unsealed:
                tree.append(leaf)
            if entry in heads:
                root = _check_head(heads[entry], tree, entry)
        if tick is not None:
            tick(upto)
    return Checked(last, unsealed, len(heads), _check_signatures(connection, heads.values()), root)


_NOTHING = "Nothing was taken in."


def _leaves(connection: sa.Connection, first: int, last: int) -> Iterator[tuple[int, bytes | None]]:
    """Restate entries from their rows and give the leaves, having held them against the statements."""
    s = StatementRow
    held = {
        row.entry: (row.said, bytes(row.leaf))
        for row in connection.execute(sa.select(s.entry, s.said, s.leaf).where(s.entry.between(first, last)))
    }
    for entry, _, said, leaf in seal(*read_bound(connection, first, last)):
        if entry not in held:
            yield entry, None
            continue
        if held[entry][0] != said:
            raise DoesNotFitError(_difference(entry, held[entry][0], said), remedy=f"{_NOTHING} {_ALTERED}")
        if held[entry][1] != leaf:
            raise DoesNotFitError(
                f"Table statement, row of entry {entry}, column leaf: it is not the hash of the statement.",
                remedy=f"{_NOTHING} {_ALTERED}",
            )
        yield entry, leaf


_ALTERED = "What came in was altered after it was written: compare it with another copy."


def _difference(entry: int, said: str, rows: str) -> str:
    """Say where the rows of an entry part from what its statement says."""
    try:
        before, now = json.loads(said), json.loads(rows)
        places = list(_differences(entry, before, now))
    except (ValueError, AttributeError):
        places = []
    if not places:
        return f"Table statement, row of entry {entry}, column said: it is not the statement of the entry's rows."
    return places[0] + (f" ({len(places)} differences in all.)" if len(places) > 1 else "")


def _differences(entry: int, before: dict[str, Any], now: dict[str, Any]) -> Iterator[str]:
    yield from _columns("entry", entry, before, now)
    was, has = before.get("rows", {}), now.get("rows", {})
    for table in sorted({*was, *has}):
        old, new = was.get(table, []), has.get(table, [])
        if len(old) != len(new):
            yield f"Table {table}, rows of entry {entry}: the statement says {len(old)} of them, {len(new)} came in."
            continue
        for one, other in zip(old, new, strict=True):
            yield from _columns(table, entry, one, other)


def _columns(table: str, entry: int, before: dict[str, Any], now: dict[str, Any]) -> Iterator[str]:
    for name in sorted({*before, *now} - {"rows"}):
        if before.get(name) != now.get(name):
            yield (
                f"Table {table}, row of entry {entry}, column {name}: the statement says {_shown(before.get(name))}, "
                f"the row {_shown(now.get(name))}."
            )


def _shown(value: Any) -> str:
    text = "nothing" if value is None else json.dumps(value, ensure_ascii=False)
    return text if len(text) <= 80 else f"{text[:79]}…"


def _check_head(head: Any, tree: Frontier, entry: int) -> bytes:
    if tree.size != entry or bytes(head.root) != tree.root() or bytes(head.frontier) != tree.to_bytes():
        raise DoesNotFitError(
            f"Table tree_head, row of size {entry}, column root: it is not the root of the tree over the entries.",
            remedy=f"{_NOTHING} {_ALTERED}",
        )
    return tree.root()


def _check_signatures(connection: sa.Connection, heads: Iterable[Any]) -> int:
    keys = read_keys(connection)
    signed = 0
    for head in heads:
        if head.signature is None:
            continue
        key = next((one for one in reversed(keys) if one.entry <= head.size), None)
        body = None if key is None else Checkpoint(key.origin, head.size, bytes(head.root)).body.encode()
        if key is None or body is None or not signature_holds(key.public_key, bytes(head.signature), body):
            raise DoesNotFitError(
                f"Table tree_head, row of size {head.size}, column signature: it is not that of the book's key.",
                remedy=f"{_NOTHING} {_ALTERED}",
            )
        signed += 1
    return signed
