"""Sign an entry off: a second person says what it means to them, bound to what the entry says."""

from __future__ import annotations

from datetime import datetime

import sqlalchemy as sa

from models.errors import ConflictError, InvalidValueError, UnknownNameError
from models.store.signoffs import signable
from models.store.unit import writing
from models.tables.proofs import SignoffRow
from models.values.kinds import Kind, Meaning
from models.values.story import Site


def sign_off(
    engine: sa.Engine, site: Site, signed_entry: int, *, meaning: Meaning, by: str, now: datetime, remark: str = ""
) -> int:
    """Append a sign-off of a version of a job.

    The signature consists of the name of who signs, the moment and the
    meaning (as 21 CFR 11.50 lists for electronic signatures), and is bound to
    the leaf hash of the entry that it stands under: a later amendment is
    another entry and is not signed by it.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book's engine. [unitless]
    site : Site
        The site of the entry. [unitless]
    signed_entry : int
        Number of the entry. [unitless]
    meaning : Meaning
        What the signature says. [unitless]
    by : str
        Who signs. [unitless]
    now : datetime
        Aware moment. [unitless]
    remark : str
        Words beside it, if any. [unitless]

    Returns
    -------
    int
        Number of the entry of the sign-off.

    Raises
    ------
    UnknownNameError
        If the site has no job under that entry.
    ConflictError
        If who signs recorded it or did the work, if it was amended since, or if the same was signed before.
    InvalidValueError
        If no name is given.
    """
    name = " ".join(by.split())
    if not name:
        raise InvalidValueError("A sign-off needs the name of who signs.", remedy="Give your name.")
    with writing(engine, site.site_id, name, now) as unit:
        found = signable(unit.connection, site.site_id, signed_entry)
        if found is None:
            raise UnknownNameError(
                f"Entry {signed_entry} is no job of this site.", remedy="Sign the entry of a job or of an amendment."
            )
        if found.superseded_by is not None:
            raise ConflictError(
                f"Entry {signed_entry} was amended by entry {found.superseded_by}.",
                remedy=f"Read and sign entry {found.superseded_by}: that is what counts now.",
            )
        if name.casefold() in {one.casefold() for one in found.involved}:
            raise ConflictError(
                f"{name} recorded this job or did its work, and so cannot sign it off.",
                remedy="A second person has to look at it and sign.",
            )
        if (name, meaning) in found.signed:
            raise ConflictError(f"{name} has signed entry {signed_entry} as '{meaning}' already.")
        if found.leaf is None:
            raise ConflictError(
                f"Entry {signed_entry} has no statement yet, so a signature cannot be bound to it.",
                remedy="Type: driftbook upgrade",
            )
        entry = unit.append(Kind.SIGNED_OFF, signed_entry, why=remark.strip())
        unit.add(SignoffRow, (entry, site.site_id, signed_entry, str(meaning), found.leaf))
    return entry
