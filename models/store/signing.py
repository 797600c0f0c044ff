"""The key that signs the heads of a book: whether it can be used, and one word in the log when it is lost or comes back.

A key that is lost keeps nobody from recording, so nobody at a page notices it: an operator has to be told.
"""

from __future__ import annotations

import logging
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import sqlalchemy as sa

from models.errors import KeyFileError
from models.ledger.keys import Signer, read_signer
from models.tables.proofs import BookKeyRow

if TYPE_CHECKING:
    from models.store.proofs import BookKey

LOG = logging.getLogger("driftbook.book")

KEY_FILE = "key_file"
"""Name of the engine's option that says where the key of the book lies."""

_REMEDY = 'Put the right file back, or set another key: driftbook key --set --why "…"'


@dataclass(frozen=True, slots=True)
class Held:
    """The newest key that the book names, and the signer that its file gives; without one ``fault`` says why."""

    entry: int
    origin: str
    signer: Signer | None
    fault: str = ""


class _Told:
    """What was said of the key of each book in this process, so that it is said once and not with each head."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._faults: dict[tuple[str, str], str] = {}

    def changed(self, book: tuple[str, str], fault: str) -> bool:
        """Keep what is wrong now, nothing for a key that signs; tell whether that is news."""
        with self._lock:
            before = self._faults.get(book, "")
            self._faults[book] = fault
        return before != fault


_TOLD = _Told()


def held_key(connection: sa.Connection) -> Held | None:
    """Give the key of a book, and log it where it was lost or came back; ``None`` for a book that names no key.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book, whose engine says where the key file lies. [unitless]
    """
    path = _path(connection)
    held = _looked_at(connection, path)
    if held is not None and _TOLD.changed((held.origin, str(path)), held.fault):
        if held.fault:
            LOG.warning("%s New heads of the book are kept without a signature. %s", held.fault, _REMEDY)
        else:
            LOG.warning("The key of the book is back: new heads are signed again.")
    return held


def key_fault(engine: sa.Engine, path: Path) -> str | None:
    """Say what keeps a file from being the key of a book, and nothing to the log.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book's engine. [unitless]
    path : pathlib.Path
        The file, wherever the book looks for its key. [unitless]

    Returns
    -------
    str or None
        A sentence; empty where the file is the key, ``None`` for a book that names no key.
    """
    with engine.connect() as connection:
        held = _looked_at(connection, path.absolute())
    return None if held is None else held.fault


def file_fault(path: Path, key: BookKey) -> str:
    """Say what keeps a file from being a key that was read from a book; nothing where it is that key.

    Parameters
    ----------
    path : pathlib.Path
        The file. [unitless]
    key : BookKey
        The key. [unitless]
    """
    return _signer_for(path.absolute(), key.entry, key.public_key)[1]


def _looked_at(connection: sa.Connection, path: Path | None) -> Held | None:
    """Hold a file against the newest key that the book names."""
    key = BookKeyRow
    named = connection.execute(
        sa.select(key.entry, key.origin, key.public_key).order_by(key.entry.desc()).limit(1)
    ).first()
    if named is None:
        return None
    return Held(named.entry, named.origin, *_signer_for(path, named.entry, named.public_key))


def _signer_for(path: Path | None, entry: int, public_key: bytes) -> tuple[Signer | None, str]:
    signer, fault = _signer(path)
    if signer is not None and signer.public_key != public_key:
        return None, f"The key file {path} is not the key that entry {entry} names."
    return signer, fault


def signs(engine: sa.Engine) -> bool | None:
    """Tell whether new heads of a book are signed; ``None`` for a book that names no key.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book's engine. [unitless]
    """
    with engine.connect() as connection:
        held = held_key(connection)
    return None if held is None else held.signer is not None


def signer_of(connection: sa.Connection) -> Signer | None:
    """Give the key from the file that the engine was made with; ``None`` where there is none to be read."""
    return _signer(_path(connection))[0]


def _signer(path: Path | None) -> tuple[Signer | None, str]:
    """Read the key file; without a signer, say what is wrong with it."""
    if path is None:
        return None, "It is not known where the key file of the book lies."
    try:
        signer = read_signer(path)
    except KeyFileError as fault:
        return None, fault.message
    if signer is not None:
        return signer, ""
    return None, f"The key file {path} {_what_is_wrong(path)}."


def _path(connection: sa.Connection) -> Path | None:
    """Give where the key file lies, from the root on: a book on a server looks for it in the working folder."""
    path = connection.get_execution_options().get(KEY_FILE)
    return None if path is None else Path(path).absolute()


def _what_is_wrong(path: Path) -> str:
    try:
        there = path.exists()
    except PermissionError:  # the folder may not be looked into
        there = True
    return "may not be read by this user" if there else "is not there"
