"""Engines: how a book is opened, on SQLite and on PostgreSQL.

SQLite's driver begins transactions late and by itself; here it is told not
to, and every transaction begins in words: ``BEGIN IMMEDIATE`` for a writer
(a plain BEGIN that turns into a write fails at once when another writer is
there, and no waiting time cures that), ``BEGIN`` for a reader.
"""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from models.settings import Settings

BUSY_MS = 30_000
"""How long a writer waits for another: longer than a large import takes to commit."""


def make_engine(settings: Settings, *, foreign_keys: bool = True) -> sa.Engine:
    """Make an engine for a book.

    Parameters
    ----------
    settings : Settings
        Where the book is. [unitless]
    foreign_keys : bool
        Off only for migrations on SQLite, which rebuild tables. [unitless]
    """
    if not settings.is_file:
        return sa.create_engine(settings.url, pool_pre_ping=True)
    engine = sa.create_engine(settings.url, connect_args={"timeout": BUSY_MS / 1000})

    @sa.event.listens_for(engine, "connect")
    def _configure(connection: Any, _record: Any) -> None:
        connection.isolation_level = None
        cursor = connection.cursor()
        cursor.execute(f"PRAGMA foreign_keys={'ON' if foreign_keys else 'OFF'}")
        cursor.execute("PRAGMA journal_mode=WAL")
        cursor.execute("PRAGMA synchronous=FULL")
        cursor.execute(f"PRAGMA busy_timeout={BUSY_MS}")
        cursor.execute("PRAGMA recursive_triggers=ON")
        cursor.close()

    @sa.event.listens_for(engine, "begin")
    def _begin(connection: sa.Connection) -> None:
        writes = connection.get_execution_options().get("write", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine
