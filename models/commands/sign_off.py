"""Sign an entry off: a second person says what it means to them, bound to what the entry says."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import sqlalchemy as sa

from models.commands.amend_job import other_version
from models.commands.on_server import OnServer, hold
from models.errors import AlteredBookError, ConflictError, DriftbookError, InvalidValueError, UnknownNameError
from models.sentences.told import Told
from models.store.accounts import names_of
from models.store.as_written import differences_in
from models.store.signoffs import Signable, signable
from models.store.unit import writing
from models.tables.proofs import SignoffRow
from models.values.kinds import Kind, Meaning
from models.values.own_work import name_keys, same_person, written_alike
from models.values.roles import Permission
from models.values.spelling import seen
from models.values.story import Site


def sign_off(
    engine: sa.Engine,
    site: Site,
    signed_entry: int,
    *,
    meaning: Meaning,
    by: str,
    now: datetime,
    remark: str = "",
    made_from: str | None = None,
    command: OnServer | None = None,
) -> int:
    """Append a sign-off of a version of a job.

    The signature consists of the name of who signs, the moment and the
    meaning (as 21 CFR 11.50 lists for electronic signatures), and is bound to
    the leaf hash of the entry that it stands under: a later amendment is
    another entry and is not signed by it.

    Who signs is known by every name that their account had at the site, not
    only by today's: nobody comes to sign their own work by a change of name,
    nor by an amendment of somebody else: who recorded an earlier version, or
    did the work by what it says, does not sign a later one.

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
    made_from : str, optional
        Leaf hash of the entry that was read before it was signed, in hex; ``None`` takes whatever stands under the number. [unitless]
    command : OnServer, optional
        The command on the server that signs, where no password is asked for. [unitless]

    Returns
    -------
    int
        Number of the entry of the sign-off.

    Raises
    ------
    UnknownNameError
        If the site has no job under that entry.
    OtherVersionError
        If something else stands under the number than what was read.
    ConflictError
        If who signs recorded it, or a version before it, or did the work, if it was amended since or says that the job is void, or if the same was
        signed before; of a command also where people sign in and no account of that name may sign off.
    InvalidValueError
        If no name is given.
    AlteredBookError
        If the rows of the entry are not what its statement says: its signer read something else than what the signature is bound to.
    """
    name = seen(by)
    if not name:
        raise InvalidValueError(Told("told.sign.name"), remedy=Told("told.sign.name.remedy"))
    with writing(engine, site.site_id, name, now) as unit:
        found = signable(unit.connection, site.site_id, signed_entry)
        if found is None:
            raise UnknownNameError(Told("told.sign.no_job", entry=signed_entry), remedy=Told("told.sign.no_job.remedy"))
        if made_from is not None and made_from != (found.leaf or b"").hex():
            raise other_version(signed_entry)
        hold(command, unit, site, name, Permission.SIGN_OFF)
        theirs = _names(unit.connection, site, name)
        refused = _refusal(found, signed_entry, name, theirs)
        if refused is not None:
            raise refused
        if any(said == meaning and _theirs([one], theirs) for one, said in found.signed):
            raise ConflictError(
                Told("told.sign.twice", name=name, entry=signed_entry, meaning=Told(f"told.meaning.{meaning}"))
            )
        if found.leaf is None:
            raise ConflictError(
                Told("told.sign.unsealed", entry=signed_entry),
                remedy=Told("told.sign.unsealed.remedy"),
            )
        if altered := _altered(unit.connection, site, found, signed_entry):
            raise altered
        entry = unit.append(Kind.SIGNED_OFF, signed_entry, why=remark.strip())
        unit.add(SignoffRow, (entry, site.site_id, signed_entry, str(meaning), found.leaf))
    return entry


def why_not(engine: sa.Engine, site: Site, signed_entry: int, by: str) -> DriftbookError | None:
    """Give why somebody cannot sign a job, whatever the meaning; ``None`` where they can, and where it is no job of the site.

    A page asks before it offers to sign.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book's engine. [unitless]
    site : Site
        The site of the entry. [unitless]
    signed_entry : int
        Number of the entry. [unitless]
    by : str
        Who would sign. [unitless]
    """
    name = seen(by)
    with engine.connect() as connection:
        found = signable(connection, site.site_id, signed_entry)
        if found is None:
            return None
        refused = _refusal(found, signed_entry, name, _names(connection, site, name))
        return refused or _altered(connection, site, found, signed_entry)


def _altered(connection: sa.Connection, site: Site, found: Signable, signed_entry: int) -> AlteredBookError | None:
    if found.leaf is None or not differences_in(connection, site.site_id, signed_entry):
        return None
    return AlteredBookError(Told("told.sign.altered", entry=signed_entry), remedy=Told("told.sign.altered.remedy"))


def _names(connection: sa.Connection, site: Site, name: str) -> frozenset[str]:
    """Give the keys of every name that whoever has a name has or had at a site."""
    return frozenset().union(*map(name_keys, (name, *names_of(connection, site.site_id, name))))


def _refusal(found: Signable, signed_entry: int, name: str, theirs: frozenset[str]) -> ConflictError | None:
    """Say why an entry is not to be signed, or not by them; ``None`` where nothing keeps them from it.

    What an amendment does not change stays the work of whoever measured and recorded it before: nobody signs a job of which they had a
    hand in any version.
    """
    if found.superseded_by is not None:
        return ConflictError(
            Told("told.sign.amended", entry=signed_entry, later=found.superseded_by),
            remedy=Told("told.sign.amended.remedy", later=found.superseded_by),
        )
    if found.void:
        return ConflictError(Told("told.sign.void", entry=signed_entry), remedy=Told("told.sign.void.remedy"))
    if own := _theirs(found.involved, theirs):
        return _own(name, own)
    for entry, involved in found.earlier:
        if own := _theirs(involved, theirs):
            return _own(name, own, entry)
    return None


def _theirs(involved: Sequence[str], theirs: frozenset[str]) -> list[str]:
    """Give those of some names that are theirs."""
    return [one for one in involved if not theirs.isdisjoint(name_keys(one))]


def _own(name: str, own: Sequence[str], entry: int | None = None) -> ConflictError:
    """Say that it is their own work, or of which earlier version it is; under the name that they had then, where none of those is today's.

    A name that is only nearly theirs is told as it stands, with what to do if it is somebody else's.
    """
    now = [one for one in own if same_person(one, name)]
    other = None if not now or any(written_alike(seen(one), name) for one in now) else seen(now[0])
    if other is not None:
        nearly = Told("told.sign.alike", name=name, other=other)
        if entry is not None:
            nearly = Told("told.sign.version.alike", name=name, other=other, entry=entry)
        return ConflictError(nearly, remedy=Told("told.sign.alike.remedy", other=other))
    if entry is not None:
        said = Told("told.sign.version", name=name, entry=entry)
        if not now:
            said = Told("told.sign.version.before", name=name, before=own[0], entry=entry)
    else:
        said = Told("told.sign.own", name=name) if now else Told("told.sign.own.before", name=name, before=own[0])
    return ConflictError(said, remedy=Told("told.sign.own.remedy"))
