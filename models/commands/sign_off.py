"""Sign an entry off: a second person says what it means to them, bound to what the entry says."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import sqlalchemy as sa

from models.errors import ConflictError, InvalidValueError, UnknownNameError
from models.sentences.told import Told
from models.store.accounts import name_key, names_of
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

    Who signs is known by every name that their account had at the site, not
    only by today's: nobody comes to sign their own work by a change of name.

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
        If who signs recorded it or did the work, if it was amended since or says that the job is void, or if the same was signed before.
    InvalidValueError
        If no name is given.
    """
    name = " ".join(by.split())
    if not name:
        raise InvalidValueError(Told("told.sign.name"), remedy=Told("told.sign.name.remedy"))
    with writing(engine, site.site_id, name, now) as unit:
        found = signable(unit.connection, site.site_id, signed_entry)
        if found is None:
            raise UnknownNameError(Told("told.sign.no_job", entry=signed_entry), remedy=Told("told.sign.no_job.remedy"))
        if found.superseded_by is not None:
            raise ConflictError(
                Told("told.sign.amended", entry=signed_entry, later=found.superseded_by),
                remedy=Told("told.sign.amended.remedy", later=found.superseded_by),
            )
        if found.void:
            raise ConflictError(Told("told.sign.void", entry=signed_entry), remedy=Told("told.sign.void.remedy"))
        theirs = {name_key(name)} | {name_key(one) for one in names_of(unit.connection, site.site_id, name)}
        own = [one for one in found.involved if name_key(one) in theirs]
        if own:
            raise ConflictError(_own(name, own), remedy=Told("told.sign.own.remedy"))
        if any(name_key(one) in theirs and said == meaning for one, said in found.signed):
            raise ConflictError(
                Told("told.sign.twice", name=name, entry=signed_entry, meaning=Told(f"told.meaning.{meaning}"))
            )
        if found.leaf is None:
            raise ConflictError(
                Told("told.sign.unsealed", entry=signed_entry),
                remedy=Told("told.sign.unsealed.remedy"),
            )
        entry = unit.append(Kind.SIGNED_OFF, signed_entry, why=remark.strip())
        unit.add(SignoffRow, (entry, site.site_id, signed_entry, str(meaning), found.leaf))
    return entry


def _own(name: str, own: Sequence[str]) -> Told:
    """Say that it is their own work; under the name that they had then, where it is not among those of the job today."""
    if any(name_key(one) == name_key(name) for one in own):
        return Told("told.sign.own", name=name)
    return Told("told.sign.own.before", name=name, before=own[0])
