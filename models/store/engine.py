"""Engines: how a book is opened, on SQLite and on PostgreSQL.

SQLite's driver begins transactions late and by itself; here it is told not
to, and every transaction begins in words: ``BEGIN IMMEDIATE`` for a writer
(a plain BEGIN that turns into a write fails at once when another writer is
there, and no waiting time cures that), ``BEGIN`` for a reader.
"""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from models.errors import BookReplacedError
from models.settings import Settings
from models.store.course import SURE_S, watch_course
from models.store.faults import FAULTS, meaning_of, tell_faults, telling
from models.store.file_open import no_writing, read_only_if_it_must
from models.store.server_settings import keep_settings
from models.store.signing import KEY_FILE

BUSY_MS = 30_000
"""How long a writer waits for another: longer than a large import takes to commit."""

CACHE_KIB = 64 << 10
"""Pages of a SQLite book that one connection may keep in memory, in KiB."""

PAGE = 8 << 10
"""Bytes of a page of a new SQLite book: five statements fill one; of SQLite's own 4,096 a quarter stays empty."""

CONNECT_S = 10
"""How long is waited for a database server to answer at all."""

_ONLY_READ = "only read"
"""Name of what is kept of a connection to a file: whether it only reads."""

REPLICA_S = 3
"""How long is waited for a replica: without it pages are read from the book's own server."""


def make_engine(settings: Settings, *, foreign_keys: bool = True, replica: bool = False) -> sa.Engine:
    """Make an engine for a book.

    Parameters
    ----------
    settings : Settings
        Where the book is. [unitless]
    foreign_keys : bool
        Off only for migrations on SQLite, which rebuild tables. [unitless]
    replica : bool
        True for a server that is only read, and that can be done without. [unitless]
    """
    # Parameters are hidden in messages: what was to be written is not for whoever reads the log.
    options: dict[str, Any] = {
        KEY_FILE: str(settings.key_path),
        FAULTS: lambda fault, lost: meaning_of(fault, settings, lost=lost),
    }
    if not settings.is_file:
        pool = settings.pool
        engine = sa.create_engine(
            settings.url,
            pool_pre_ping=True,
            pool_size=pool.size,
            max_overflow=pool.extra,
            pool_timeout=pool.wait_s,
            pool_recycle=pool.renew_s,
            connect_args=_replica_options() if replica else _options(CONNECT_S),
            execution_options=options,
            hide_parameters=True,
        )
        keep_settings(engine, reads_only=replica)
        tell_faults(engine, settings)
        if not replica:
            watch_course(engine, settings)
        return engine
    engine = sa.create_engine(
        sa.URL.create("sqlite", database=str(settings.path)),  # a path may hold any sign
        connect_args={"timeout": BUSY_MS / 1000},
        execution_options=options,
        hide_parameters=True,
    )
    tell_faults(engine, settings)
    _stay_with_file(engine, settings)
    _open_file(engine, settings, foreign_keys=foreign_keys)
    watch_course(engine, settings)  # behind the beginning of the transaction
    return engine


