"""Set the key that signs the heads of the book: the first with the book, a further one when the old one is lost or old."""

from __future__ import annotations

import secrets
from datetime import datetime

import sqlalchemy as sa

from models.errors import KeyFileError
from models.ledger.keys import Signer, make_key
from models.settings import Settings
from models.store.engine import make_engine
from models.store.proofs import key_in_force
from models.store.unit import Unit, writing
from models.tables.proofs import BookKeyRow
from models.values.kinds import Kind


def new_origin() -> str:
    """Give a name for a new book, under which its heads are known everywhere: no two books have the same."""
    return f"driftbook/{secrets.token_hex(8)}"


def say_key(unit: Unit, signer: Signer, origin: str, why: str = "") -> int:
    """Append that a key signs from now on."""
    entry = unit.append(Kind.KEY_SET, why=why)
    unit.add(BookKeyRow, (entry, unit.site_id, origin, signer.public_key))
    return entry


def set_key(settings: Settings, site_id: int, *, by: str, now: datetime, why: str) -> int | None:
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

    Returns
    -------
    int or None
        Number of the entry; ``None`` if that key signs already.

    Raises
    ------
    KeyFileError
        If the file cannot be made or read, or no reason is given.
    """
    engine = make_engine(settings)
    try:
        return _set(engine, settings, site_id, by, now, why)
    finally:
        engine.dispose()


def _set(engine: sa.Engine, settings: Settings, site_id: int, by: str, now: datetime, why: str) -> int | None:
    with engine.connect() as connection:
        held = key_in_force(connection)
    if held is not None and not why.strip():
        raise KeyFileError("A new key needs a reason: it stays in the book.", remedy='Give it: --why "…"')
    signer = make_key(settings.key_path)
    if held is not None and held.public_key == signer.public_key:
        return None
    with writing(engine, site_id, by, now) as unit:
        return say_key(unit, signer, held.origin if held else new_origin(), why.strip())
