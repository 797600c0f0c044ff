"""Take a backup back into a new book: checked whole, or not at all."""

from __future__ import annotations

import tempfile
from pathlib import Path

from models.commands.backup import give_name
from models.errors import BookDamagedError, BookExistsError, UnreadableFileError
from models.settings import Settings
from models.store.backup import Copied, check_file, copy_back, copy_to_server, revision_of_file
from models.store.copying import DoesNotFitError
from models.store.revision import needed_revision


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
    BookDamagedError
        If it is damaged; nothing is left behind then.
    """
    if not file.is_file():
        raise UnreadableFileError(f"There is no file {file}.", remedy="Check the name of the backup.")
    found = revision_of_file(file)
    if found is None:
        raise UnreadableFileError(f"{file} holds no book.", remedy="Give a file that 'driftbook backup' made.")
    if not settings.is_file:
        return copy_to_server(file, settings)
    beside = [Path(f"{settings.path}{end}") for end in ("", "-wal", "-shm") if Path(f"{settings.path}{end}").exists()]
    if beside:
        raise BookExistsError(
            f"{beside[0]} is there already and is not overwritten.",
            remedy="Name a new book: --book NEW. Look at it, and only then let it take the place of the old one.",
        )
    settings.path.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix=".driftbook-", dir=settings.path.parent) as folder:
        making = Path(folder) / "making.db"
        making.touch(mode=0o600)
        copy_back(file, making)
        try:
            copied = check_file(making, {}) if found == needed_revision() else None
        except DoesNotFitError as fault:
            raise BookDamagedError(
                f"{file} is not what it was when it was written. {fault.message}",
                remedy="No book was made. Take another backup.",
            ) from fault
        give_name(making, settings.path)
    return copied
