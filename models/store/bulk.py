"""Many rows in one transaction: what is looked at row by row is put aside, and is back before the transaction ends.

On SQLite the guards against replacing a row cost more than writing it, and an
index whose keys come in no order costs more than one made of all of them.  A
plain INSERT cannot replace anything (a key that is there is refused by the table
itself), so for the length of one transaction the guards of the large tables are
taken away and put back as they were, word for word, and so are their indexes where
most of what they will hold is new.  A unique index that is made at the end refuses
what it would have refused row by row.  Readers see the book as it was before, with
guards and indexes; a transaction that does not end has never touched them.

On PostgreSQL guards look at statements, not rows, COPY takes many rows at once, and what the
rows of the large tables point to is looked up for all of them (:mod:`models.tables.references`).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from typing import TYPE_CHECKING, Any, Final

from models.ledger.columns import Column, Each, Same
from models.store.copy_text import copy_lines, row_line

if TYPE_CHECKING:
    import sqlalchemy as sa

    from models.store.copy_in import Beside
    from models.tables.base import Base

LARGE: Final = ("entry", "job", "statement")
"""Tables that get a row for each row of a large file."""

MANY: Final = 5_000
"""From how many expected rows on it is worth while; below that the book is written as always."""

_ASKED: Final = {"uq_job_site_id_ref", "ix_job_asset_id_performed_us", "uq_job_supersedes"}
"""Indexes by which an import asks which job numbers and which visits the book holds, chunk by chunk."""

_LITERAL: Final = 1_000
"""Length of a text from which on it is bound: a statement may be a million characters long and no longer."""

_TOGETHER: Final = 1_000
"""Rows that are handed to the driver as one text: it waits for the line after each."""

COPY_FROM: Final = 50
"""From how many rows on PostgreSQL takes them by COPY."""


class PutAside:
    """Guards and indexes of the large tables of a SQLite book while many rows go in.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The transaction that writes. [unitless]
    rows : int
        Rows that are expected. [unitless]
    held : int
        Entries that the book holds. [unitless]
    """

    def __init__(self, connection: sa.Connection, rows: int, held: int) -> None:
        self._connection = connection
        kinds = ("trigger", "index") if rows > held / 2 else ("trigger",)
        asked = (
            "SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL AND tbl_name IN (?, ?, ?) ORDER BY rowid"
        )
        every = connection.exec_driver_sql(asked, LARGE).all()
        # Whoever asks what the book holds needs the indexes for it all the time; a book without jobs is not asked.
        has_jobs = connection.exec_driver_sql("SELECT 1 FROM job LIMIT 1").first() is not None
        chosen = [
            (kind, str(name), str(sql))
            for kind, name, sql in every
            if kind in kinds and not (has_jobs and name in _ASKED)
        ]
        self._made = [sql for kind, name, sql in chosen if kind == "index" or name == f"guard_{_table(name)}_replace"]
        for kind, name, sql in chosen:
            if sql in self._made:
                connection.exec_driver_sql(f'DROP {kind} "{name}"')

    def put_back(self) -> None:
        """Make everything again as it was.

        Raises
        ------
        sqlalchemy.exc.IntegrityError
            If two rows have a key that only one may have.
        """
        for sql in self._made:
            self._connection.exec_driver_sql(sql)


def _table(guard: str) -> str:
    return guard.removeprefix("guard_").removesuffix("_replace")


def plan_again(connection: sa.Connection) -> None:
    """Let PostgreSQL forget how it looks up what new rows point to.

    It keeps for a session the way that it found when the book was small, and that may be to
    go through a whole table: with each row of a large import it would take longer.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The transaction that writes. [unitless]
    """
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql("DISCARD PLANS")


def put_columns(
    connection: sa.Connection, table: type[Base], columns: Sequence[Column], rows: int, beside: Beside | None = None
) -> None:
    """Insert many rows that are given as columns in the order of the table.

    SQLite takes what is the same in all rows as part of the statement, and a column that
    is there twice once: binding a value costs as much as storing it.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The transaction that writes. [unitless]
    table : type
        Description of the table. [unitless]
    columns : sequence of Column
        Its columns. [as stored]
    rows : int
        Number of rows. [unitless]
    beside : Beside, optional
        Who sends rows to PostgreSQL meanwhile. [unitless]
    """
    names = table.names()
    if connection.dialect.name == "postgresql":
        from models.store.copy_in import copy_in  # with a thread and the driver: only where rows are copied

        copy_in(connection, table.__tablename__, names, _texts(copy_lines(names, columns, rows)), beside)
        return
    marks: list[str] = []
    bound: dict[int, tuple[int, Iterable[Any]]] = {}
    for column in columns:
        literal = _literal(column.value) if isinstance(column, Same) else None
        if literal is None:
            key = id(column.values if isinstance(column, Each) else column)
            if key not in bound:
                bound[key] = (len(bound) + 1, column.stored(rows))
            literal = f"?{bound[key][0]}"
        marks.append(literal)
    statement = f"INSERT INTO {table.__tablename__} ({', '.join(names)}) VALUES ({', '.join(marks)})"  # noqa: S608 - our own names
    connection.exec_driver_sql(statement, list(zip(*(taken for _, taken in bound.values()), strict=False)))


def _literal(value: object) -> str | None:
    """Write a value as a literal of SQLite; ``None`` for one that is better bound."""
    if value is None:
        return "NULL"
    if isinstance(value, bool):
        return str(int(value))
    if isinstance(value, int):
        return str(int(value))
    if (
        isinstance(value, float) and value == 0.0
    ):  # of other numbers the binary digits are certain only when they are bound
        return "0.0"
    if isinstance(value, str) and len(value) < _LITERAL and "\x00" not in value:
        return "'" + value.replace("'", "''") + "'"
    return None


def put_in(
    connection: sa.Connection,
    table: str,
    statement: str,
    rows: Sequence[Sequence[Any]],
    beside: Beside | None = None,
) -> None:
    """Insert rows: by COPY where PostgreSQL gets many of them, by the statement otherwise.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The transaction that writes. [unitless]
    table : str
        Name of the table. [unitless]
    statement : str
        The INSERT for all its columns. [unitless]
    rows : sequence of sequence
        Values in the order of the columns. [as stored]
    beside : Beside, optional
        Who sends rows to PostgreSQL meanwhile. [unitless]
    """
    if connection.dialect.name != "postgresql" or len(rows) < COPY_FROM:
        connection.exec_driver_sql(statement, list(rows))
        return
    put_rows(connection, table, statement.partition("(")[2].partition(")")[0].split(", "), rows, beside)


def put_rows(
    connection: sa.Connection,
    table: str,
    columns: Sequence[str],
    rows: Iterable[Sequence[Any]],
    beside: Beside | None = None,
) -> None:
    """Insert many rows into a book on PostgreSQL by COPY.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The transaction that writes. [unitless]
    table : str
        Name of the table. [unitless]
    columns : sequence of str
        Names of the columns. [unitless]
    rows : iterable of sequence
        Values in that order. [as stored]
    beside : Beside, optional
        Who sends them meanwhile. [unitless]
    """
    from models.store.copy_in import copy_in

    copy_in(connection, table, columns, _texts(map(row_line, rows)), beside)


def _texts(lines: Iterable[str]) -> Iterator[str]:
    """Put lines together for the driver."""
    source = iter(lines)
    while text := "".join(islice(source, _TOGETHER)):
        yield text
