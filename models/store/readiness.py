"""Whether a book can be worked with now: reachable, of the right revision, and writable."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

import sqlalchemy as sa

from models.errors import BookCrowdedError, DriftbookError
from models.settings import Settings
from models.store.revision import needed_revision, revision_of

LEAST_ROOM = 16 << 20
"""With less room than this on its disk a SQLite book does not count as writable, in bytes."""


@dataclass(frozen=True, slots=True)
class Readiness:
    """What can be said of a book without looking at a record; ``free_bytes`` is ``None`` where it lies on a server."""

    reachable: bool
    right_revision: bool
    writable: bool
    free_bytes: int | None = None

    @property
    def ready(self) -> bool:
        """Tell whether all of it holds."""
        return self.reachable and self.right_revision and self.writable


def readiness(engine: sa.Engine, settings: Settings) -> Readiness:
    """Look at a book.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book's engine. [unitless]
    settings : Settings
        Where the book is. [unitless]

    Raises
    ------
    BookCrowdedError, sqlalchemy.exc.TimeoutError
        If no connection to it is to be had.
    """
    free = _free(settings.path.parent) if settings.is_file else None
    try:
        right = revision_of(engine) == needed_revision()
        writable = _file_writable(settings.path, free) if settings.is_file else _server_writable(engine)
    except (BookCrowdedError, sa.exc.TimeoutError):
        raise  # no connection was to be had: that says nothing of the book, and is told as what it is
    except (sa.exc.SQLAlchemyError, DriftbookError, OSError):
        return Readiness(reachable=False, right_revision=False, writable=False, free_bytes=free)
    return Readiness(reachable=True, right_revision=right, writable=writable, free_bytes=free)


def _free(folder: Path) -> int | None:
    import shutil

    try:
        return shutil.disk_usage(folder).free
    except OSError:
        return None


def _file_writable(path: Path, free: int | None) -> bool:
    read_only = hasattr(os, "statvfs") and bool(os.statvfs(path.parent).f_flag & getattr(os, "ST_RDONLY", 1))
    allowed = os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)
    return allowed and not read_only and (free is None or free >= LEAST_ROOM)


def _server_writable(engine: sa.Engine) -> bool:
    with engine.connect() as connection:
        return connection.execute(sa.text("SELECT current_setting('transaction_read_only')")).scalar() == "off"
