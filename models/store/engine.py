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
from models.store.faults import tell_faults
from models.store.sealing import KEY_FILE

BUSY_MS = 30_000
"""How long a writer waits for another: longer than a large import takes to commit."""

CACHE_KIB = 64 << 10
"""Pages of a SQLite book that one connection may keep in memory, in KiB."""

CONNECT_S = 10
"""How long is waited for a database server to answer at all."""


def make_engine(settings: Settings, *, foreign_keys: bool = True) -> sa.Engine:
    """Make an engine for a book.

    Parameters
    ----------
    settings : Settings
        Where the book is. [unitless]
    foreign_keys : bool
        Off only for migrations on SQLite, which rebuild tables. [unitless]
    """
    options = {KEY_FILE: str(settings.key_path)}
    if not settings.is_file:
        pool = settings.pool
        engine = sa.create_engine(
            settings.url,
            pool_pre_ping=True,
            pool_size=pool.size,
            max_overflow=pool.extra,
            pool_timeout=pool.wait_s,
            pool_recycle=pool.renew_s,
            connect_args={"connect_timeout": CONNECT_S, "application_name": "driftbook"},
            execution_options=options,
        )
        tell_faults(engine, settings)
        return engine
    engine = sa.create_engine(settings.url, connect_args={"timeout": BUSY_MS / 1000}, execution_options=options)
    tell_faults(engine, settings)

    @sa.event.listens_for(engine, "connect")
    def _configure(connection: Any, _record: Any) -> None:
        connection.isolation_level = None
        cursor = connection.cursor()
        cursor.execute(f"PRAGMA foreign_keys={'ON' if foreign_keys else 'OFF'}")
        cursor.execute("PRAGMA journal_mode=WAL")
        cursor.execute("PRAGMA synchronous=FULL")
        cursor.execute(f"PRAGMA busy_timeout={BUSY_MS}")
        cursor.execute("PRAGMA recursive_triggers=ON")
        # Taken only as it is needed: with SQLite's own 2 MB a large import writes its indexes out again and again.
        cursor.execute(f"PRAGMA cache_size=-{CACHE_KIB}")
        cursor.close()

    @sa.event.listens_for(engine, "begin")
    def _begin(connection: sa.Connection) -> None:
        writes = connection.get_execution_options().get("write", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine
