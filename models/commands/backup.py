"""Back a book up: copied while others write, taken back once to see that it can be, and only then given its name."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

import sqlalchemy as sa

from models import whole_files
from models.errors import (
    BackupError,
    BookExistsError,
    BookReadOnlyError,
    BookUnreachableError,
    DriftbookError,
    NoRoomError,
)
from models.settings import Settings
from models.store.backup import Copied, check_by_restoring, copy_file, copy_rows
from models.store.own_files import refuse_own


@dataclass(frozen=True, slots=True)
class Backup:
    """A backup that was made: where, how large, and what it holds."""

    path: Path
    size: int
    copied: Copied


def back_up(settings: Settings, engine: sa.Engine, target: Path) -> Backup:
    """Make a backup.

    The file with the key of the book is not in it: whoever gets hold of a
    backup must not be able to sign heads in the book's name.

    Parameters
    ----------
    settings : Settings
        Where the book is. [unitless]
    engine : sqlalchemy.Engine
        The book's engine, used where the book lies on a database server. [unitless]
    target : pathlib.Path
        Name of the backup; a file that is there is never overwritten. [unitless]

    Raises
    ------
    BookExistsError
        If a file of that name is there.
    ConflictError
        If the name is that of a file of the book.
    BackupError
        If the copy is not the book, or cannot be written; nothing is left behind then.
    """
    if os.path.lexists(target):
        raise _there(target)
    refuse_own(settings, target)
    making = None
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with whole_files.making_book(target.parent) as making:
            counts = copy_file(settings, making) if settings.is_file else copy_rows(engine, making)
            copied = check_by_restoring(making, counts, settings)
            give_name(making, target)
    except (DriftbookError, OSError) as fault:
        why = why_not_written(fault, making)
        if why is None:
            raise
        raise BackupError(f"The backup cannot be written to {target.parent}: {why}.", remedy=_ROOM) from fault
    return Backup(target, target.stat().st_size, copied)


_ROOM = (
    "Nothing of it is left there. Choose another place with -o FILE; it needs room for twice the size of the book while it "
    "is checked."
)


def why_not_written(fault: DriftbookError | OSError, making: Path | None) -> str | None:
    """Say why a new file cannot be written; ``None`` where the fault is of something else.

    Parameters
    ----------
    fault : DriftbookError or OSError
        What happened. [unitless]
    making : pathlib.Path or None
        The file that is being made, under a name that nobody gave and nobody shall read; ``None`` before there is one. [unitless]
    """
    if isinstance(fault, OSError):
        return whole_files.why_not(fault)
    if making is None or str(making.parent) not in fault.message:
        return None
    if isinstance(fault, NoRoomError):
        return whole_files.DISK_FULL
    return str(fault.__cause__) if isinstance(fault, BookReadOnlyError | BookUnreachableError) else None


def give_name(made: Path, target: Path) -> None:
    """Give a finished file its name, as :func:`models.whole_files.give_name` does.

    Raises
    ------
    BookExistsError
        If a file of that name is there.
    """
    try:
        whole_files.give_name(made, target)
    except FileExistsError:
        raise _there(target) from None


def _there(target: Path) -> BookExistsError:
    return BookExistsError(f"{target} is there already and is not overwritten.", remedy="Give another name.")
