"""Write the whole book as an open data package."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import sqlalchemy as sa

from models.store.copying import one_state
from models.store.package import Written, new_package, write_package
from models.store.revision import needed_revision


def export_book(
    engine: sa.Engine, path: Path, *, version: str, now: datetime, tick: Callable[[str, int], None] | None = None
) -> Written:
    """Write every table of the history, as of one state of the book; the book is only read.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book. [unitless]
    path : pathlib.Path
        A folder that is not there yet, or a file that ends in ``.zip``. [unitless]
    version : str
        Version of this tool, for the package. [unitless]
    now : datetime
        Aware moment. [unitless]
    tick : callable, optional
        Is told each table and its rows. [unitless]

    Raises
    ------
    ConflictError
        If something is there already.
    """
    with new_package(path, now) as sink, one_state(engine) as connection:
        return write_package(
            connection, sink, path, revision=needed_revision(), version=version, made_at=now, tick=tick
        )
