"""Sealing: the canonical texts of new entries, their leaves, and the head of the tree that covers them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from typing import Any

import sqlalchemy as sa

from models.ledger.canonical import RowForm, statement_text
from models.ledger.checkpoint import Checkpoint
from models.ledger.columns import Column, statement_texts
from models.ledger.tree import Frontier, frontier_of, leaf_hash
from models.store.signing import LOG, held_key
from models.tables.book import EntryRow, SiteRow, SiteVersionRow
from models.tables.every import MAPPED
from models.tables.proofs import BookKeyRow, StatementRow, TreeHeadRow

Values = Sequence[Any]

BOUND = tuple(mapped for mapped in MAPPED if mapped not in {EntryRow, StatementRow, TreeHeadRow})
"""Tables whose rows are bound by the entry that brought them: all but the entries themselves and the proofs."""


def key_column(mapped: Any) -> str:
    """Give the name of the column in which a table names the entry of a row; a site is bound by its first setting."""
    names = mapped.__table__.columns.keys()
    return "entry" if "entry" in names else "id"


@cache
def row_form(table: str) -> RowForm:
    """Give how the rows of a table are written, columns in the table's own order."""
    columns = EntryRow.metadata.tables[table].columns
    return RowForm(
        [column.name for column in columns],
        [column.name for column in columns if isinstance(column.type, sa.Boolean)],
    )


def seal(entries: Sequence[Values], rows: Mapping[str, Sequence[Values]]) -> list[tuple[int, int, str, bytes]]:
    """Write the statement of each entry, with the rows that belong to it.

    Parameters
    ----------
    entries : sequence of sequence
        Lines of entries, values in the order of the columns. [as stored]
    rows : mapping of str to sequence of sequence
        Rows by table, values in the order of the columns; each belongs to one of the entries. [as stored]

    Returns
    -------
    list of tuple
        Rows of ``statement``: entry, site, canonical text, leaf hash.

    Raises
    ------
    LookupError
        If a row belongs to none of the entries.
    """
    written: dict[int, dict[str, list[str]]] = {entry[0]: {} for entry in entries}
    # A site is no entry's row: the entry that sets it for the first time binds it.
    founded: dict[int, int] = {}
    for setting in rows.get(SiteVersionRow.__tablename__, ()):
        founded.setdefault(setting[1], setting[0])
    for table, brought in rows.items():
        form, of_site = row_form(table), table == SiteRow.__tablename__
        for row in brought:
            owner = founded.get(row[0], 0) if of_site else row[0]
            place = written.get(owner)
            if place is None:
                raise LookupError(f"a row of {table} belongs to entry {owner}, which is not written with it")
            place.setdefault(table, []).append(form.text(row))
    form, sealed = row_form("entry"), []
    for entry in entries:
        said = statement_text(form, entry, written[entry[0]])
        sealed.append((entry[0], entry[1], said, leaf_hash(said.encode())))
    return sealed


def seal_columns(
    rows: int, entry: Sequence[Column], table: str, columns: Sequence[Column]
) -> tuple[list[str], list[bytes]]:
    """Write the statements of many entries of which each brought one row of one table: what :func:`seal` gives, at once.

    Parameters
    ----------
    rows : int
        Number of entries. [unitless]
    entry : sequence of Column
        Columns of their own lines. [as stored]
    table : str
        Table of the rows. [unitless]
    columns : sequence of Column
        Columns of the rows. [as stored]

    Returns
    -------
    tuple of list of str and list of bytes
        Canonical texts and leaf hashes.
    """
    said = statement_texts(rows, (row_form("entry"), entry), table, (row_form(table), columns))
    return said, [leaf_hash(text.encode()) for text in said]


def read_bound(
    connection: sa.Connection, first: int, last: int
) -> tuple[list[tuple[Any, ...]], dict[str, list[tuple[Any, ...]]]]:
    """Read entries and all rows that they bind, just as the database holds them.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    first, last : int
        Numbers of the first and the last entry. [unitless]

    Returns
    -------
    tuple
        Lines of the entries in order of number, and rows by table: what :func:`seal` takes.
    """
    rows = {
        mapped.__tablename__: _stored(connection, mapped, key_column(mapped), first, last)
        for mapped in BOUND
        if mapped is not SiteRow
    }
    setting = SiteVersionRow
    founding = sa.select(setting.site_id).group_by(setting.site_id)
    new = founding.having(sa.func.min(setting.entry).between(first, last))
    sites = [row for site in sorted(connection.scalars(new)) for row in _stored(connection, SiteRow, "id", site, site)]
    return _stored(connection, EntryRow, "number", first, last), {**rows, SiteRow.__tablename__: sites}


