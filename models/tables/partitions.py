"""The two long tables on PostgreSQL: cut by site, so that a question about one site touches that site's rows only.

On SQLite nothing of this holds.  On PostgreSQL the key of a cut table has to
hold the site, so ``entry`` alone is no longer unique by itself; it stays so
because a row points to an entry *of its own site*, and entries are not cut
(their numbers run through all sites).  The same holds for what a job
supersedes.  What entries and the cut tables point to is looked up by
:mod:`models.tables.references`.
"""

from __future__ import annotations

import re
from functools import cache

import sqlalchemy as sa
from sqlalchemy.schema import conv

from models.tables import references
from models.tables.base import NAMING
from models.tables.every import metadata
from models.tables.jobs import JobRow
from models.tables.proofs import StatementRow

PARTITIONED = tuple(mapped.__tablename__ for mapped in (JobRow, StatementRow))
"""Tables that are cut by site on PostgreSQL."""

_NAME = re.compile(rf"({'|'.join(PARTITIONED)})_(default|site_[0-9]+)")


def partition_name(table: str, site_id: int | None) -> str:
    """Give the name of a table's part for one site; without a site of the part that takes what has no part of its own."""
    return f"{table}_default" if site_id is None else f"{table}_site_{site_id:d}"


def is_partition(name: str | None) -> bool:
    """Tell whether a table is a part of one that is cut by site."""
    return name is not None and _NAME.fullmatch(name) is not None


def make_partition(table: str, site_id: int | None) -> tuple[str, ...]:
    """Give the statements that make a part, with a guard of its own and a look of its own at what its rows point to.

    Triggers of the whole table speak for statements that name the whole table
    only; who names the part must be refused there.

    Parameters
    ----------
    table : str
        One of :data:`PARTITIONED`. [unitless]
    site_id : int or None
        The site; ``None`` for the part that takes all others. [unitless]
    """
    name = partition_name(table, site_id)
    values = "DEFAULT" if site_id is None else f"FOR VALUES IN ({site_id:d})"
    guard = f"guard_{name} BEFORE UPDATE OR DELETE OR TRUNCATE ON {name}"
    return (
        f"CREATE TABLE {name} PARTITION OF {table} {values}",
        f"CREATE TRIGGER {guard} FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()",
        references.trigger(table, name),
    )


@cache
def on_postgresql() -> sa.MetaData:
    """Give all tables as they are on PostgreSQL; what the classes say, but for the two that are cut."""
    made = sa.MetaData(naming_convention=NAMING)
    for table in metadata.sorted_tables:
        if table.name in references.POINTERS:
            _long(table, made)
        else:
            table.to_metadata(made)
    made.tables["entry"].append_constraint(sa.UniqueConstraint("number", "site_id"))
    sa.event.listen(made, "after_create", _make_references)
    return made


def _make_references(_made: sa.MetaData, connection: sa.Connection, **_given: object) -> None:
    schema = connection.execute(sa.text("SELECT quote_ident(current_schema())")).scalar_one()
    for table in references.POINTERS:
        connection.execute(sa.text(references.function(table, schema)))
        connection.execute(sa.text(references.trigger(table)))


def _long(table: sa.Table, made: sa.MetaData) -> None:
    """Make a long table: cut or not, and without keys that are looked up row by row."""
    cut = table.name in PARTITIONED
    told = {pointer.column: pointer.meaning for pointer in references.POINTERS[table.name]}
    columns = [
        sa.Column(c.name, c.type, nullable=c.nullable, autoincrement=False, comment=told.get(c.name))
        for c in table.columns
    ]
    key = [column.name for column in table.primary_key.columns]
    rules: list[sa.Constraint] = [sa.PrimaryKeyConstraint(*key, *(["site_id"] if cut else []))]
    rules += [
        sa.CheckConstraint(constraint.sqltext, name=conv(str(constraint.name)))
        for constraint in table.constraints
        if isinstance(constraint, sa.CheckConstraint)
    ]
    by = "LIST (site_id)" if cut else None
    new = sa.Table(table.name, made, *columns, *rules, postgresql_partition_by=by)
    for index in table.indexes:
        names = [column.name for column in index.columns]
        if cut and index.unique and "site_id" not in names:
            names.append("site_id")
        where = sa.text(index.info["where"]) if "where" in index.info else None
        sa.Index(index.name, *(new.c[name] for name in names), unique=index.unique, postgresql_where=where)
