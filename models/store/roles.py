"""What a PostgreSQL role needs to work with a book: to add to history, never to change it.

The triggers refuse a change already; a role that has no right to UPDATE or
DELETE cannot take the triggers away either, for that takes the owner of the
tables.  The owner makes and upgrades the book, the role of this file runs it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import replace

import sqlalchemy as sa
from sqlalchemy.dialects.postgresql import ARRAY

from models.errors import BookCrowdedError, BookReadOnlyError, DriftbookError, InvalidValueError
from models.store.copying import table_of
from models.store.readiness import Readiness
from models.tables.every import MAPPED, STATE
from models.tables.state import SignInRow

_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_$-]{0,62}")

_GROWS = tuple(table_of(mapped).name for mapped in (*MAPPED, SignInRow))
_CHANGES = tuple(table_of(mapped).name for mapped in STATE if mapped is not SignInRow)


PUBLIC = "public"
"""The schema in which the tables lie unless the owner's search_path begins with another."""


def schema_of(engine: sa.Engine) -> str:
    """Give the schema in which the tables of a book lie; of a book in a file that of a server as it comes.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book's engine. [unitless]
    """
    if engine.dialect.name != "postgresql":
        return PUBLIC
    with engine.connect() as connection:
        found = connection.exec_driver_sql(
            "SELECT n.nspname FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace WHERE c.oid = to_regclass('alembic_version')"
        ).scalar()
    return PUBLIC if found is None else str(found)


def grants(role: str, *, reads_only: bool = False, schema: str = PUBLIC) -> Iterator[str]:
    """Give the statements, to be run by the owner of the tables.

    Parameters
    ----------
    role : str
        Name of a role that is there. [unitless]
    reads_only : bool
        Give the right to read history only: no writing, and no look at secrets and sessions. [unitless]
    schema : str
        Where the tables lie, see :func:`schema_of`. [unitless]

    Raises
    ------
    InvalidValueError
        If it is no name of a role.
    """
    if not _NAME.fullmatch(role):
        raise InvalidValueError(
            f"'{role}' is not taken as the name of a role.", remedy="Letters, digits, _, - and $ are; a letter first."
        )
    doubled = schema.replace('"', '""')
    name, place = f'"{role}"', schema if schema == PUBLIC else f'"{doubled}"'
    yield f"REVOKE ALL ON ALL TABLES IN SCHEMA {place} FROM {name};"
    yield f"GRANT USAGE ON SCHEMA {place} TO {name};"
    yield f"GRANT SELECT ON {place}.alembic_version TO {name};"
    if reads_only:
        yield f"GRANT SELECT ON {_listed(place, [table_of(mapped).name for mapped in MAPPED])} TO {name};"
        return
    yield f"GRANT SELECT, INSERT ON {_listed(place, _GROWS)} TO {name};"
    yield f"GRANT SELECT, INSERT, UPDATE, DELETE ON {_listed(place, _CHANGES)} TO {name};"
    yield f"GRANT USAGE, SELECT ON ALL SEQUENCES IN SCHEMA {place} TO {name};"


def _listed(schema: str, tables: Iterable[str]) -> str:
    return ", ".join(f"{schema}.{table}" for table in tables)


def within_rights(engine: sa.Engine, found: Readiness) -> Readiness:
    """Give what was found of a book, and as not writable where the role of its server may not add to every table.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book's engine. [unitless]
    found : Readiness
        What was found without a look at rights. [unitless]

    Raises
    ------
    BookCrowdedError, sqlalchemy.exc.TimeoutError
        If no connection to it is to be had.
    """
    if engine.dialect.name != "postgresql" or not found.writable:
        return found
    named = sa.func.unnest(sa.cast(sa.literal([*_GROWS, *_CHANGES]), ARRAY(sa.Text))).column_valued("named")
    # A table that is not there is the revision's matter: its name gives NULL, which counts for nothing.
    may = sa.select(sa.func.bool_and(sa.func.has_table_privilege(sa.func.to_regclass(named), "INSERT")))
    try:
        with engine.connect() as connection:
            return found if connection.execute(may).scalar() else replace(found, writable=False)
    except (BookCrowdedError, sa.exc.TimeoutError):
        raise
    except (sa.exc.SQLAlchemyError, DriftbookError):
        return Readiness(reachable=False, right_revision=False, writable=False)


def give(engine: sa.Engine, statements: Iterable[str]) -> None:
    """Run the statements in one transaction, as the owner of the tables.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book's engine, connected as the owner. [unitless]
    statements : iterable of str
        What :func:`grants` gave. [unitless]

    Raises
    ------
    InvalidValueError
        If the book is a file, or there is no such role.
    BookReadOnlyError
        If the role of the connection does not own the tables.
    """
    if engine.dialect.name != "postgresql":
        raise InvalidValueError(
            "A book in a file has no roles.",
            remedy="Its rights are those of the file: let only its user read and write it.",
        )
    try:
        with engine.begin() as connection:
            for statement in statements:
                connection.exec_driver_sql(statement.replace("%", "%%"))  # the driver's own mark; a schema may bear it
    except BookReadOnlyError as fault:
        if getattr(fault.__cause__, "sqlstate", "") != "42501":
            raise
        raise BookReadOnlyError(
            fault.message,
            remedy="Nothing was changed. Rights are given by the owner of the tables, not by the role of the server. "
            "Give the address with the name of the owner: --book postgresql://OWNER@HOST/NAME",
        ) from fault
    except sa.exc.ProgrammingError as fault:
        raise InvalidValueError(
            f"The database refuses it: {str(fault.orig).splitlines()[0]}.",
            remedy="Make the role first: CREATE ROLE NAME LOGIN.",
        ) from fault
