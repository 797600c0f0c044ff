"""Whose turn it is to write: how long a writer waits for another one, and how many wait in one process.

A long import keeps every other writer waiting.  Each of them holds a thread of the
server while it waits, and when all threads wait nobody reads any more: so only some
may wait, and whoever comes then is told at once that the book is busy.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

import sqlalchemy as sa

from models.errors import BookBusyError
from models.sentences.told import Told
from models.store import engine as engines

WRITER_LOCK: Final = 0x626F_6F6B
"""Number of the lock that one writer of a book on PostgreSQL holds at a time."""

SOON_S: Final = 2.0
"""So long somebody waits for a place among those who wait: writing a job takes some hundredths. [s]"""


class Turns:
    """The places of a process for those who write or wait to write.

    Parameters
    ----------
    most : int, optional
        How many there are; without it as many as ask. [unitless]

    Attributes
    ----------
    taken : int
        How many are taken now. [unitless]
    """

    def __init__(self, most: int | None = None) -> None:
        self.most = most
        self.taken = 0
        self._free = threading.Condition()

    @contextmanager
    def place(self) -> Iterator[None]:
        """Take a place until the writing is done.

        Raises
        ------
        BookBusyError
            If all are taken, and none comes free in a moment.
        """
        with self._free:
            if not self._free.wait_for(lambda: self.most is None or self.taken < self.most, SOON_S):
                raise busy()
            self.taken += 1
        try:
            yield
        finally:
            with self._free:
                self.taken -= 1
                self._free.notify()


TURNS: Final = Turns()
"""Those of this process; a server bounds them by its threads."""


def busy() -> BookBusyError:
    """Give what is raised where somebody else writes for too long."""
    return BookBusyError(Told("told.busy"), remedy=Told("told.busy.remedy"))


def take_turn(connection: sa.Connection) -> None:
    """Wait on PostgreSQL until no other writes, as long as SQLite would; SQLite has done so when a transaction begins.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A transaction that has not written yet; the lock goes with it. [unitless]

    Raises
    ------
    BookBusyError
        If the other one is not done by then.
    """
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql(f"SET LOCAL lock_timeout = {engines.BUSY_MS}")
        connection.execute(sa.select(sa.func.pg_advisory_xact_lock(WRITER_LOCK)))
