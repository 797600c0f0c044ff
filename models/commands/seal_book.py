"""Seal what an older version wrote: the statements of entries that have none, and the first head over them."""

from __future__ import annotations

from datetime import datetime

import sqlalchemy as sa

from models.commands.set_key import set_key
from models.settings import Settings
from models.store.engine import make_engine
from models.store.proofs import key_in_force
from models.store.sealing import last_frontier, read_bound, seal, write_head
from models.store.unit import insert_statement, locked
from models.tables.book import EntryRow, SiteRow
from models.tables.proofs import StatementRow

AT_ONCE = 5_000
"""Entries that are read at a time."""


def seal_book(settings: Settings, *, by: str, now: datetime) -> int:
    """Make the statements that are missing, in one transaction, and set a key where the book has none.

    What it makes binds what the book says now; it cannot tell whether
    something was changed before.

    Parameters
    ----------
    settings : Settings
        Where the book and its key are. [unitless]
    by : str
        Who does it. [unitless]
    now : datetime
        Aware moment. [unitless]

    Returns
    -------
    int
        Number of entries that were sealed.
    """
    engine = make_engine(settings)
    try:
        with locked(engine) as connection:
            sealed = _seal(connection)
        with engine.connect() as connection:
            held = key_in_force(connection)
            site_id = connection.execute(sa.select(sa.func.min(SiteRow.id))).scalar()
        if held is None and site_id is not None:
            set_key(settings, site_id, by=by, now=now, why="")
        return sealed
    finally:
        engine.dispose()


def _seal(connection: sa.Connection) -> int:
    e, s = EntryRow, StatementRow
    last = connection.execute(sa.select(sa.func.max(e.number))).scalar() or 0
    first = (connection.execute(sa.select(sa.func.max(s.entry))).scalar() or 0) + 1
    if first > last:
        return 0
    text = insert_statement(StatementRow.__table__, connection.dialect)
    leaves: list[bytes] = []
    for start in range(first, last + 1, AT_ONCE):
        rows = seal(*read_bound(connection, start, min(start + AT_ONCE - 1, last)))
        connection.exec_driver_sql(text, rows)
        leaves += [row[3] for row in rows]
    if last_frontier(connection).size < last:
        write_head(connection, first, leaves)
    return len(leaves)
