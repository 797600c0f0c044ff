"""Accounts: add one, change what it may do at a site, set its password.

Each says so in an entry of the book; the secrets themselves stand in no entry.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime

import sqlalchemy as sa

from models.commands.accounts_passwords import check_password, hashed
from models.errors import ConflictError, InvalidValueError, UnknownNameError
from models.sentences.told import Told
from models.store import state
from models.store.accounts import account_of, accounts, login_of, outside_account
from models.store.unit import Unit, writing
from models.tables.accounts import AccountRow, AccountVersionRow
from models.tables.base import canonical_json
from models.values.confusable import skeleton
from models.values.kinds import Kind
from models.values.own_work import same_person, written_alike
from models.values.roles import Account, AtSite, Permission, Role
from models.values.spelling import seen
from models.values.story import Site

_LOGIN = re.compile(r"[^\s/\\?#%<>\"'\x00-\x1f\x7f]{2,80}")


def add_account(
    engine: sa.Engine,
    sites: Sequence[Site],
    login: str,
    *,
    person: str,
    roles: Sequence[Role],
    by: str,
    now: datetime,
    password: str | None,
    must_change: bool = True,
    mail: str = "",
    outside: str | None = None,
) -> Account:
    """Add an account with the same roles at each of some sites.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book's engine. [unitless]
    sites : sequence of Site
        Where it may do something. [unitless]
    login : str
        Name that is typed to sign in; small and large letters are the same. [unitless]
    person : str
        Name that stands as author under what it writes. [unitless]
    roles : sequence of Role
        What it is there. [unitless]
    by : str
        Who adds it. [unitless]
    now : datetime
        Aware moment. [unitless]
    password : str or None
        Its first password; ``None`` where an outside provider signs it in. [unitless]
    must_change : bool
        Whether it has to choose another at its first sign-in. [unitless]
    mail : str
        Address for mail, if any. [unitless]
    outside : str or None
        Issuer and subject of an outside provider, with a blank between. [unitless]

    Raises
    ------
    InvalidValueError
        If login, name, roles or password cannot be taken.
    ConflictError
        If there is an account of that login, one that the outside identity signs in as, or an open one of that name at
        one of the sites.
    """
    kept, name = login_of(login), seen(person)
    if not _LOGIN.fullmatch(kept) or seen(kept) != kept:
        raise InvalidValueError(
            Told("told.account.login", login=login),
            remedy=Told("told.account.login.remedy"),
        )
    at = _checked(AtSite(0, name, mail.strip(), tuple(roles), active=True, outside=_outside(outside)))
    if not sites or not roles:
        raise InvalidValueError(Told("told.account.empty"), remedy=Told("told.account.roles", roles=tuple(Role)))
    if password is None and at.outside is None:
        raise InvalidValueError(Told("told.account.way_in"), remedy=Told("told.account.way_in.remedy"))
    if password is not None:
        check_password(password, kept, name)
    secret = None if password is None else hashed(password)
    with writing(engine, sites[0].site_id, by, now) as unit:
        if account_of(unit.connection, kept) is not None:
            raise ConflictError(Told("told.account.there", login=kept), remedy=Told("told.account.there.remedy"))
        _check_login(unit.connection, kept)
        _check_outside(unit, at.outside, None)
        for site in sites:
            _check_name(unit.connection, site, at.person, None)
        number = 0
        for site in sites:
            unit.site_id = site.site_id
            entry = unit.append(Kind.ACCOUNT_CHANGED if number else Kind.ACCOUNT_ADDED, number or None)
            if not number:
                number = entry
                unit.add(AccountRow, (number, site.site_id, kept))
            _say(unit, entry, number, at)
        unit.site_id = sites[0].site_id
        if secret is not None:
            unit.append(Kind.PASSWORD_SET, number)
        unit.flush()
        if secret is not None:
            state.set_credential(unit.connection, number, secret, changed=now, must_change=must_change)
    with engine.connect() as connection:
        made = account_of(connection, kept)
    assert made is not None  # noqa: S101 - it was written just now
    return made


def change_account(
    engine: sa.Engine, site: Site, login: str, at: AtSite, *, by: str, now: datetime, why: str = ""
) -> Account:
    """Say anew what an account is at a site, as :func:`change_account_at` does at several."""
    return change_account_at(engine, [(site, at)], login, by=by, now=now, why=why)


def change_account_at(
    engine: sa.Engine, changes: Sequence[tuple[Site, AtSite]], login: str, *, by: str, now: datetime, why: str = ""
) -> Account:
    """Say anew what an account is at some sites, at all of them or at none; closing it ends its sessions, and its tokens there.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book's engine. [unitless]
    changes : sequence of tuple of Site and AtSite
        Each site, at least one, with what the account is there from now on. [unitless]
    login : str
        Its login. [unitless]
    by : str
        Who says so. [unitless]
    now : datetime
        Aware moment. [unitless]
    why : str
        Reason, if any. [unitless]

    Raises
    ------
    UnknownNameError
        If there is no such account.
    ConflictError
        If nothing changes, somebody else writes under the name at one of the sites, or nobody would be left who
        administers one of them.
    """
    with writing(engine, changes[0][0].site_id, by, now) as unit:
        held = _held(unit.connection, login)
        said = [(site, _clean(site, at)) for site, at in changes]
        said = [(site, new) for site, new in said if held.sites.get(site.site_id) != new]
        if not said:
            raise ConflictError(Told("told.account.nothing"), remedy=Told("told.account.nothing.remedy"))
        for site, new in said:
            _check_outside(unit, new.outside, held.account_id)
            if _takes_name(held.sites.get(site.site_id), new):
                _check_name(unit.connection, site, new.person, held.account_id)
        _leave_one(unit.connection, [site for site, new in said if Permission.ADMINISTER not in new.permissions], held)
        for site, new in said:
            unit.site_id = site.site_id
            entry = unit.append(Kind.ACCOUNT_CHANGED, held.account_id, why=why.strip())
            _say(unit, entry, held.account_id, new)
        unit.flush()
        for site, new in said:
            if not new.active:
                state.end_sessions(unit.connection, held.account_id)
                state.end_tokens(unit.connection, held.account_id, site.site_id, now)
    with engine.connect() as connection:
        return _held(connection, login)


def set_password(engine: sa.Engine, login: str, password: str, *, by: str, now: datetime, must_change: bool) -> None:
    """Put a new password in the place of the old one, and end every session of the account.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book's engine. [unitless]
    login : str
        Its login. [unitless]
    password : str
        The new one. [unitless]
    by : str
        Who sets it. [unitless]
    now : datetime
        Aware moment. [unitless]
    must_change : bool
        Whether it has to be changed at the next sign-in: somebody else knows it. [unitless]

    Raises
    ------
    UnknownNameError
        If there is no such account.
    InvalidValueError
        If the password is refused.
    """
    with engine.connect() as connection:
        held = _held(connection, login)
    site_id = next(iter(held.sites))
    check_password(password, held.login, held.person(site_id))
    secret = hashed(password)
    with writing(engine, site_id, by, now) as unit:
        unit.append(Kind.PASSWORD_SET, held.account_id)
        unit.flush()
        state.set_credential(unit.connection, held.account_id, secret, changed=now, must_change=must_change)


def _say(unit: Unit, entry: int, account_id: int, at: AtSite) -> None:
    roles = canonical_json([str(role) for role in at.roles])
    unit.add(AccountVersionRow, (entry, unit.site_id, account_id, at.person, at.mail, roles, at.active, at.outside))


def _held(connection: sa.Connection, login: str) -> Account:
    held = account_of(connection, login)
    if held is None:
        raise UnknownNameError(
            Told("told.account.unknown", login=login_of(login)), remedy=Told("told.account.unknown.remedy")
        )
    return held


def _clean(site: Site, at: AtSite) -> AtSite:
    """Give what an account is to be at a site as it is kept, or refuse it."""
    person, outside = seen(at.person), _outside(at.outside)
    return _checked(AtSite(site.site_id, person, at.mail.strip(), at.roles, at.active, outside))


def _checked(at: AtSite) -> AtSite:
    if not at.person or len(at.person) > 120:
        raise InvalidValueError(
            Told("told.account.person"),
            remedy=Told("told.account.person.remedy"),
        )
    if len(at.mail) > 254 or (at.mail and not re.fullmatch(r"[^\s@<>,;]+@[^\s@<>,;]+", at.mail)):
        raise InvalidValueError(Told("told.account.mail", mail=at.mail[:60]), remedy=Told("told.account.mail.remedy"))
    return at


def _outside(typed: str | None) -> str | None:
    text = " ".join((typed or "").split())
    if text and (len(text) > 500 or len(text.split(" ")) != 2):
        raise InvalidValueError(
            Told("told.account.outside"),
            remedy=Told("told.account.outside.remedy"),
        )
    return text or None


def _check_login(connection: sa.Connection, login: str) -> None:
    """Refuse a new login that looks like another: who reads the log of sign-ins or the list of accounts would take one for the other."""
    look = skeleton(login)
    other = next((one.login for one in accounts(connection) if skeleton(one.login) == look), None)
    if other is not None:
        raise ConflictError(
            Told("told.account.login.alike", login=login, other=other), remedy=Told("told.account.login.alike.remedy")
        )


def _check_outside(unit: Unit, outside: str | None, account_id: int | None) -> None:
    if outside is None:
        return
    other = outside_account(unit.connection, outside)
    if other is not None and other.account_id != account_id:
        raise ConflictError(
            Told("told.account.outside.there", login=other.login), remedy=Told("told.account.outside.there.remedy")
        )


def _takes_name(old: AtSite | None, new: AtSite) -> bool:
    """Tell whether an account is open under a name from now on under which it was not: one that shares its name stays changeable."""
    return new.active and (old is None or not old.active or not written_alike(old.person, new.person))


def _check_name(connection: sa.Connection, site: Site, person: str, account_id: int | None) -> None:
    """Refuse a name under which somebody else writes at a site: an entry knows its author by the name only."""
    for other in accounts(connection):
        at = other.sites.get(site.site_id)
        if at is None or not at.active or other.account_id == account_id or not same_person(at.person, person):
            continue
        raise ConflictError(
            Told("told.account.name.there", login=other.login, name=at.person, site=site.name),
            remedy=Told("told.account.name.there.remedy", name=at.person),
        )


def _leave_one(connection: sa.Connection, sites: Sequence[Site], changed: Account) -> None:
    """Refuse to take the last administrator from any of some sites: nobody could give the role back on the pages."""
    others = [one for one in accounts(connection) if one.account_id != changed.account_id]
    last = [
        site.name
        for site in sites
        if Permission.ADMINISTER in changed.permissions(site.site_id)
        and not any(Permission.ADMINISTER in one.permissions(site.site_id) for one in others)
    ]
    if last:
        raise ConflictError(
            Told("told.account.last", login=changed.login, site=tuple(last)), remedy=Told("told.account.last.remedy")
        )
