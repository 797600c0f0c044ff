"""The statements of entries that have none, because an older version wrote them."""

from __future__ import annotations

import sqlalchemy as sa

from models.store.sealing import last_frontier, read_bound, seal, write_head
from models.store.unit import insert_statement
from models.tables.book import EntryRow
from models.tables.proofs import StatementRow

AT_ONCE = 5_000
"""Entries that are read at a time."""


def seal_missing(connection: sa.Connection) -> int:
    """Make the statements that are missing and the head over them; give their number.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The transaction of the one writer. [unitless]
    """
    e, s = EntryRow, StatementRow
    last = connection.execute(sa.select(sa.func.max(e.number))).scalar() or 0
    first = (connection.execute(sa.select(sa.func.max(s.entry))).scalar() or 0) + 1
    if first > last:
        return 0
    text = insert_statement(StatementRow, connection.dialect)
    leaves: list[bytes] = []
    for start in range(first, last + 1, AT_ONCE):
        rows = seal(*read_bound(connection, start, min(start + AT_ONCE - 1, last)))
        connection.exec_driver_sql(text, rows)
        leaves += [row[3] for row in rows]
    if last_frontier(connection).size < last:
        write_head(connection, first, leaves)
    return len(leaves)
