"""Seal what an older version wrote: the statements of entries that have none, and the first head over them."""

from __future__ import annotations

from datetime import datetime

from models.commands.set_key import set_key
from models.settings import Settings
from models.store.engine import make_engine
from models.store.known import sites
from models.store.missing_seals import seal_missing
from models.store.proofs import key_in_force
from models.store.unit import locked


def seal_book(settings: Settings, *, by: str, now: datetime) -> int:
    """Make the statements that are missing, in one transaction, and set a key where the book has none.

    What it makes binds what the book says now; it cannot tell whether
    something was changed before.

    Parameters
    ----------
    settings : Settings
        Where the book and its key are. [unitless]
    by : str
        Who does it. [unitless]
    now : datetime
        Aware moment. [unitless]

    Returns
    -------
    int
        Number of entries that were sealed.
    """
    engine = make_engine(settings)
    try:
        with locked(engine) as connection:
            sealed = seal_missing(connection)
        with engine.connect() as connection:
            held = key_in_force(connection)
            site_id = next((site.site_id for site in sites(connection)), None)
        if held is None and site_id is not None:
            set_key(settings, site_id, by=by, now=now, why="")
        return sealed
    finally:
        engine.dispose()
