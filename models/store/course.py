"""The course of a book: it only goes on, so a head that was read from it once stays in it.

An older state that is written over the open file has the same place and the same number on the disk, and a database that
is restored under a running server the same address: only what is in them tells.  What is kept in memory of the book would be mixed with
another one, and new jobs would take numbers that were given before.
"""

from __future__ import annotations

import os
import threading
import time
from typing import Any, Final

import sqlalchemy as sa

from models.errors import BookDamagedError, BookReplacedError
from models.settings import Settings

COURSE: Final = "course"
"""Name under which an engine keeps what is known of the course of its book."""

SURE_S: Final = 0.5
"""Whoever only reads takes it for so long that the book is still the same: a look lets other threads go first. [s]"""

_NEWEST: Final = "SELECT size, root FROM tree_head ORDER BY size DESC LIMIT 1"


class Course:
    """The newest head that was read from a book; safe for several threads.

    Nothing is asked before somebody keeps what they read, see :func:`kept_up_to`: a command that ends at once needs no look.
    """

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._lock = threading.Lock()
        self._known: tuple[int, bytes] | None = None
        self._stamp: tuple[int, int, int] | None = None
        self._sure_until = 0.0
        self._left = False

    def look(self, connection: sa.Connection, *, writes: bool) -> None:
        """Look whether the book still holds the newest head that was read from it; before every writing, and now and then else.

        Raises
        ------
        BookReplacedError
            If it does not, from then on for ever: what was read before belongs to another book.
        """
        if self._left:
            raise _set_back(self._settings)
        known = self._known
        if known is None or not self._is_due(writes=writes):
            return
        mark = "?" if connection.dialect.paramstyle == "qmark" else "%s"
        asked = f"SELECT size, root FROM tree_head WHERE size = {mark} UNION ALL SELECT * FROM ({_NEWEST}) AS newest"  # noqa: S608
        try:
            found = [_head(row) for row in connection.exec_driver_sql(asked, (known[0],))]
        except BookDamagedError:
            if connection.dialect.name != "sqlite":
                raise
            return  # told by whoever needs what lies there
        if found[:1] != [known]:
            self._left = True
            raise _set_back(self._settings)
        self.take(found[-1])
        # What is written now is known by the next look only: that one is to come at once.
        self._sure_until = 0.0 if writes else time.monotonic() + SURE_S

    def take(self, head: tuple[int, bytes]) -> None:
        """Take a head that was read from the book for known, if it is newer."""
        with self._lock:
            if self._known is None or head[0] > self._known[0]:
                self._known = head

    def _is_due(self, *, writes: bool) -> bool:
        return writes or time.monotonic() >= self._sure_until

    def read_anew(self, connection: sa.Connection, *, writes: bool) -> None:
        """Let a SQLite connection forget the pages that it keeps once the file was written to by whatever hand; before a look.

        It takes them for those of the file as long as nobody says otherwise in the files beside it, and a file of
        another length for damaged.
        """
        if self._known is None or not self._is_due(writes=writes):
            return
        try:
            found = os.stat(self._settings.path)  # noqa: PTH116 - half the time of Path.stat
        except OSError:
            return
        stamp = (found.st_mtime_ns, found.st_ctime_ns, found.st_size)
        if stamp != self._stamp:
            connection.exec_driver_sql("PRAGMA shrink_memory")
            self._stamp = stamp


def watch_course(engine: sa.Engine, settings: Settings) -> None:
    """Let an engine refuse to work once its book does not go on from what was read of it.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book's engine; not that of a replica, which has a look of its own. [unitless]
    settings : Settings
        Where the book is. [unitless]
    """
    course = Course(settings)
    engine.update_execution_options(**{COURSE: course})

    def writes(connection: sa.Connection) -> bool:
        return bool(connection.get_execution_options().get("write", False))

    if settings.is_file:

        @sa.event.listens_for(engine, "begin", insert=True)
        def _begins(connection: sa.Connection) -> None:
            course.read_anew(connection, writes=writes(connection))

    @sa.event.listens_for(engine, "begin")
    def _begun(connection: sa.Connection) -> None:
        course.look(connection, writes=writes(connection))


def kept_up_to(connection: sa.Connection) -> None:
    """Say that what is read in this transaction is kept in memory: from now on the book has to go on from its newest head.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection that writes nothing. [unitless]
    """
    course: Course | None = connection.get_execution_options().get(COURSE)
    if course is not None:
        row = connection.exec_driver_sql(_NEWEST).first()
        if row is not None:
            course.take(_head(row))


def _head(row: Any) -> tuple[int, bytes]:
    return row[0], bytes(row[1])


def _set_back(settings: Settings) -> BookReplacedError:
    return BookReplacedError(
        f"The book {settings.shown} was set back or exchanged while it was open: the entries that were read last are not in it any more. "
        "Nothing is recorded, and nothing is shown from it.",
        remedy="Stop this server or command. Put the book that shall be used in its place (of a file: while nothing has it open, and without files "
        "-wal and -shm of another one). Then start again.",
    )
