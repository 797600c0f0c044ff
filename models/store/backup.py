"""A consistent copy of a whole book in one SQLite file, taken while others write, and the way back.

From SQLite by the engine's own backup interface inside one reading
transaction; from PostgreSQL row by row in one REPEATABLE READ transaction,
into a SQLite book.  One file of one kind, whatever the engine: it is opened,
checked and read without a server, and it is a book itself.  (The engine's own
dump would need its programs in the right version, and could not be checked
against the statements and heads before it is trusted.)
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import sqlalchemy as sa

from models.errors import BackupError, BookDamagedError, UnreadableFileError
from models.settings import Settings
from models.store.copying import (
    MOVED,
    Checked,
    DoesNotFitError,
    check_copy,
    one_state,
    put_rows,
    refuse_unless_empty,
    rows_of,
    set_counters,
    table_of,
)
from models.store.engine import make_engine
from models.store.faults import damaged, telling
from models.store.file_open import read_only_if_it_must
from models.store.proofs import last_head
from models.store.revision import check_revision, needed_revision, revision_of, upgrade
from models.store.unit import locked
from models.tables.state import LoginSessionRow

_PAGES = 4096
"""Pages that are copied at a time; in one reading transaction the pieces belong together."""

_SESSIONS = LoginSessionRow.__tablename__


@dataclass(frozen=True, slots=True)
class Copied:
    """What a copy holds: what it was held against, and its head as a text that can be kept elsewhere."""

    checked: Checked
    head: str


def copy_file(settings: Settings, target: Path) -> dict[str, int]:
    """Copy a SQLite book into a new file and give how many rows each table had at that moment.

    Open sessions are left out: a book that is taken back must not let in who has signed out since.

    Raises
    ------
    DriftbookError
        If the book cannot be read, or there is no room for the copy.
    """
    with telling(settings), closing(_source(settings.path)) as source:
        source.execute("BEGIN")
        counts = {
            name: int(source.execute(f"SELECT count(*) FROM {name}").fetchone()[0])  # noqa: S608 - our own names
            for name in (table_of(mapped).name for mapped in MOVED)
        }
        with _written(settings, target), closing(sqlite3.connect(target, isolation_level=None)) as sink:
            source.backup(sink, pages=_PAGES)
            # One file is all: without this a reader of the copy would want two more beside it.
            sink.execute("PRAGMA journal_mode=DELETE")
            sink.execute("PRAGMA secure_delete=ON")
            sink.execute(f"DELETE FROM {_SESSIONS}")  # noqa: S608 - our own name
        source.execute("ROLLBACK")
    return counts


def copy_rows(engine: sa.Engine, target: Path) -> dict[str, int]:
    """Copy a book from a database server into a new SQLite file, in one state of it; gives the rows of each table."""
    sink_settings = Settings(book=str(target))
    upgrade(sink_settings)
    sink = make_engine(sink_settings)
    try:
        with one_state(engine) as source, locked(sink) as connection:
            counts = {table_of(mapped).name: put_rows(connection, mapped, rows_of(source, mapped)) for mapped in MOVED}
    finally:
        sink.dispose()
    with closing(sqlite3.connect(target, isolation_level=None)) as plain:
        plain.execute("PRAGMA journal_mode=DELETE")
    return counts


def check_by_restoring(file: Path, counts: dict[str, int], of: Settings) -> Copied:
    """Take a copy back into a file beside it, and hold what is there against counts, statements and heads.

    Parameters
    ----------
    file : pathlib.Path
        The copy, in a folder that goes away. [unitless]
    counts : dict of str to int
        How many rows each table is to hold. [unitless]
    of : Settings
        Where the book is, for the message. [unitless]

    Raises
    ------
    BackupError
        If anything is not as it was.
    """
    place = file.with_name("restored.db")
    try:
        copy_back(file, place)
        return check_file(place, counts)
    except BookDamagedError as fault:
        told = damaged(of, fault.found)  # seen in the copy, but it is the book that has to be named
        raise BackupError(f"No backup was made. {told.message}", remedy=told.remedy) from fault
    except DoesNotFitError as fault:
        raise BackupError(
            f"No backup was made: the copy is not what the book's own statements and heads say. {fault.message}",
            remedy="Type: driftbook verify. It says which entries are whole. Keep your earlier backups.",
        ) from fault


def copy_back(file: Path, target: Path) -> None:
    """Copy a backup into a new file and look whether it is whole.

    Raises
    ------
    BookDamagedError
        If pages or references are damaged.
    """
    given = Settings(book=str(file))
    with telling(given), closing(_source(file)) as source:
        with _written(given, target), closing(sqlite3.connect(target, isolation_level=None)) as sink:
            source.backup(sink, pages=_PAGES)
        with closing(sqlite3.connect(target, isolation_level=None)) as sink:
            found = [str(row[0]) for row in sink.execute("PRAGMA integrity_check(3)")]
            if found != ["ok"]:
                raise damaged(given, "; ".join(" ".join(line.split()) for line in found))
            lost = sink.execute("PRAGMA foreign_key_check").fetchone()
            if lost is not None:
                raise damaged(given, f"a row of table {lost[0]} points to one of {lost[2]} that is not there")
            sink.execute("PRAGMA journal_mode=WAL")


def check_file(file: Path, counts: dict[str, int]) -> Copied:
    """Hold a copied book against counts, statements and heads."""
    settings = Settings(book=str(file))
    engine = make_engine(settings)
    try:
        with one_state(engine) as connection:
            checked = check_copy(connection, counts)
            head = last_head(connection)
            return Copied(checked, "" if head is None else head.note)
    finally:
        engine.dispose()


def copy_to_server(file: Path, settings: Settings) -> Copied:
    """Copy a backup into an empty database of a server: all of it, checked before the commit, or nothing.

    Raises
    ------
    DriftbookError
        If the database holds anything, or what came in is not what its statements say.
    """
    target = make_engine(settings)
    source = make_engine(Settings(book=str(file)))
    try:
        found, needed = revision_of(source), needed_revision()
        if found != needed:
            raise UnreadableFileError(
                f"The backup {file} is of revision {found}; a database server takes revision {needed}.",
                remedy="Restore it into a file first, upgrade that, and move it: driftbook move.",
            )
        if revision_of(target) is None:
            upgrade(settings)
        check_revision(settings, target)
        with one_state(source) as given, locked(target) as connection:
            refuse_unless_empty(connection, settings.shown)
            counts = {table_of(mapped).name: put_rows(connection, mapped, rows_of(given, mapped)) for mapped in MOVED}
            set_counters(connection, MOVED)
            checked = check_copy(connection, counts)
            head = last_head(connection)
            return Copied(checked, "" if head is None else head.note)
    finally:
        source.dispose()
        target.dispose()


def revision_of_file(file: Path) -> str | None:
    """Give the revision of a book in a file; ``None`` if the file is no book.

    Raises
    ------
    UnreadableFileError
        If it cannot be read as a database.
    BookDamagedError
        If it is one, and damaged.
    """
    try:
        with telling(Settings(book=str(file)), damage_only=True), closing(_source(file)) as source:
            there = source.execute("SELECT 1 FROM sqlite_master WHERE name = 'alembic_version'").fetchone()
            row = source.execute("SELECT version_num FROM alembic_version").fetchone() if there else None
            return None if row is None else str(row[0])
    except sqlite3.Error as fault:
        raise UnreadableFileError(
            f"{file} cannot be read as a backup: {fault}.", remedy="Give a file that 'driftbook backup' made."
        ) from fault


def _source(path: Path) -> sqlite3.Connection:
    """Open a file for reading; one on a disk that is read-only or full too, as long as nothing waits beside it."""
    source = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, isolation_level=None)
    try:
        source.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except sqlite3.OperationalError as fault:
        source.close()
        source = read_only_if_it_must(Settings(book=str(path)), fault, partial(sqlite3.connect, isolation_level=None))
    return source


@contextmanager
def _written(settings: Settings, target: Path) -> Iterator[None]:
    """Tell what SQLite says while one file is copied into another: damage is of the one that is read, all else of the new one."""
    with telling(Settings(book=str(target))), telling(settings, damage_only=True):
        yield