def _stored(connection: sa.Connection, mapped: Any, key: str, first: int, last: int) -> list[tuple[Any, ...]]:
    table: sa.Table = mapped.__table__
    # Typed as nothing at all, so that no value is turned into something else on its way.
    columns = [sa.type_coerce(column, sa.types.NullType()).label(column.name) for column in table.columns]
    asked = sa.select(*columns).where(table.c[key].between(first, last)).order_by(table.c[key])
    return [tuple(row) for row in connection.execute(asked)]


def write_head(connection: sa.Connection, first: int, leaves: Iterable[bytes]) -> int | None:
    """Keep the head of the tree after new entries, signed where the key of the book can be read.

    A key that is lost must not keep anybody from recording: the head is then
    kept without a signature, and verification says so.  Entries that no head
    covers get one without a signature first: a signature over them must not
    hide that nobody vouched for them before.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The transaction that wrote the entries. [unitless]
    first : int
        Number of the first new entry. [unitless]
    leaves : iterable of bytes
        Leaf hashes of the new entries, in order. [unitless]

    Returns
    -------
    int or None
        Size of the tree that the head covers; ``None`` if entries before have no statement yet,
        so that no tree can be made ('driftbook upgrade' makes them).
    """
    kept = _last_head(connection)
    frontier = Frontier() if kept is None else frontier_of(kept.size, kept.frontier)
    bare = frontier.size < first - 1
    if bare:
        s = StatementRow
        between = sa.select(s.leaf).where(s.entry > frontier.size, s.entry < first).order_by(s.entry)
        frontier.extend(connection.scalars(between))
    if frontier.size != first - 1:
        return None
    if bare:
        # Each commit leaves a head, so these entries are of nobody's commit: without a mark the next signature would hide that.
        _keep(connection, frontier, None, None)
    frontier.extend(leaves)
    key_entry, signature = _signed(connection, frontier.size, frontier.root())
    _keep(connection, frontier, key_entry, signature)
    if signature is not None and (bare or (kept is not None and kept.signature is None)):
        _tell_resumed(connection, first - 1)
    return frontier.size


def _keep(connection: sa.Connection, frontier: Frontier, key_entry: int | None, signature: bytes | None) -> None:
    connection.execute(
        sa.insert(TreeHeadRow).values(
            size=frontier.size,
            root=frontier.root(),
            frontier=frontier.to_bytes(),
            key_entry=key_entry,
            signature=signature,
        )
    )


def _tell_resumed(connection: sa.Connection, upto: int) -> None:
    """Log that a head is signed over entries that lie under none that is; before the first key nobody could sign."""
    head, key = TreeHeadRow, BookKeyRow
    since = connection.execute(sa.select(sa.func.min(key.entry))).scalar()
    if since is None or since > upto:
        return
    signed = sa.select(sa.func.max(head.size)).where(head.signature.is_not(None), head.size <= upto)
    LOG.warning(
        "Heads of the book are signed again, over entries %d to %d, which lie under no signed head: whoever held the database could have "
        "written them anew without the key. Hold the book against a head that is kept elsewhere: driftbook verify --against FILE",
        (connection.execute(signed).scalar() or 0) + 1,
        upto,
    )


def last_frontier(connection: sa.Connection) -> Frontier:
    """Give the tree as the last kept head has it; an empty one before the first."""
    kept = _last_head(connection)
    return Frontier() if kept is None else frontier_of(kept.size, kept.frontier)


def _last_head(connection: sa.Connection) -> sa.Row[int, bytes, bytes | None] | None:
    head = TreeHeadRow
    asked = sa.select(head.size, head.frontier, head.signature).order_by(head.size.desc()).limit(1)
    return connection.execute(asked).first()


def _signed(connection: sa.Connection, size: int, root: bytes) -> tuple[int | None, bytes | None]:
    held = held_key(connection)
    if held is None or held.signer is None:
        return None, None
    return held.entry, held.signer.sign(Checkpoint(held.origin, size, root).body.encode())
