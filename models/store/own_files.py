"""The files of a book that nothing else may be written over: the file itself, what SQLite keeps beside it, and the key."""

from __future__ import annotations

import os
from pathlib import Path

from models.errors import ConflictError
from models.settings import Settings

BESIDE = ("", "-journal", "-wal", "-shm")
"""Endings of a SQLite file and of those that SQLite keeps beside it."""


def refuse_own(settings: Settings, path: Path) -> None:
    """Refuse the name of a file of the book for anything else, by whatever way it leads there, and also where none is there now.

    Parameters
    ----------
    settings : Settings
        Where the book and its key are. [unitless]
    path : pathlib.Path
        Where something is to be written. [unitless]

    Raises
    ------
    ConflictError
        If it is a file of the book.
    """
    own = [Path(f"{place}{end}") for place in _ways(settings.path) for end in BESIDE] if settings.is_file else []
    named = _ways(path)
    for one in (*own, settings.key_path):
        if named & _ways(one) or _same(one, path):
            raise ConflictError(
                f"{path} belongs to the book {settings.shown}, and nothing else is written there.",
                remedy="Give another name.",
            )


def _ways(path: Path) -> set[str]:
    """Give a path as it stands, through the links of its folder, and through its own."""
    folder = os.path.realpath(path.parent)
    return {str(Path(folder) / path.name), os.path.realpath(path)}


def _same(one: Path, other: Path) -> bool:
    """Tell whether two names are one file: by a second name of it, or by small letters for capitals where that is the same."""
    try:
        return one.samefile(other)
    except OSError:
        return False
