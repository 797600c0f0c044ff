"""Parts by site on PostgreSQL: made when a site is set up, or later by the owner of the tables.

A site needs no part of its own to be written to: its rows go to the part that
takes all others until it has one.  So the role that runs the book every day
needs no right to make tables.
"""

from __future__ import annotations

import logging
from collections.abc import Sequence
from dataclasses import dataclass

import sqlalchemy as sa

from models.errors import BookBusyError, DriftbookError, InvalidValueError
from models.store.unit import locked
from models.tables.book import SiteRow
from models.tables.partitions import PARTITIONED, make_partition, partition_name

LOG = logging.getLogger("driftbook.book")

AT_ONCE = 100_000
"""Entries whose rows are moved by one statement: the checks of their references are kept in memory until its end."""

_WAIT_S = 10
"""So long readers are waited for; whoever comes later waits behind us."""


@dataclass(frozen=True, slots=True)
class Parts:
    """What was done: sites that got parts of their own, and rows that were moved into them."""

    sites: tuple[int, ...]
    moved: int


def parts_of(connection: sa.Connection) -> frozenset[tuple[str, str]]:
    """Give the parts that are there: name of the whole table and of the part.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to a book on PostgreSQL. [unitless]
    """
    asked = (
        "SELECT p.relname, c.relname FROM pg_inherits i JOIN pg_class c ON c.oid = i.inhrelid "
        "JOIN pg_class p ON p.oid = i.inhparent WHERE p.relnamespace = quote_ident(current_schema())::regnamespace "
        "AND p.relkind = 'p'"
    )
    return frozenset((parent, name) for parent, name in connection.exec_driver_sql(asked))


def _lacking(connection: sa.Connection, table: str, there: frozenset[tuple[str, str]]) -> list[int]:
    sites = connection.scalars(sa.select(SiteRow.id).order_by(SiteRow.id))
    return [site for site in sites if (table, partition_name(table, site)) not in there]


def make_parts(connection: sa.Connection, sites: Sequence[int]) -> bool:
    """Make the parts of new sites, where the role may; no row of theirs may have been written yet.

    Where the role does not own the tables, or readers keep them for too long,
    nothing is made and nothing fails.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The transaction that sets the sites up; on SQLite there is nothing to do. [unitless]
    sites : sequence of int
        Numbers of the sites. [unitless]

    Returns
    -------
    bool
        Whether they were made.
    """
    if connection.dialect.name != "postgresql" or not sites:
        return False
    if not _owns(connection):
        LOG.info("Sites %s have no part of their own; its owner gives them one: driftbook partition", list(sites))
        return False
    try:
        with connection.begin_nested():
            _patience(connection)
            for site in sites:
                _make(connection, site)
    except (BookBusyError, sa.exc.DBAPIError) as fault:
        LOG.warning("Sites %s got no part of their own (%s); later: driftbook partition", list(sites), fault)
        return False
    return True


def settle(engine: sa.Engine) -> Parts:
    """Give every site a part of its own, and move the rows that wait for it; as the owner of the tables.

    One transaction under the writer's lock.  Nothing is deleted: the part that
    took the rows is put aside, copied, counted, and dropped whole.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book's engine, connected as the owner. [unitless]

    Raises
    ------
    InvalidValueError
        If the book is a file, or the role does not own the tables.
    BookBusyError
        If somebody reads for longer than is waited.
    """
    if engine.dialect.name != "postgresql":
        raise InvalidValueError(
            "A book in a file has no parts.", remedy="Nothing is to be done: only a book on PostgreSQL is cut by site."
        )
    with locked(engine) as connection:
        if not _owns(connection):
            role = connection.exec_driver_sql("SELECT current_user").scalar()
            raise InvalidValueError(
                f"The role {role} does not own the tables of the book.",
                remedy="Nothing was changed. Give the address with the name of the owner: --book postgresql://OWNER@HOST/NAME",
            )
        there = parts_of(connection)
        lacking = {table: _lacking(connection, table, there) for table in PARTITIONED}
        sites = sorted({site for some in lacking.values() for site in some})
        if not sites:
            return Parts((), 0)
        _patience(connection)
        connection.exec_driver_sql(f"LOCK TABLE {', '.join(PARTITIONED)} IN ACCESS EXCLUSIVE MODE")
        moved = sum(_cut(connection, table, some) for table, some in lacking.items() if some)
    with engine.connect() as connection, connection.begin():
        # The planner knows the parts by itself; the whole it only knows when it is asked to look.
        connection.exec_driver_sql(f"ANALYZE {', '.join(PARTITIONED)}")
    return Parts(tuple(sites), moved)


def _owns(connection: sa.Connection) -> bool:
    asked = sa.text(
        "SELECT bool_and(pg_has_role(relowner, 'USAGE')) AND has_schema_privilege(current_schema(), 'CREATE') "
        "FROM pg_class WHERE relnamespace = quote_ident(current_schema())::regnamespace AND relname = ANY(:tables)"
    )
    return bool(connection.execute(asked, {"tables": list(PARTITIONED)}).scalar())


def _patience(connection: sa.Connection) -> None:
    connection.exec_driver_sql(f"SET LOCAL lock_timeout = '{_WAIT_S}s'")


def _make(connection: sa.Connection, site: int | None, tables: Sequence[str] = PARTITIONED) -> None:
    for table in tables:
        for statement in make_partition(table, site):
            connection.exec_driver_sql(statement)
        owner = connection.exec_driver_sql(
            f"SELECT quote_ident(pg_get_userbyid(relowner)) FROM pg_class "  # noqa: S608 - our own names
            f"WHERE oid = '{table}'::regclass AND pg_get_userbyid(relowner) <> current_user"
        ).scalar()
        if owner is not None:
            connection.exec_driver_sql(f"ALTER TABLE {partition_name(table, site)} OWNER TO {owner}")


def _cut(connection: sa.Connection, table: str, sites: Sequence[int]) -> int:
    """Make the parts of a table and move into them what the part for all others holds of them."""
    rest, aside = partition_name(table, None), f"{table}_aside"
    if not connection.exec_driver_sql(f"SELECT EXISTS (SELECT 1 FROM {rest})").scalar():  # noqa: S608 - our own names
        for site in sites:
            _make(connection, site, [table])
        return 0
    before = _count(connection, table)
    connection.exec_driver_sql(f"ALTER TABLE {table} DETACH PARTITION {rest}")
    connection.exec_driver_sql(f"ALTER TABLE {rest} RENAME TO {aside}")
    for site in sites:
        _make(connection, site, [table])
    first, last = connection.exec_driver_sql(f"SELECT min(entry), max(entry) FROM {aside}").one()  # noqa: S608
    for start in range(first, last + 1, AT_ONCE):
        connection.exec_driver_sql(
            f"INSERT INTO {table} SELECT * FROM {aside} WHERE entry BETWEEN {start} AND {start + AT_ONCE - 1}"  # noqa: S608
        )
    moved = _count(connection, aside)
    connection.exec_driver_sql(f"DROP TABLE {aside}")
    _make(connection, None, [table])
    if _count(connection, table) != before:
        raise DriftbookError(
            f"Table {table}: not all of its {before} rows arrived in their parts.", remedy="Nothing was changed."
        )
    return moved


def _count(connection: sa.Connection, table: str) -> int:
    return int(connection.exec_driver_sql(f"SELECT count(*) FROM {table}").scalar_one())  # noqa: S608 - our own names
