"""The triggers that make history append-only, on both engines.

A revision that rebuilds a table on SQLite loses the table's triggers without
a word, so every revision that touches a guarded table calls :func:`drop`
before and :func:`create` after.  A test compares the triggers after every
migration, up and down.
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

_REFUSAL = "is history: it is amended by a new entry, never changed or deleted"

_FUNCTION = f"""
CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '% {_REFUSAL}', TG_TABLE_NAME USING ERRCODE = 'restrict_violation';
END $$
"""


def create_function() -> None:
    """Create what the triggers of PostgreSQL call; SQLite needs nothing."""
    if op.get_bind().dialect.name == "postgresql":
        op.execute(sa.text(_FUNCTION))


def drop_function() -> None:
    """Undo :func:`create_function`."""
    if op.get_bind().dialect.name == "postgresql":
        op.execute(sa.text("DROP FUNCTION refuse_change()"))


def create(table: str, keys: Sequence[str]) -> None:
    """Guard a table against UPDATE, DELETE, TRUNCATE and replacement by INSERT.

    ``keys`` are the conditions under which a new row would collide with one
    that is there, with ``NEW.`` before the new row's columns.  SQLite's INSERT
    OR REPLACE deletes the old row without firing a delete trigger, so the
    collision has to be refused before the insert.
    """
    if op.get_bind().dialect.name == "postgresql":
        op.execute(
            sa.text(
                f"CREATE TRIGGER guard_{table} BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
                "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
            )
        )
        return
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            sa.text(
                f"CREATE TRIGGER guard_{table}_{verb.lower()} BEFORE {verb} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{table} {_REFUSAL}'); END"
            )
        )
    there = " OR ".join(f"EXISTS (SELECT 1 FROM {table} WHERE {key})" for key in keys)  # noqa: S608 - our own names
    op.execute(
        sa.text(
            f"CREATE TRIGGER guard_{table}_replace BEFORE INSERT ON {table} WHEN {there} "
            f"BEGIN SELECT RAISE(ABORT, '{table}: a row with this key is there already, and history is not replaced'); END"
        )
    )


def drop(table: str) -> None:
    """Take the guards of a table away, to change its shape."""
    if op.get_bind().dialect.name == "postgresql":
        op.execute(sa.text(f"DROP TRIGGER guard_{table} ON {table}"))
        return
    for what in ("update", "delete", "replace"):
        op.execute(sa.text(f"DROP TRIGGER guard_{table}_{what}"))
