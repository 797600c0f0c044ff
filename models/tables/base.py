"""What all classes of tables share: names of constraints, and the types of the columns."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from typing import Any

import sqlalchemy as sa

from models.tables.declared import TableClass

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)

NAMING = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}
"""Every constraint has a name: SQLite can only drop what is named."""


class Base(TableClass):
    """Base of the classes of tables."""

    metadata = sa.MetaData(naming_convention=NAMING)

    @classmethod
    def names(cls) -> list[str]:
        """Give the names of the columns in the order of the table."""
        return [column.name for column in cls.__table__.columns]


def some_rows(name: str, *columns: str, where: str, unique: bool = False) -> sa.Index:
    """Give an index over some rows of a table, on either engine.

    The condition is told to SQLite's dialect only, and kept for PostgreSQL's, which is loaded
    where such a book is opened: what a table says of it would load it for everybody.

    Parameters
    ----------
    name : str
        Its name. [unitless]
    columns : str
        Its columns. [unitless]
    where : str
        The condition, in SQL. [unitless]
    unique : bool
        Whether each key comes once among these rows. [unitless]
    """
    return sa.Index(name, *columns, unique=unique, sqlite_where=sa.text(where), info={"where": where})


def to_microseconds(moment: datetime) -> int:
    """Give the microseconds since 1970 in UTC; exact, unlike ``timestamp()``.

    Raises
    ------
    ValueError
        If the moment has no zone.
    """
    if moment.tzinfo is None:
        raise ValueError("A moment without a zone cannot be stored.")
    return (moment - EPOCH) // _MICROSECOND


def from_microseconds(value: int) -> datetime:
    """Give the moment in UTC; the inverse of :func:`to_microseconds`."""
    return EPOCH + value * _MICROSECOND


class Instant(sa.TypeDecorator[datetime]):
    """A moment, stored as whole microseconds since 1970 in UTC.

    An integer is the same bytes on both engines, sorts, and is read into a
    column without parsing; SQLite's own date type would drop the zone.
    """

    impl = sa.BigInteger
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: sa.Dialect) -> int | None:
        """Store an aware moment."""
        del dialect
        return None if value is None else to_microseconds(value)

    def process_result_value(self, value: int | None, dialect: sa.Dialect) -> datetime | None:
        """Give back an aware moment in UTC."""
        del dialect
        return None if value is None else from_microseconds(value)


class Day(sa.TypeDecorator[date]):
    """A calendar day, stored as text ``2026-11-25``: the same on both engines, readable by itself."""

    impl = sa.String(10)
    cache_ok = True

    def process_bind_param(self, value: date | None, dialect: sa.Dialect) -> str | None:
        """Store the day in ISO form."""
        del dialect
        return None if value is None else value.isoformat()

    def process_result_value(self, value: str | None, dialect: sa.Dialect) -> date | None:
        """Give back the day."""
        del dialect
        return None if value is None else date.fromisoformat(value)


_ENCODER = json.JSONEncoder(ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False)


def canonical_json(value: Any) -> str:
    """Write a value as JSON in one form: keys in order, no blanks, no NaN, text unescaped."""
    return _ENCODER.encode(value)


class Json(sa.TypeDecorator[Any]):
    """A small structure (foot values, names, typed texts), stored as canonical JSON text.

    Text and not a database's own JSON type, because its bytes must stay as
    they were written.
    """

    impl = sa.Text
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: sa.Dialect) -> str | None:
        """Store the canonical text."""
        del dialect
        return None if value is None else canonical_json(value)

    def process_result_value(self, value: str | None, dialect: sa.Dialect) -> Any:
        """Give back the structure."""
        del dialect
        return None if value is None else json.loads(value)
