"""Verification beside the stretches: rows of entries that are not there, and sign-offs."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Any

import sqlalchemy as sa

from models.errors import BookDamagedError, UndecodableTextError
from models.ledger.findings import Fault, Finding, Tally, shown
from models.store.sealing import BOUND, key_column
from models.tables.book import EntryRow, SiteRow
from models.tables.declared import aliased
from models.tables.jobs import JobRow
from models.tables.proofs import SignoffRow, StatementRow, TreeHeadRow
from models.values.kinds import Meaning

_AT_MOST = 50


def past_indexes(connection: sa.Connection) -> str:
    """Give what stands behind the name of a table so that SQLite reads the table itself: its indexes may be damaged alone.

    Rows are found by the number of their entry all the same, where that is their place in the table; where an entry has several
    rows, the whole table is read.
    """
    return " NOT INDEXED" if connection.dialect.name == "sqlite" else ""


def rows_alone(connection: sa.Connection, first: int, last: int) -> Iterator[Finding]:
    """Give rows that name an entry before the first or after the last one.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    first, last : int
        Numbers of the first and the last entry that are there. [unitless]
    """
    owners = [(mapped.__tablename__, key_column(mapped)) for mapped in BOUND if mapped is not SiteRow]
    past = past_indexes(connection)
    # One question for all tables: verification of a small book is mostly asking.
    asked = " UNION ALL ".join(
        f"SELECT * FROM (SELECT '{table}' AS of, {column} AS number FROM {table}{past} "  # noqa: S608
        f"WHERE {column} < {first} OR {column} > {last} ORDER BY {column} LIMIT {_AT_MOST}) AS of_{table}"
        for table, column in (*owners, (StatementRow.__tablename__, "entry"))
    )
    of = dict((*owners, (StatementRow.__tablename__, "entry")))
    for table, number in connection.exec_driver_sql(asked):
        yield Finding(Fault.ROW_ALONE, number, table, of[table], shown(number))


def cut_off(connection: sa.Connection, last: int) -> Iterator[Finding]:
    """Give the entries that are missing at the end, as far as statements are left of them."""
    upto = connection.execute(sa.select(sa.func.max(StatementRow.entry))).scalar()
    if upto is not None and upto > last:
        yield Finding(Fault.ENTRY_MISSING, last + 1, EntryRow.__tablename__, "number", said="statement", upto=upto)


def sites_alone(connection: sa.Connection, founded: dict[int, int]) -> Iterator[Finding]:
    """Give sites that no entry has set."""
    for number in connection.scalars(sa.select(SiteRow.id).order_by(SiteRow.id)):
        if number not in founded:
            yield Finding(Fault.ROW_ALONE, None, SiteRow.__tablename__, "id", shown(number))


def signoff_findings(connection: sa.Connection) -> Iterator[Finding]:
    """Give sign-offs that are bound to something else than what they stand under, or given by who wrote it."""
    own, signed = aliased(EntryRow), aliased(EntryRow)
    s = SignoffRow.__table__
    asked = (
        sa.select(
            s.c.entry, s.c.signed_entry, s.c.meaning, s.c.signed_leaf, StatementRow.leaf,
            own.author, own.site_id, signed.author.label("wrote"), signed.site_id.label("of_site"),
            sa.type_coerce(JobRow.people, sa.Text).label("people"),
        )
        .outerjoin(own, own.number == s.c.entry)
        .outerjoin(signed, signed.number == s.c.signed_entry)
        .outerjoin(StatementRow, StatementRow.entry == s.c.signed_entry)
        .outerjoin(JobRow, JobRow.entry == s.c.signed_entry)
        .order_by(s.c.entry)
    )  # fmt: skip
    for row in connection.execute(asked.execution_options(yield_per=2000)):
        yield from _of_signoff(row)


def _of_signoff(row: Any) -> Iterator[Finding]:
    table = SignoffRow.__tablename__
    there = isinstance(row.signed_entry, int) and row.signed_entry < row.entry
    if not there or row.wrote is None or row.of_site != row.site_id:
        yield Finding(Fault.REFERENCE, row.entry, table, "signed_entry", shown(row.signed_entry))
        return
    if row.leaf is not None and row.signed_leaf != row.leaf:
        yield Finding(Fault.SIGNOFF, row.entry, table, "signed_leaf", shown(row.signed_leaf), shown(row.leaf))
    if row.meaning not in set(Meaning):
        yield Finding(Fault.REFERENCE, row.entry, table, "meaning", shown(row.meaning))
    name = str(row.author).casefold()
    # The names of a job are canonical JSON: the quotes make a whole name of it.
    if name == str(row.wrote).casefold() or (row.people and f'"{name}"' in str(row.people).casefold()):
        yield Finding(Fault.SIGNED_BY_AUTHOR, row.entry, table, "entry", shown(row.author), shown(row.signed_entry))


def head_sizes(connection: sa.Connection) -> tuple[int | None, int | None]:
    """Give the sizes of the smallest and the largest kept head."""
    size = TreeHeadRow.size
    found = connection.execute(sa.select(sa.func.min(size), sa.func.max(size))).one()
    return found[0], found[1]


def add_what_can_be_read(tally: Tally, look: Callable[[], Iterable[Finding]]) -> None:
    """Take what a look beside the entries finds; where it meets a damaged page, that is what it finds.

    Parameters
    ----------
    tally : Tally
        Takes the findings. [unitless]
    look : callable
        Gives findings. [unitless]
    """
    try:
        tally.extend(look())
    except UndecodableTextError:
        raise  # it can be read, in another way
    except BookDamagedError as fault:
        told = Finding(Fault.UNREADABLE, found=fault.found)
        if told not in tally.kept:  # several looks meet one page
            tally.add(told)
