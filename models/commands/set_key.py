"""Set the key that signs the heads of the book: the first with the book, a further one when the old one is lost or old."""

from __future__ import annotations

import secrets
from datetime import datetime
from pathlib import Path

import sqlalchemy as sa

from models.errors import KeyFileError
from models.ledger.keys import Signer, make_key, read_signer
from models.settings import Settings
from models.store.engine import make_engine
from models.store.hand_over import hand_over_words
from models.store.proofs import BookKey, key_in_force
from models.store.unit import Unit, writing
from models.tables.proofs import BookKeyRow
from models.values.kinds import Kind

_NAME_IT = "Name the file that signed so far: --old-key FILE. Where it is lost, leave that out."


def new_origin() -> str:
    """Give a name for a new book, under which its heads are known everywhere: no two books have the same."""
    return f"driftbook/{secrets.token_hex(8)}"


def say_key(unit: Unit, signer: Signer, origin: str, why: str = "") -> int:
    """Append that a key signs from now on."""
    entry = unit.append(Kind.KEY_SET, why=why)
    unit.add(BookKeyRow, (entry, unit.site_id, origin, signer.public_key))
    return entry


def set_key(
    settings: Settings, site_id: int, *, by: str, now: datetime, why: str, old: Path | None = None
) -> int | None:
    """Make the key in the key file the one that signs, making a new file where there is none.

    Parameters
    ----------
    settings : Settings
        Where the book and its key are. [unitless]
    site_id : int
        Site in whose name it is said. [unitless]
    by : str
        Who says it. [unitless]
    now : datetime
        Aware moment. [unitless]
    why : str
        Reason; it stays in the book. [unitless]
    old : pathlib.Path, optional
        File of the key that signs so far: it then signs that it hands over. [unitless]

    Returns
    -------
    int or None
        Number of the entry; ``None`` if that key signs already.

    Raises
    ------
    KeyFileError
        If the file cannot be made or read, no reason is given, what is given as the old key does not sign so far, or it is still the one in the key file.
    """
    engine = make_engine(settings)
    try:
        return _set(engine, settings, site_id, by, now, why, old)
    finally:
        engine.dispose()


def _set(
    engine: sa.Engine, settings: Settings, site_id: int, by: str, now: datetime, why: str, old: Path | None
) -> int | None:
    with engine.connect() as connection:
        held = key_in_force(connection)
    if held is not None and not why.strip():
        raise KeyFileError("A new key needs a reason: it stays in the book.", remedy='Give it: --why "…"')
    giver = None if old is None else _giver(old, held)
    signer = make_key(settings.key_path)
    if held is not None and held.public_key == signer.public_key:
        if giver is not None:  # who names the old key believes that another takes its place
            raise KeyFileError(
                f"The key in {settings.key_path} is the old key itself; nothing was written, and it still signs.",
                remedy="Move that file away, and type the same again: a new key is made in its place.",
            )
        return None
    with writing(engine, site_id, by, now) as unit:
        words = why.strip()
        if giver is not None and held is not None:
            words += " " + hand_over_words(unit.connection, giver, held.origin, unit.next_number, signer.public_key)
        return say_key(unit, signer, held.origin if held else new_origin(), words)


def _giver(old: Path, held: BookKey | None) -> Signer:
    """Read the key that hands over."""
    try:
        signer = read_signer(old)
    except KeyFileError as fault:  # its own remedy sets a key to which nobody hands over
        raise KeyFileError(
            f"The file {old} of the old key is no key of a book (an Ed25519 key in PEM is expected); nothing was written.",
            remedy=_NAME_IT,
        ) from fault
    if signer is None:
        raise KeyFileError(
            f"The file {old} of the old key is not there, or may not be read; nothing was written.",
            remedy=_NAME_IT,
        )
    if held is None or held.public_key != signer.public_key:
        named = "names no key yet" if held is None else f"has the key of entry {held.entry}"
        raise KeyFileError(
            f"The file {old} is not the key that signs so far (the book {named}); nothing was written.",
            remedy=_NAME_IT,
        )
    return signer
