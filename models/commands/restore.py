"""Take a backup back into a new book: checked whole, or not at all."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from models.commands.backup import give_name, why_not_written
from models.errors import BackupError, BookDamagedError, BookExistsError, DriftbookError, UnreadableFileError
from models.settings import Settings
from models.store.backup import Copied, check_file, copy_back, copy_to_server, revision_of_file
from models.store.copying import DoesNotFitError
from models.store.revision import check_known, needed_revision
from models.whole_files import making_book

IN_PLACE_OF = (
    "Before it takes the place of another book: stop the server and every program that has that one open; move its file aside, and "
    "with it the files of the same name that end in -wal and -shm; only then give the new book that name."
)
"""How a new book takes the place of an old one: a write-ahead log that is left there is one of the old book's, and would be read into the new one."""

_OTHER = "No book was made. Take another backup."


def restore(file: Path, settings: Settings) -> Copied | None:
    """Take a backup back.

    Parameters
    ----------
    file : pathlib.Path
        A file that a backup made. [unitless]
    settings : Settings
        Where the new book is to be; one that is there is never overwritten. [unitless]

    Returns
    -------
    Copied or None
        What the book holds; ``None`` for one of an older revision, which can be held against
        nothing before it is upgraded.

    Raises
    ------
    BookExistsError
        If there is a book.
    UnreadableFileError
        If the file is no backup.
    WrongRevisionError
        If a newer version wrote it.
    BookDamagedError
        If it is damaged; nothing is left behind then.
    BackupError
        If the book cannot be written; nothing is left behind then.
    """
    if file.is_dir():
        raise UnreadableFileError(f"{file} is a folder.", remedy="Name the backup in it.")
    if not file.is_file():
        raise UnreadableFileError(f"There is no file {file}.", remedy="Check the name of the backup.")
    with _told_of_backup(file):
        found = revision_of_file(file)
    if found is None:
        raise UnreadableFileError(f"{file} holds no book.", remedy="Give a file that 'driftbook backup' made.")
    check_known(f"The backup {file}", found)
    if not settings.is_file:
        with _told_of_backup(file):
            return copy_to_server(file, settings)
    beside = [Path(f"{settings.path}{end}") for end in ("", "-wal", "-shm") if Path(f"{settings.path}{end}").exists()]
    if beside:
        raise BookExistsError(
            f"{beside[0]} is there already and is not overwritten.",
            remedy=f"Name a new book: --book NEW. Look at it. {IN_PLACE_OF}",
        )
    making = None
    try:
        settings.path.parent.mkdir(parents=True, exist_ok=True)
        with making_book(settings.path.parent) as making:
            copied = _taken_back(file, making, found)
            give_name(making, settings.path)
    except (DriftbookError, OSError) as fault:
        why = why_not_written(fault, making)
        if why is None:
            raise
        raise BackupError(
            f"The book cannot be made in {settings.path.parent}: {why}.",
            remedy="Nothing of it is left there. Make room, or choose another place with --book NEW; it needs room for the size of the backup.",
        ) from fault
    return copied


def _taken_back(file: Path, making: Path, revision: str) -> Copied | None:
    """Copy a backup and look whether it is whole, in its pages and by its statements."""
    try:
        with _told_of_backup(file):
            copy_back(file, making)
            return check_file(making, {}) if revision == needed_revision() else None
    except DoesNotFitError as fault:
        raise BookDamagedError(
            f"{file} is not what it was when it was written. {fault.message}", remedy=_OTHER, found=fault.message
        ) from fault


@contextmanager
def _told_of_backup(file: Path) -> Iterator[None]:
    """Tell damage as that of the backup, wherever it was seen."""
    try:
        yield
    except BookDamagedError as fault:
        raise BookDamagedError(
            f"The backup {file} is damaged: {fault.found}.",
            remedy=f"{_OTHER} 'driftbook verify --book FILE' says which entries of this one are whole, as far as they can be read.",
            found=fault.found,
        ) from fault
