"""The file of a SQLite book: made for its owner's eyes only, and copied aside before it is upgraded.

A copy gets its name when it is whole: one that broke off must not look like
a backup, nor take the room that a second try needs.
"""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from datetime import datetime
from pathlib import Path

from models.errors import BookReadOnlyError, DriftbookError, NoRoomError
from models.settings import Settings
from models.store.faults import meaning_of
from models.store.own_files import BESIDE
from models.whole_files import FULL, why_not

PART = ".part"
"""Ending of a copy that is being made."""


def make_file(path: Path) -> bool:
    """Make an empty file that only its owner may read; tells whether it was made, for one that is there stays as it is.

    What SQLite keeps beside it gets the same rights.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    try:
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
    except FileExistsError:
        return False
    return True


def for_everybody(path: Path) -> bool:
    """Tell whether every user of the machine may read a file, as far as its own rights and those of its folder go."""
    if os.name != "posix":
        return False
    return bool(path.stat().st_mode & 0o004 and path.absolute().parent.stat().st_mode & 0o001)


def take_away(path: Path) -> None:
    """Delete a file that we made, with what SQLite left beside it."""
    for end in BESIDE:
        path.with_name(f"{path.name}{end}").unlink(missing_ok=True)


def copy_aside(settings: Settings) -> Path:
    """Copy a SQLite book into a file beside it, named by the moment; gives its path.

    Parameters
    ----------
    settings : Settings
        Where the book is. [unitless]

    Raises
    ------
    DriftbookError
        If the book cannot be read, or there is no room for the copy; nothing is left behind then.
    """
    part = None
    try:
        part, copy = _free_names(settings.path)
        # A plain copy of the file would miss what still lies in the write-ahead log.
        with closing(sqlite3.connect(settings.path)) as source, closing(sqlite3.connect(part)) as sink:
            source.backup(sink)
        part.rename(copy)
    except BaseException as fault:
        if part is not None:
            take_away(part)
        told = _told(fault, settings)
        if told is None:
            raise
        raise told from fault
    return copy


def _free_names(path: Path) -> tuple[Path, Path]:
    """Take a name for the copy that nobody else has: of two upgrades at once each makes its own."""
    stamp, number = datetime.now().astimezone().strftime("%Y%m%d-%H%M%S"), 1
    while True:
        copy = path.with_name(f"{path.name}.before-{stamp}{f'-{number}' if number > 1 else ''}")
        part = copy.with_name(f"{copy.name}{PART}")
        if make_file(part):
            if not copy.exists():
                return part, copy
            take_away(part)
        number += 1


def _told(fault: BaseException, settings: Settings) -> DriftbookError | None:
    meant = meaning_of(fault, settings) if isinstance(fault, sqlite3.Error) else None
    again = f"driftbook upgrade --book {settings.shown}"
    if isinstance(meant, NoRoomError) or (isinstance(fault, OSError) and fault.errno in FULL):
        size = settings.path.stat().st_size / 1e6
        return NoRoomError(
            f"There is no room beside the book {settings.shown} for the copy that is made before an upgrade ({size:.1f} MB).",
            remedy=f"Nothing was changed. Make room on that disk for the copy and for what the upgrade adds, then type: {again}",
        )
    if isinstance(fault, OSError):
        return BookReadOnlyError(
            f"The copy of the book that is made before an upgrade cannot be written to {settings.path.parent}: "
            f"{why_not(fault)}.",
            remedy=f"Nothing was changed. Give the right to write to that folder, then type: {again}",
        )
    return meant
