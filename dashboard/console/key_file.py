"""What commands say of the key file of a book, and how it comes along to another place."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import sqlalchemy as sa

from dashboard.console.common import out
from dashboard.words import say
from models.ledger.keys import write_key_file
from models.settings import Settings
from models.store.engine import make_engine
from models.store.signing import key_fault


def tell_key(path: Path, fault: str | None) -> None:
    """Print whether a file is the key of a book.

    Parameters
    ----------
    path : pathlib.Path
        The key file. [unitless]
    fault : str or None
        What :func:`models.store.signing.key_fault` said of it. [unitless]
    """
    if fault is None:
        return
    if not fault:
        _print(say("key.file.right", path=path))
        return
    _print(say("key.file.wrong", fault=fault))
    if os.path.lexists(path):
        _print(say("key.file.other"))


def tell_new_place(settings: Settings) -> None:
    """Print of a book that was put to a new place whether its key lies there, and what its server needs.

    Parameters
    ----------
    settings : Settings
        Where the book is now. [unitless]
    """
    engine = make_engine(settings)
    try:
        tell_key(settings.key_path, key_fault(engine, settings.key_path))
    finally:
        engine.dispose()
    tell_grants(settings)


def tell_grants(settings: Settings) -> None:
    """Print of a new book on a server that the role of the server has no rights in it."""
    if not settings.is_file:
        _print(say("move.grants", shown=settings.shown))


def bring_key(engine: sa.Engine, source: Settings, target: Settings) -> None:
    """Copy the key of a book to where its new place looks for it, or say why it is not there; a file that is there is left alone.

    ``DRIFTBOOK_KEY`` names the key of both places, but the one of a SQLite book may still lie beside it.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book as it was. [unitless]
    source, target : Settings
        Where the book was, and where it is now. [unitless]
    """
    wanted = target.key_path
    fault = key_fault(engine, wanted)
    held = None
    if fault:
        places = (source.key_path, replace(source, key=None).key_path)
        held = next((one for one in places if key_fault(engine, one) == ""), None)
    if held is None:
        tell_key(wanted, fault)
        return
    try:
        wanted.parent.mkdir(parents=True, exist_ok=True)
        write_key_file(wanted, held.read_bytes())
    except OSError as why:
        if os.path.lexists(wanted):
            _print(say("move.key.left", fault=fault, held=held))
        else:
            _print(say("move.key.not_copied", held=held, wanted=wanted, why=why.strerror or why))
    else:
        _print(say("move.key.copied", held=held, wanted=wanted))


def _print(text: str) -> None:
    out.print(text, markup=False, soft_wrap=True)
