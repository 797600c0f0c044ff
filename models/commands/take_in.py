"""Take a whole book in, from a data package or from another book: into an empty book, all of it or nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import sqlalchemy as sa

from models.errors import BookExistsError
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
from models.store.package_in import opened_package
from models.store.revision import check_revision, needed_revision, revision_of, upgrade
from models.store.unit import locked
from models.tables.every import MAPPED

Tick = Callable[[str, int], None]


def take_in(settings: Settings, package: Path, *, tick: Tick | None = None) -> Checked:
    """Take a data package into an empty book, with the very same numbers, moments, authors and rows.

    Parameters
    ----------
    settings : Settings
        Where the book is to be; it is made if it is not there. [unitless]
    package : pathlib.Path
        Folder or ZIP file that 'driftbook export' wrote. [unitless]
    tick : callable, optional
        Is told each table and its rows. [unitless]

    Returns
    -------
    Checked
        What the book was held against before the commit.

    Raises
    ------
    NotEmptyError
        If the book holds anything.
    DoesNotFitError
        If anything in the package does not fit; nothing is written then.
    """
    with opened_package(package, needed_revision()) as held, _empty_book(settings) as connection:
        counts = {}
        for mapped in MAPPED:
            name = table_of(mapped).name
            counts[name] = put_rows(connection, mapped, held.rows(mapped))
            if tick is not None:
                tick(name, counts[name])
        checked = check_copy(connection, counts)
        if checked.entries != held.head or (checked.root.hex() if checked.root else None) != held.root:
            raise DoesNotFitError(
                f"The package says that its last entry is {held.head} with root {held.root}; what came in ends at "
                f"{checked.entries} with root {checked.root.hex() if checked.root else None}.",
                remedy="Nothing was taken in. Its descriptor was altered, or files of two packages were mixed.",
            )
        return checked


def move_book(source: sa.Engine, target: Settings, *, tick: Tick | None = None) -> Checked:
    """Copy a book to another address, on either engine, with its accounts, secrets and tokens, but no open sessions.

    The source is only read: it is for a person to put it away once the new place is in use.

    Parameters
    ----------
    source : sqlalchemy.Engine
        The book. [unitless]
    target : Settings
        Where it is to be; it is made if it is not there. [unitless]
    tick : callable, optional
        Is told each table and its rows. [unitless]

    Returns
    -------
    Checked
        What the copy was held against before the commit.

    Raises
    ------
    NotEmptyError
        If the target holds anything.
    DoesNotFitError
        If the copy is not what the book's statements and heads say: then the book itself is altered.
    """
    with one_state(source) as reading, _empty_book(target) as connection:
        counts = {}
        for mapped in MOVED:
            name = table_of(mapped).name
            counts[name] = put_rows(connection, mapped, rows_of(reading, mapped))
            if tick is not None:
                tick(name, counts[name])
        set_counters(connection, MOVED)
        return check_copy(connection, counts)


@contextmanager
def _empty_book(settings: Settings) -> Iterator[sa.Connection]:
    """Open the one writer's transaction on an empty book, making the book first; a file that was made goes again on any fault."""
    new = settings.is_file and not settings.path.exists()
    if settings.is_file:
        settings.path.parent.mkdir(parents=True, exist_ok=True)
    engine = make_engine(settings)
    try:
        if new:
            upgrade(settings)
        elif revision_of(engine) is None:
            _refuse_strangers(engine, settings)
            upgrade(settings)
        check_revision(settings, engine)
        with locked(engine) as connection:
            refuse_unless_empty(connection, settings.shown)
            yield connection
    except BaseException:
        engine.dispose()
        if new:
            for end in ("", "-wal", "-shm"):
                settings.path.with_name(settings.path.name + end).unlink(missing_ok=True)
        raise
    finally:
        engine.dispose()


def _refuse_strangers(engine: sa.Engine, settings: Settings) -> None:
    """Refuse a database that holds tables of something else."""
    names = sa.inspect(engine).get_table_names()
    if names:
        raise BookExistsError(
            f"The database {settings.shown} holds tables already ({', '.join(sorted(names)[:3])} …) and is no book.",
            remedy="Give the address of an empty database.",
        )
