"""What a database says when something around it breaks, told as what a person can mend.

One listener on the engine: reading, writing and committing all go through it,
so no caller has to know how SQLite or PostgreSQL names a full disk.
"""

from __future__ import annotations

import re
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

import sqlalchemy as sa

from models.errors import (
    BookBusyError,
    BookCutOffError,
    BookDamagedError,
    BookReadOnlyError,
    BookUnreachableError,
    DriftbookError,
    InvalidValueError,
    NoRoomError,
    UndecodableTextError,
)
from models.settings import Settings
from models.store.refusals import refused_by
from models.store.server_settings import UTF8

FAULTS: Final = "faults"
"""Name of the engine's option that tells what a fault of a driver means for a person."""

_NOTHING = "Nothing half-done is in the book."

_LEAST_ROOM = 64 << 10
"""With less room than this on its disk SQLite cannot make the files beside a book, in bytes: one of them begins with half of it."""

# What Python's driver says of a text that is none; it goes on with the text itself, which nobody may see.
_UNDECODABLE = re.compile(r"Could not decode to UTF-8(?: column '(\w{1,60})')?")

# SQLSTATE classes and codes of PostgreSQL (its manual, appendix A).
_LOST = ("08", "57P01", "57P02", "57P03", "57P05")
_FULL = ("53100",)
_READ_ONLY = ("25006",)
_REFUSED = ("42501",)
_DAMAGED = ("XX001", "XX002")
_NO_SUCH_LETTER = ("22P05",)
_CUT_OFF = ("57014", "25P03", "25P04")  # of a statement, of a transaction that waits, of a whole transaction


def tell_faults(engine: sa.Engine, settings: Settings) -> None:
    """Let an engine raise what a person can mend as such."""

    @sa.event.listens_for(engine, "handle_error")
    def _tell(context: sa.ExceptionContext) -> BaseException | None:
        if context.is_pre_ping:
            return None  # the pool mends this by itself with a new connection
        if not isinstance(context.original_exception, Exception):
            return None  # somebody stopped the command; the connection is given up with it, but nobody lost it
        return meaning_of(context.original_exception, settings, lost=context.is_disconnect)


@contextmanager
def telling(settings: Settings, *, damage_only: bool = False) -> Iterator[None]:
    """Raise what a person can mend as such, where the driver is asked and no engine listens.

    Parameters
    ----------
    settings : Settings
        Where the file is. [unitless]
    damage_only : bool
        Leave everything but damage as the driver says it; a file of another kind too. [unitless]
    """
    try:
        yield
    except (sqlite3.Error, UnicodeDecodeError) as fault:
        meant = meaning_of(fault, settings)
        other = getattr(fault, "sqlite_errorname", "") == "SQLITE_NOTADB" or not isinstance(meant, BookDamagedError)
        if meant is None or (damage_only and other):
            raise
        raise meant from fault


def meaning_by(connection: sa.Connection, fault: BaseException) -> DriftbookError | None:
    """Give what :func:`meaning_of` says, for a fault of the driver that went past the engine of a connection."""
    told = connection.get_execution_options().get(FAULTS)
    meant: DriftbookError | None = None if told is None else told(fault, False)
    return meant


def meaning_of(  # noqa: PLR0911 - one way out a situation
    fault: BaseException, settings: Settings, *, lost: bool = False
) -> DriftbookError | None:
    """Give what an error of a driver means for whoever reads it; ``None`` where it is no fault of disk, file or line.

    Parameters
    ----------
    fault : BaseException
        What the driver raised. [unitless]
    settings : Settings
        Where the book is. [unitless]
    lost : bool
        Whether the connection is known to be gone. [unitless]
    """
    if isinstance(fault, sqlite3.Error):
        return _of_file(fault, settings)
    if isinstance(fault, UnicodeDecodeError) and settings.is_file:
        # What SQLite said of a damaged schema holds the bytes of it, and Python's driver stumbles over them.
        return damaged(settings, "the names of its tables cannot be read")
    state = str(getattr(fault, "sqlstate", None) or "")
    if state.startswith(_FULL):
        return no_room(settings)
    if state.startswith(_READ_ONLY):
        return BookReadOnlyError(
            f"The database of the book takes no writing now: {_first_line(fault)}.",
            remedy=f"{_NOTHING} A read replica only shows; give the address of the database that is written to.",
        )
    if state.startswith(_REFUSED):
        return BookReadOnlyError(
            f"The database refuses this: {_first_line(fault)}.",
            remedy=f"{_NOTHING} History is never changed or deleted. Rights are given by the owner of the tables: driftbook grants --role NAME --apply. "
            "A role that got --reads-only reads the history only: a backup, and a book that is moved, take accounts along and need the rights of the server's role.",
        )
    if state == "55P03":
        return BookBusyError(
            "The book is busy: somebody else writes to it or upgrades it.",
            remedy="Nothing was changed. Wait until that has ended and do it again; stop the servers before an upgrade.",
        )
    if state.startswith(_DAMAGED):
        return damaged(settings, _first_line(fault))
    if state.startswith(_CUT_OFF):
        return BookCutOffError(
            f"The database server of the book broke off what was asked: {_first_line(fault)}.",
            remedy=f"{_NOTHING} Look at statement_timeout (and transaction_timeout, idle_in_transaction_session_timeout) of the role, the database and "
            "the server. Imports, verify, backup, move and upgrade need a role without: ALTER ROLE NAME SET statement_timeout = 0.",
        )
    if state.startswith(_NO_SUCH_LETTER):
        return InvalidValueError(
            f"The database of the book does not hold a letter of this: {_first_line(fault)}.",
            remedy=f"{_NOTHING} Leave that letter out; or let the book be moved into a database that holds every one ({UTF8}): driftbook move --to ADDRESS.",
        )
    if _is_connecting(fault) and (refused := refused_by(_first_line(fault))) is not None:
        return refused
    if lost or state.startswith(_LOST) or _is_connecting(fault):
        return BookUnreachableError(
            f"The database of the book does not answer, or the connection to it is lost: {_first_line(fault)}.",
            remedy=f"{_NOTHING} Check the address, and that the database server runs; then do it again.",
        )
    return None


