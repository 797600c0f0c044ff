"""How the file of a SQLite book is opened: to be written too, or only read where its disk takes nothing more.

SQLite keeps two files beside a book. On a disk that is read-only or full it cannot make them, and without them
it opens nothing, although all that is to be read is there. Nobody else can have the book open then, for whoever
has it open has made them: so it is read as a file that does not change, anew for each question.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

from models.errors import BookReadOnlyError, DriftbookError
from models.settings import Settings
from models.store.faults import is_full, no_room, read_only

_WANTS = ("SQLITE_CANTOPEN", "SQLITE_READONLY", "SQLITE_IOERR", "SQLITE_FULL")
"""What SQLite says where it may not make the files beside a book; the beginnings of its names."""

_INDEX = 32 << 10
"""Bytes with which the file -shm begins for whoever has a book open; a shorter one is what a full disk left of a try."""


def read_only_if_it_must(
    settings: Settings, fault: sqlite3.Error, connect: Callable[..., sqlite3.Connection]
) -> sqlite3.Connection:
    """Open a book that is there and cannot be opened as usual, so that it can be read.

    Parameters
    ----------
    settings : Settings
        Where the book is. [unitless]
    fault : sqlite3.Error
        Why it could not be opened as usual. [unitless]
    connect : callable
        Opens a SQLite file; takes what :func:`sqlite3.connect` takes. [unitless]

    Returns
    -------
    sqlite3.Connection
        Takes no writing, and does not see what others write.

    Raises
    ------
    BookReadOnlyError
        If jobs wait in a file beside the book, which would not be seen.
    sqlite3.Error
        What was given, if the fault is another one.
    """
    path = settings.path
    if not getattr(fault, "sqlite_errorname", "").startswith(_WANTS) or _size(path) <= 0:
        raise fault
    if _size(path, "-shm") >= _INDEX:
        raise fault  # somebody may have it open, and write
    waiting = next((end for end in ("-wal", "-journal") if _size(path, end) > 0), None)
    if waiting is not None:
        # Who calls the book by a link looks in vain beside that.
        name = path.name if path == settings.named else str(path)
        raise BookReadOnlyError(
            f"The book {settings.shown} cannot be opened where it is: its newest entries wait in {name}{waiting}, and the disk "
            f"{'is full' if is_full(path.parent) else 'takes no writing'}.",
            remedy=f"Copy {name} and {name}{waiting} together into a folder on another disk, and open the book there "
            "(read it, or back it up). Nothing is lost; do not copy the one without the other.",
        )
    try:
        opened = connect(f"{path.absolute().as_uri()}?mode=ro&immutable=1", uri=True)
    except sqlite3.OperationalError:
        raise fault from None  # it is not for want of those files
    try:
        opened.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except sqlite3.Error as other:
        opened.close()
        if isinstance(other, sqlite3.OperationalError):
            raise fault from None
        raise  # it opens, and is damaged
    return opened


def no_writing(settings: Settings) -> DriftbookError:
    """Say why a book that is open only to be read takes no writing."""
    return no_room(settings) if is_full(settings.path.parent) else read_only(settings)


def _size(path: Path, end: str = "") -> int:
    """Give the size of a file beside a book in bytes; -1 where there is none."""
    try:
        return path.with_name(f"{path.name}{end}").stat().st_size
    except OSError:
        return -1
