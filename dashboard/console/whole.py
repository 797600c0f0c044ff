"""Files that a command writes: whole or not at all, and over nothing that it did not make itself."""

from __future__ import annotations

import os
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from models.errors import ConflictError
from models.ledger.package_verifier import MANIFEST, VERIFIER
from models.settings import Settings
from models.store.own_files import refuse_own
from models.whole_files import not_written, write_new, write_whole


@dataclass(frozen=True, slots=True)
class Kind:
    """What may be replaced by a newer one of its kind: what it is called, and how a file is known to be one."""

    name: str
    fits: Callable[[Path], bool]


def _is_pdf(path: Path) -> bool:
    with path.open("rb") as stream:
        return stream.read(5) == b"%PDF-"


def _is_package(path: Path) -> bool:
    try:
        with zipfile.ZipFile(path) as packed:
            return {MANIFEST, VERIFIER} <= set(packed.namelist())
    except (zipfile.BadZipFile, NotImplementedError, ValueError):
        return False


PAPER = Kind("a PDF", _is_pdf)
PACKAGE = Kind("the package of a machine", _is_package)


def check_new(path: Path, elsewhere: str, settings: Settings | None = None) -> None:
    """Refuse a place where anything is.

    Parameters
    ----------
    path : pathlib.Path
        Where a file is to be written. [unitless]
    elsewhere : str
        How another name is given: ``'-o NAME'``. [unitless]
    settings : Settings, optional
        The book, whose files are not written over even where they are not there now. [unitless]

    Raises
    ------
    ConflictError
        If something is there, or the place is the book's.
    """
    if os.path.lexists(path):
        raise ConflictError(
            f"{path} is there already and is not overwritten.", remedy=f"Give another name: {elsewhere}."
        )
    if settings is not None:
        refuse_own(settings, path)


def put_new(path: Path, data: bytes, elsewhere: str, settings: Settings | None = None) -> None:
    """Write a file where nothing is.

    Parameters
    ----------
    path : pathlib.Path
        Where it goes. [unitless]
    data : bytes
        All of it. [unitless]
    elsewhere : str
        How another name is given. [unitless]
    settings : Settings, optional
        The book. [unitless]

    Raises
    ------
    ConflictError
        If something is there, or the place is the book's.
    NotWrittenError
        If it cannot be written; nothing of it is left then.
    """
    check_new(path, elsewhere, settings)
    try:
        write_new(path, data)
    except FileExistsError:  # somebody was quicker
        check_new(path, elsewhere, settings)
        raise
    except OSError as fault:
        raise not_written(path, fault, elsewhere) from fault


def check_over(path: Path, kind: Kind, elsewhere: str, settings: Settings) -> None:
    """Refuse a place where anything else is than an older file of the same kind; a link is something else.

    Parameters
    ----------
    path : pathlib.Path
        Where a file is to be written. [unitless]
    kind : Kind
        What is to be written. [unitless]
    elsewhere : str
        How another name is given. [unitless]
    settings : Settings
        The book. [unitless]

    Raises
    ------
    ConflictError
        If something else is there, or the place is the book's.
    """
    refuse_own(settings, path)
    if not os.path.lexists(path):
        return
    if path.is_symlink():
        why = "it is a link"
    elif _fits(kind, path):
        return
    else:
        why = f"it is not {kind.name}"
    raise ConflictError(
        f"{path} is there already and is not overwritten: {why}.", remedy=f"Give another name: {elsewhere}."
    )


def _fits(kind: Kind, path: Path) -> bool:
    try:
        return path.is_file() and kind.fits(path)
    except OSError:  # what cannot be looked at
        return False


def put_over(path: Path, data: bytes, kind: Kind, elsewhere: str, settings: Settings) -> None:
    """Write a file where nothing is, or in the place of an older one of its kind.

    Parameters
    ----------
    path : pathlib.Path
        Where it goes. [unitless]
    data : bytes
        All of it. [unitless]
    kind : Kind
        What it is. [unitless]
    elsewhere : str
        How another name is given. [unitless]
    settings : Settings
        The book. [unitless]

    Raises
    ------
    ConflictError
        If something else is there, or the place is the book's.
    NotWrittenError
        If it cannot be written; what was there stays.
    """
    check_over(path, kind, elsewhere, settings)
    try:
        write_whole(path, data)
    except OSError as fault:
        raise not_written(path, fault, elsewhere) from fault