def _of_file(fault: sqlite3.Error, settings: Settings) -> DriftbookError | None:  # noqa: PLR0911 - the same
    name = str(getattr(fault, "sqlite_errorname", ""))
    if name == "SQLITE_FULL":
        return no_room(settings)
    undecodable = _UNDECODABLE.match(str(fault))
    if undecodable:
        column = f" in column {undecodable[1]}" if undecodable[1] else ""
        return damaged(settings, f"a text{column} is not written in UTF-8", kind=UndecodableTextError)
    if name.startswith("SQLITE_READONLY"):
        return read_only(settings)
    if name == "SQLITE_NOTADB":
        return BookDamagedError(
            f"{settings.shown} cannot be opened as a book: it is another kind of file, or its first page is damaged.",
            remedy="Check the path. If it was a book, keep the file as it is, and take the last backup: "
            "driftbook restore FILE --book NEW",
            found="it is another kind of file, or its first page is damaged",
        )
    if name.startswith("SQLITE_CORRUPT"):
        return damaged(settings, _first_line(fault))
    if name.startswith(("SQLITE_IOERR", "SQLITE_CANTOPEN")) and is_full(settings.path.parent):
        return no_room(settings)
    if name.startswith("SQLITE_IOERR"):
        return BookUnreachableError(
            f"The disk of the book {settings.shown} does not do what it is asked ({_first_line(fault)}).",
            remedy=f"{_NOTHING} Look whether the disk is full, failing or gone; then do it again.",
        )
    if name.startswith("SQLITE_CANTOPEN") and settings.path.exists():
        return BookReadOnlyError(
            f"The book {settings.shown} cannot be opened: SQLite keeps two files beside it and may not make them.",
            remedy="Give the right to write to its folder, or mount the disk for writing. The book itself is as it was.",
        )
    return None


def damaged(settings: Settings, found: str, kind: type[BookDamagedError] = BookDamagedError) -> BookDamagedError:
    """Say that the file of a book is damaged, and what to do."""
    return kind(
        f"The book {settings.shown} is damaged: {found}.",
        remedy="Do not write to it. Keep the file as it is, and take the last backup: driftbook restore FILE --book NEW; "
        "'driftbook verify' says which entries of either are whole, as far as they can be read.",
        found=found,
    )


def read_only(settings: Settings) -> BookReadOnlyError:
    """Say that the file of a book, or its disk, takes no writing."""
    return BookReadOnlyError(
        f"The book {settings.shown} cannot be written: the file or its disk is read-only.",
        remedy=f"{_NOTHING} Give the right to write to the file and its folder, or mount the disk for writing.",
    )


def is_full(folder: Path) -> bool:
    """Tell whether a disk has no room for the files beside a book."""
    try:
        return shutil.disk_usage(folder).free < _LEAST_ROOM
    except OSError:
        return False


def no_room(settings: Settings) -> NoRoomError:
    """Say that the disk of a book is full."""
    return NoRoomError(
        f"The disk of the book {settings.shown} is full: this was not recorded.",
        remedy=f"{_NOTHING} Make room on that disk and do it again; what was recorded before is safe.",
    )


def _is_connecting(fault: BaseException) -> bool:
    """Tell whether psycopg could not connect: what the server says has a code, what comes from the line has none."""
    named = any(
        kind.__name__ == "OperationalError" for kind in type(fault).__mro__
    )  # a connection that took too long is a kind of it
    return named and getattr(fault, "sqlstate", "") is None


def _first_line(fault: BaseException) -> str:
    lines = str(fault).strip().splitlines()
    return (lines[0] if lines else type(fault).__name__).rstrip(".")
