"""Questions about the proofs: keys, heads, leaves and statements."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from models.ledger.checkpoint import Checkpoint, write_note
from models.tables.book import EntryRow
from models.tables.proofs import BookKeyRow, StatementRow, TreeHeadRow
from models.values.proof import BookProof


@dataclass(frozen=True, slots=True)
class BookKey:
    """A key that signs from an entry on, and the name of the book."""

    entry: int
    origin: str
    public_key: bytes


@dataclass(frozen=True, slots=True)
class Head:
    """A kept head of the tree; ``key`` and ``signature`` are ``None`` where it was not signed."""

    size: int
    root: bytes
    frontier: bytes
    key: BookKey | None
    signature: bytes | None
    origin: str

    @property
    def checkpoint(self) -> Checkpoint:
        """Give what is signed."""
        return Checkpoint(self.origin, self.size, self.root)

    @property
    def note(self) -> str:
        """Give the head as a text that can be kept elsewhere."""
        return write_note(self.checkpoint, None if self.key is None else self.key.public_key, self.signature)


def raw_bytes(value: Any) -> bytes:
    """Give the bytes of a cell; none where somebody has put another kind of value there."""
    return bytes(value) if isinstance(value, bytes | bytearray | memoryview) else b""


def _text(value: Any) -> str:
    return str(value).encode("utf-8", "backslashreplace").decode()


def read_keys(connection: sa.Connection) -> tuple[BookKey, ...]:
    """Give all keys of the book, the oldest first."""
    key = BookKeyRow
    rows = connection.execute(sa.select(key.entry, key.origin, key.public_key).order_by(key.entry))
    return tuple(BookKey(row.entry, _text(row.origin), raw_bytes(row.public_key)) for row in rows)


def key_in_force(connection: sa.Connection) -> BookKey | None:
    """Give the key that signs today."""
    return next(reversed(read_keys(connection)), None)


def read_heads(connection: sa.Connection, *, last: int | None = None, before: int | None = None) -> tuple[Head, ...]:
    """Give kept heads, the newest first.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    last : int, optional
        At most so many. [unitless]
    before : int, optional
        Only heads of smaller trees. [unitless]
    """
    keys = read_keys(connection)
    by_entry, origin = {key.entry: key for key in keys}, keys[0].origin if keys else "driftbook"
    h = TreeHeadRow
    asked = sa.select(h.size, h.root, h.frontier, h.key_entry, h.signature).order_by(h.size.desc())
    if last is not None:
        asked = asked.limit(last)
    if before is not None:
        asked = asked.where(h.size < before)
    return tuple(
        Head(
            row.size,
            bytes(row.root),
            bytes(row.frontier),
            by_entry.get(row.key_entry),
            None if row.signature is None else bytes(row.signature),
            origin,
        )
        for row in connection.execute(asked)
    )


def last_head(connection: sa.Connection) -> Head | None:
    """Give the newest kept head."""
    return next(iter(read_heads(connection, last=1)), None)


def read_proof(connection: sa.Connection) -> BookProof | None:
    """Give the newest head as the pages show it; ``None`` before there is one."""
    head, h = last_head(connection), TreeHeadRow
    if head is None:
        return None
    at = connection.execute(sa.select(EntryRow.at).where(EntryRow.number == head.size)).scalar_one()
    heads, signed = connection.execute(sa.select(sa.func.count(), sa.func.count(h.signature)).select_from(h)).one()
    key = None if head.key is None else head.key.entry
    return BookProof(head.origin, head.size, at, head.note, key, heads, heads - signed)


@contextmanager
def one_state(engine: sa.Engine) -> Iterator[sa.Connection]:
    """Open a connection that sees one state of the book however long it looks.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book's engine. [unitless]
    """
    with engine.connect() as connection:
        if connection.dialect.name == "postgresql":
            connection.execution_options(isolation_level="REPEATABLE READ")
        yield connection


def leaf_of(connection: sa.Connection, entry: int) -> bytes | None:
    """Give the leaf hash of an entry."""
    found = connection.execute(sa.select(StatementRow.leaf).where(StatementRow.entry == entry)).scalar()
    return None if found is None else bytes(found)


def book_mark(connection: sa.Connection) -> str | None:
    """Give what names a book and every copy of it, and no other book: the leaf hash of its first entry, as hex; ``None`` before there is one."""
    first = leaf_of(connection, 1)
    return None if first is None else first.hex()


def root_of(connection: sa.Connection, size: int) -> bytes | None:
    """Give the root of the head of so many entries; ``None`` where none is kept of just so many."""
    found = connection.execute(sa.select(TreeHeadRow.root).where(TreeHeadRow.size == size)).scalar()
    return None if found is None else raw_bytes(found)


def unsealed(connection: sa.Connection) -> int:
    """Give the number of entries that have no statement: those of a book that an older version wrote."""
    entries = connection.execute(sa.select(sa.func.count()).select_from(EntryRow)).scalar_one()
    return entries - connection.execute(sa.select(sa.func.count()).select_from(StatementRow)).scalar_one()
