"""How migrations run: one transaction for each, safe on both engines.

On SQLite foreign keys are switched off before the transaction begins: with
them on, rebuilding a parent table would delete the rows of its children.
``PRAGMA foreign_key_check`` looks before the commit whether any reference
was lost.  On PostgreSQL an advisory lock keeps two upgrades apart.
"""

from __future__ import annotations

from typing import Literal

import sqlalchemy as sa
from alembic import context
from sqlalchemy.types import TypeEngine

from models.settings import read_settings
from models.store.engine import make_engine
from models.store.turns import WRITER_LOCK
from models.tables.every import metadata
from models.tables.partitions import is_partition, on_postgresql

_LOCK = 0x6472_6966  # 'drif': any number does that nobody else uses


def _render(kind: str, item: object, _autogen: object) -> str | Literal[False]:
    """Write the plain type for our own column types: a frozen revision must not import the models."""
    if kind == "type" and isinstance(item, sa.TypeDecorator):
        return f"sa.{item.impl!r}"
    return False


def _same_type(
    _context: object, _column: object, _meta: object, found: TypeEngine[object], wanted: TypeEngine[object]
) -> bool | None:
    """Compare our own column types by what they store."""
    return False if isinstance(wanted, sa.TypeDecorator) and isinstance(found, type(wanted.impl)) else None


def _ours(name: str | None, kind: str, _parents: object) -> bool:
    """Leave out the parts of tables that are cut by site: they follow the whole."""
    return not (kind == "table" and is_partition(name))


def _run(connection: sa.Connection) -> None:
    context.configure(
        connection=connection,
        target_metadata=on_postgresql() if connection.dialect.name == "postgresql" else metadata,
        include_name=_ours,
        render_as_batch=True,
        render_item=_render,
        compare_type=_same_type,
        transactional_ddl=True,
    )
    with context.begin_transaction():
        if connection.dialect.name == "postgresql":
            connection.execute(sa.text("SET LOCAL lock_timeout = '10s'"))
            # Before the writers' lock, so that whoever writes sees either revision whole (they ask behind theirs).
            for key in (_LOCK, WRITER_LOCK):
                connection.execute(sa.text("SELECT pg_advisory_xact_lock(:key)"), {"key": key})
        context.run_migrations()
        if connection.dialect.name == "sqlite":
            lost = connection.execute(sa.text("PRAGMA foreign_key_check")).all()
            if lost:
                raise RuntimeError(f"the migration lost references: {lost[:5]}")


given = context.config.attributes.get("connection")
if given is not None:
    _run(given)
else:
    engine = make_engine(read_settings(), foreign_keys=False)
    with engine.connect().execution_options(write=True) as fresh:
        _run(fresh)
    engine.dispose()
