"""Proofs over the tree of the book: statements, kept heads, and the hashes that lead from one to the other.

The tree is kept in memory as the hashes of its full subtrees, 64 bytes an
entry, and only newer leaves are read: the first proof reads all of them, every
later one a few dozen hashes.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable

import sqlalchemy as sa

from models.errors import AlteredBookError
from models.ledger.proofs import Tree
from models.store.proofs import Head, read_heads
from models.tables.book import EntryRow
from models.tables.proofs import StatementRow

_MOST = 2**53


def statement_of(connection: sa.Connection, entry: int) -> tuple[str, bytes] | None:
    """Give the canonical text of an entry and its leaf hash; ``None`` where it was never sealed."""
    s = StatementRow
    site = connection.execute(sa.select(EntryRow.site_id).where(EntryRow.number == entry)).scalar()
    row = connection.execute(sa.select(s.said, s.leaf).where(s.site_id == site, s.entry == entry)).first()
    return None if row is None else (row[0], bytes(row[1]))


def newest_heads(connection: sa.Connection, most: int, before: int | None = None) -> tuple[Head, ...]:
    """Give kept heads, the newest first; ``before`` leaves out those of larger trees."""
    return read_heads(connection, last=most, before=before)


def head_of(connection: sa.Connection, size: int | None) -> Head | None:
    """Give the kept head of a size, the newest one where none is named; ``None`` where there is none."""
    bound = None if size is None else min(size, _MOST) + 1
    found = next(iter(read_heads(connection, last=1, before=bound)), None)
    return found if found is None or size is None or found.size == size else None


class KeptTree:
    """The tree of one book in memory; safe for several threads."""

    def __init__(self) -> None:
        self._tree = Tree()
        self._lock = threading.Lock()

    def inclusion(self, connection: sa.Connection, entry: int, head: Head) -> tuple[bytes, list[bytes]]:
        """Give the leaf of an entry and the proof that it is in the tree of a head.

        Parameters
        ----------
        connection : sqlalchemy.Connection
            A connection to the book. [unitless]
        entry : int
            Number of the entry. [unitless]
        head : Head
            A kept head that covers it. [unitless]

        Raises
        ------
        AlteredBookError
            If the leaves do not give the root of the head.
        """
        with self._lock:
            self._fit(connection, head)
            held = statement_of(connection, entry)
            if held is None:
                raise _altered(head)
            return held[1], self._tree.inclusion(entry - 1, head.size)

    def consistency(self, connection: sa.Connection, older: Head, newer: Head) -> list[bytes]:
        """Give the proof that an older head is the beginning of a newer one.

        Parameters
        ----------
        connection : sqlalchemy.Connection
            A connection to the book. [unitless]
        older, newer : Head
            Both heads. [unitless]

        Raises
        ------
        AlteredBookError
            If the leaves do not give the root of either head.
        """
        with self._lock:
            self._fit(connection, newer)
            self._fit(connection, older)
            return self._tree.consistency(older.size, newer.size)

    def leaves(self, connection: sa.Connection, head: Head, entries: Iterable[int]) -> dict[int, bytes]:
        """Give the leaves of some entries as the tree of a head has them.

        Parameters
        ----------
        connection : sqlalchemy.Connection
            A connection to the book. [unitless]
        head : Head
            A kept head that covers them. [unitless]
        entries : iterable of int
            Their numbers. [unitless]

        Raises
        ------
        AlteredBookError
            If the leaves do not give the root of the head.
        """
        with self._lock:
            self._fit(connection, head)
            return {entry: self._tree.leaf(entry - 1) for entry in entries}

    def _fit(self, connection: sa.Connection, head: Head) -> None:
        """Read what is newer, and hold the tree against the head; read all of it once more before saying that it does not fit."""
        for fresh in (False, True):
            if fresh:
                self._tree = Tree()
            s = StatementRow
            between = sa.select(s.leaf).where(s.entry > len(self._tree), s.entry <= head.size).order_by(s.entry)
            self._tree.extend(bytes(leaf) for leaf in connection.scalars(between))
            if len(self._tree) >= head.size and self._tree.root(head.size) == head.root:
                return
        raise _altered(head)


def _altered(head: Head) -> AlteredBookError:
    return AlteredBookError(
        f"The entries do not give the head of {head.size} entries that was kept: the book was altered.",
        remedy="'driftbook verify' says where.",
    )
