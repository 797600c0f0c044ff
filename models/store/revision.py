"""Which revision a book is at, which the tool needs, and how to get from one to the other.

Alembic is loaded only where a book is changed: to compare two names, every command would
otherwise wait a tenth of a second for it.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

import sqlalchemy as sa

from models.errors import BookBusyError, BookMissingError, BookReadOnlyError, NoRoomError, WrongRevisionError
from models.settings import Settings
from models.store.copy_aside import copy_aside, make_file, take_away
from models.store.engine import make_engine
from models.store.server_settings import check_encoding
from models.tables.book import EntryRow

if TYPE_CHECKING:
    from alembic.config import Config

BACKUP_FIRST = "make a backup with the version that wrote it ('driftbook backup' of this one makes none), or with the server's own tools"
"""What has to be done before a book on a database server is upgraded."""

REVISION_TABLE = "alembic_version"
"""Table in which a book bears the mark of its revision."""

_NAMES = re.compile(r'^(revision|down_revision) = "(.*)"$', re.MULTILINE)


def _scripts() -> Path:
    """Give the folder of the package ``migrations``, wherever it is installed."""
    spec = find_spec("migrations")
    if spec is None or not spec.submodule_search_locations:
        raise RuntimeError("the package 'migrations' is missing from this installation")
    return Path(spec.submodule_search_locations[0])


def alembic_config() -> Config:
    """Give the settings of Alembic."""
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(_scripts()))
    config.set_main_option("path_separator", "os")
    return config


@cache
def revisions() -> tuple[str, ...]:
    """Give the revisions that this version of the tool knows, the oldest first."""
    read = [path.read_text(encoding="utf-8") for path in (_scripts() / "versions").glob("[0-9]*.py")]
    named = [dict(_NAMES.findall(text)) for text in read]
    after = {names.get("down_revision", ""): names["revision"] for names in named}
    line, at = [], ""
    while at in after:
        at = after[at]
        line.append(at)
    if not line or len(line) != len(named):
        raise RuntimeError(f"the migrations are not one line of revisions: {', '.join(line) or 'none is there'}")
    return tuple(line)


def needed_revision() -> str:
    """Give the revision that this version of the tool works with."""
    return revisions()[-1]


def revision_of(engine: sa.Engine) -> str | None:
    """Give the revision of a book; ``None`` if there is no book in the database."""
    with engine.connect() as connection:
        return next(iter(marks_of(connection)), None)


def marks_of(connection: sa.Connection) -> list[str]:
    """Give the revisions with which a database is marked: one where it holds a book, none where there is none or the mark is gone."""
    if not sa.inspect(connection).has_table(REVISION_TABLE):
        return []
    return [str(mark) for mark in connection.exec_driver_sql(f"SELECT version_num FROM {REVISION_TABLE}").scalars()]  # noqa: S608


def check_revision(settings: Settings, engine: sa.Engine, *, unmarked: bool = False) -> None:
    """Refuse a book that is missing or of another revision, and say what to type.

    Parameters
    ----------
    settings : Settings
        Where the book is. [unitless]
    engine : sqlalchemy.Engine
        The book's engine. [unitless]
    unmarked : bool
        Whether one that bears no mark of its revision is taken, to be looked at. [unitless]

    Raises
    ------
    BookMissingError
        If there is no book.
    WrongRevisionError
        If it was written by an older or a newer version, or bears no mark of its revision.
    """
    if settings.is_file and not settings.path.exists():
        raise missing(settings)
    found, needed = revision_of(engine), needed_revision()
    if found is None:
        if not _lost_mark(engine):
            raise missing(settings)
        if unmarked:
            return
        raise _without_mark(settings)
    check_known(f"The book {settings.shown}", found)
    if found != needed:
        raise WrongRevisionError(
            f"The book {settings.shown} is at revision {found}; this version needs {needed}.",
            remedy=_how_to_upgrade(settings),
        )


def _lost_mark(engine: sa.Engine) -> bool:
    """Tell whether a database without a mark holds a book all the same."""
    with engine.connect() as connection:
        return not marks_of(connection) and sa.inspect(connection).has_table(EntryRow.__tablename__)


def _without_mark(settings: Settings) -> WrongRevisionError:
    return WrongRevisionError(
        f"The book {settings.shown} bears no mark of its revision: it was taken out behind the tool's back.",
        remedy="'driftbook verify' says whether anything else does not fit. Nothing was changed. Take the last backup: driftbook restore FILE --book NEW",
    )


def check_known(what: str, found: str) -> None:
    """Refuse a revision that this version does not know: nothing may touch what a newer one wrote.

    Parameters
    ----------
    what : str
        What is of that revision, to begin a sentence with. [unitless]
    found : str
        Its revision. [unitless]

    Raises
    ------
    WrongRevisionError
        If it is not one of ours.
    """
    if found not in revisions():
        raise WrongRevisionError(
            f"{what} is at revision {found}, which this version does not know: a newer one wrote it.",
            remedy="Use the version of driftbook that wrote it ('driftbook --version' says which revision a version writes); "
            "nothing was changed.",
        )


def missing(settings: Settings) -> BookMissingError:
    """Say that there is no book, and how to make one."""
    return BookMissingError(
        f"There is no book at {settings.shown}.",
        remedy=f'Type: driftbook init --book {_address(settings)} --site "Name of the site" --zone Europe/Lisbon  (or: driftbook demo)',
    )


def _address(settings: Settings) -> str:
    """Give what can be typed: an address with a user is shown cut, and a cut one leads nowhere."""
    return settings.shown if settings.is_file or settings.shown == settings.book else "ADDRESS"


def _how_to_upgrade(settings: Settings) -> str:
    if settings.is_file:
        return f"Type: driftbook upgrade --book {settings.shown}"
    return (
        f"Stop the servers, then {BACKUP_FIRST}. Then type, with the address of the role that owns the tables: "
        f"driftbook upgrade --i-have-a-backup --book {_address(settings)}"
    )


def upgrade(
    settings: Settings, to: str = "head", *, then: Callable[[sa.Connection], object] | None = None
) -> Path | None:
    """Bring a book to a revision, all of the way or not at all; a SQLite book is copied aside first.

    Where there is no book, one is made; the file of it is for its owner's eyes, for it holds hashes of passwords.

    Parameters
    ----------
    settings : Settings
        Where the book is. [unitless]
    to : str
        The revision. [unitless]
    then : callable, optional
        What belongs to the upgrade and is done in the same transaction. [unitless]

    Returns
    -------
    pathlib.Path or None
        Where the copy lies; ``None`` if there was nothing to copy.

    Raises
    ------
    WrongRevisionError
        If a newer version wrote the book.
    DriftbookError
        If there is none yet, and the database on the server does not hold every letter.
    NoRoomError
        If the copy or the upgrade does not fit on the disk; the book is as it was, and no copy is left.
    """
    from alembic import command

    made = _made(settings)
    copy = None if made else _copy_of_known(settings)
    try:
        _run(settings, lambda config: command.upgrade(config, to), then)
    except BaseException as fault:
        if made:
            take_away(settings.path)
        told = _told(fault, settings, new=made)
        if told is None:
            raise  # the copy stays: nobody knows what happened
        if copy is not None:
            take_away(copy)  # the transaction was taken back: the book is what the copy is
        raise told from fault
    return copy


def _made(settings: Settings) -> bool:
    """Make the file of a book that is not there yet."""
    if not settings.is_file:
        return False
    try:
        return make_file(settings.path)
    except OSError as fault:
        raise BookReadOnlyError(
            f"The book {settings.shown} cannot be made: {fault.strerror or fault}.",
            remedy="Nothing was made. Give the right to write to its folder, or choose another place with --book PATH.",
        ) from fault


def _copy_of_known(settings: Settings) -> Path | None:
    """Refuse a book of a newer version, and copy one that lies in a file aside."""
    engine = make_engine(settings)
    try:
        found, lost = revision_of(engine), _lost_mark(engine)
        if found is None and not lost:
            check_encoding(engine, settings)
    finally:
        engine.dispose()
    if lost:
        raise _without_mark(settings)
    if found is not None:
        check_known(f"The book {settings.shown}", found)
    if not settings.is_file or (found is None and settings.path.stat().st_size == 0):
        return None
    return copy_aside(settings)


def _told(
    fault: BaseException, settings: Settings, *, new: bool
) -> NoRoomError | BookReadOnlyError | BookBusyError | None:
    """Give what a fault of an upgrade means where it is known that nothing was changed; ``None`` for any other."""
    left = "No book was made." if new else "The book is as it was before."
    if isinstance(fault, NoRoomError):
        return NoRoomError(
            f"The disk of the book {settings.shown} is full: it was not {'made' if new else 'upgraded'}.",
            remedy=f"{left} Make room on that disk, then type the same again.",
        )
    if isinstance(fault, BookReadOnlyError) and getattr(fault.__cause__, "sqlstate", "") == "42501":
        return BookReadOnlyError(
            fault.message,
            remedy=f"{left} Books are made and upgraded by the role that owns the tables, not by that of the server: "
            "give the owner's address with --book.",
        )
    if isinstance(fault, BookReadOnlyError | BookBusyError):
        return fault
    if isinstance(fault, sa.exc.OperationalError) and "locked" in str(fault.orig):
        return BookBusyError(
            f"The book {settings.shown} is busy: somebody else writes to it or upgrades it.",
            remedy=f"{left} Stop the servers and wait until that has ended, then type the same again.",
        )
    return None


@cache
def new_book() -> tuple[tuple[str, str, str, str | None], ...]:
    """Give what the migrations make of an empty SQLite book: kind, name, table and text of each thing in it."""
    from alembic import command

    config, engine = alembic_config(), sa.create_engine("sqlite://")
    try:
        with engine.connect() as connection, connection.begin():
            config.attributes["connection"] = connection
            command.upgrade(config, "head")
            found = connection.exec_driver_sql("SELECT type, name, tbl_name, sql FROM sqlite_master").all()
            return tuple((row[0], row[1], row[2], row[3]) for row in found)
    finally:
        engine.dispose()


def downgrade(settings: Settings, to: str) -> None:
    """Bring a book back to an older revision; used by tests and in an emergency."""
    from alembic import command

    _run(settings, lambda config: command.downgrade(config, to))


def _run(
    settings: Settings, what: Callable[[Config], None], then: Callable[[sa.Connection], object] | None = None
) -> None:
    config = alembic_config()
    engine = make_engine(settings, foreign_keys=False)
    try:
        # Begun here, so that Alembic leaves the end of the transaction to us: what comes after belongs to it.
        with engine.connect().execution_options(write=True) as connection, connection.begin():
            config.attributes["connection"] = connection
            what(config)
            if then is not None:
                then(connection)
    finally:
        engine.dispose()