def _open_file(engine: sa.Engine, settings: Settings, *, foreign_keys: bool) -> None:
    """Let an engine open a SQLite book for writing, or only for reading where its disk takes nothing more."""

    @sa.event.listens_for(engine, "do_connect")
    def _connect(
        dialect: sa.Dialect, record: sa.pool.ConnectionPoolEntry, given: tuple[Any, ...], named: dict[str, Any]
    ) -> Any:
        def connect(file: str, **more: Any) -> sqlite3.Connection:
            opened: sqlite3.Connection = dialect.loaded_dbapi.connect(file, *given[1:], **{**named, **more})
            opened.isolation_level = None
            return opened

        record.info[_ONLY_READ] = False
        with telling(settings):  # the first that reads the book
            try:
                return _to_be_written(lambda: connect(given[0]))
            except sqlite3.Error as fault:
                opened = read_only_if_it_must(settings, fault, connect)
        record.info[_ONLY_READ] = True
        return opened

    @sa.event.listens_for(engine, "connect")
    def _configure(connection: Any, record: sa.pool.ConnectionPoolEntry) -> None:
        cursor = connection.cursor()
        cursor.execute(f"PRAGMA foreign_keys={'ON' if foreign_keys else 'OFF'}")
        if not record.info[_ONLY_READ]:
            cursor.execute("PRAGMA synchronous=FULL")
        cursor.execute(f"PRAGMA busy_timeout={BUSY_MS}")
        cursor.execute("PRAGMA recursive_triggers=ON")
        # Taken only as it is needed: with SQLite's own 2 MB a large import writes its indexes out again and again.
        cursor.execute(f"PRAGMA cache_size=-{CACHE_KIB}")
        cursor.close()

    @sa.event.listens_for(engine, "checkin")
    def _given_back(_connection: Any, record: sa.pool.ConnectionPoolEntry) -> None:
        if record.info.get(_ONLY_READ):  # the disk may take writing by then, and this one would not see it
            record.invalidate(soft=True)

    @sa.event.listens_for(engine, "begin")
    def _begin(connection: sa.Connection) -> None:
        writes = connection.get_execution_options().get("write", False)
        if writes and connection.info.get(_ONLY_READ):
            raise no_writing(settings)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _to_be_written(connect: Callable[[], sqlite3.Connection]) -> sqlite3.Connection:
    """Open a SQLite file so that one writes while others read; the file of a new book is laid out here."""
    opened = connect()
    try:
        opened.execute(f"PRAGMA page_size={PAGE}")  # of a book that is made only; before the journal, which fixes it
        opened.execute("PRAGMA journal_mode=WAL")
    except BaseException:
        opened.close()
        raise
    return opened


def _stay_with_file(engine: sa.Engine, settings: Settings) -> None:
    """Let an engine refuse to work once another file, or none, lies where the book was opened.

    A file that was taken away or moved stays open for those who have it open: what they write would be
    lost with them, and who opens the path anew would make an empty book.
    """
    opened: list[tuple[int, int]] = []
    sure_until = 0.0

    def look(*_given: Any) -> None:
        nonlocal sure_until
        there = _identity(settings.named)  # a link may lead to another book by now
        if opened and there != opened[0]:
            sure_until = 0.0
            raise _replaced(settings, gone=there is None)
        if not opened and there is not None:
            opened.append(there)
        sure_until = time.monotonic() + SURE_S

    @sa.event.listens_for(engine, "do_connect")
    def _before(*_given: Any) -> None:
        if opened:  # the first connection may make the file
            look()

    @sa.event.listens_for(engine, "checkout")
    def _asked(*_given: Any) -> None:
        if time.monotonic() >= sure_until:
            look()

    @sa.event.listens_for(engine, "begin")
    def _written(connection: sa.Connection) -> None:
        if connection.get_execution_options().get("write", False):
            look()


def _identity(path: Path) -> tuple[int, int] | None:
    """Give which file lies at a path, whatever its name; ``None`` where there is none."""
    try:
        found = os.stat(path)  # noqa: PTH116 - asked for with every question: half the time of Path.stat
    except OSError:
        return None
    return found.st_dev, found.st_ino


def _replaced(settings: Settings, *, gone: bool) -> BookReplacedError:
    what = "was taken away" if gone else "was replaced by another file"
    return BookReplacedError(
        f"The book {settings.shown} {what} while it was open. Nothing is recorded, and nothing is shown from it.",
        remedy="Stop this server or command. If the book shall be back, put it in its place again together with its files -wal and -shm; "
        "if another one shall take its place, move these aside first. Then start again.",
    )


def _options(wait_s: int) -> dict[str, Any]:
    return {"connect_timeout": wait_s, "application_name": "driftbook"}


def _replica_options() -> dict[str, Any]:
    """Give what lets a replica that falls silent be noticed soon."""
    silent = {"tcp_user_timeout": REPLICA_S * 1000, "keepalives_idle": REPLICA_S, "keepalives_interval": 1}
    return _options(REPLICA_S) | silent
