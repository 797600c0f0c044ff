"""Bring a book to the revision of this version, and seal what an older one left unsealed: all of it or nothing."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from models.errors import DriftbookError
from models.settings import Settings
from models.store.engine import make_engine
from models.store.missing_seals import seal_missing
from models.store.revision import (
    BACKUP_FIRST,
    check_known,
    check_revision,
    missing,
    needed_revision,
    revision_of,
    upgrade,
)


@dataclass(frozen=True, slots=True)
class Upgraded:
    """What an upgrade did: the revision before, where the copy lies, how many entries were sealed."""

    before: str
    copy: Path | None
    sealed: int


def upgrade_book(settings: Settings, *, has_backup: bool = False) -> Upgraded:
    """Bring a book to the revision of this version.

    The entries that have no statement are sealed in the transaction of the
    upgrade: a book that went on and was not sealed would look like one into
    which somebody had put entries behind the tool's back.

    Parameters
    ----------
    settings : Settings
        Where the book and its key are. [unitless]
    has_backup : bool
        Whether there is a backup of a book on a database server. [unitless]

    Raises
    ------
    BookMissingError
        If there is no book.
    WrongRevisionError
        If a newer version wrote it.
    DriftbookError
        If it lies on a database server and there is no backup, or it cannot be upgraded; nothing was changed then.
    """
    if settings.is_file and not settings.path.exists():
        raise missing(settings)
    engine = make_engine(settings)
    try:
        before = revision_of(engine)
        if before is None:
            check_revision(settings, engine)
    finally:
        engine.dispose()
    if before is None:
        raise missing(settings)
    check_known(f"The book {settings.shown}", before)
    copy, sealed = None, []
    if before != needed_revision():
        if not settings.is_file and not has_backup:
            raise DriftbookError(
                f"The book {settings.shown} lies on a database server, which is not copied aside: nothing was changed.",
                remedy=f"Stop the servers, then {BACKUP_FIRST}. Then say so: driftbook upgrade --i-have-a-backup",
            )
        copy = upgrade(settings, then=lambda connection: sealed.append(seal_missing(connection)))
    return Upgraded(before, copy, sum(sealed))
