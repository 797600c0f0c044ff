"""Accounts as they are today, put together from what was said of them at each site."""

from __future__ import annotations

import sqlalchemy as sa

from models.tables.accounts import AccountRow, AccountVersionRow
from models.values.own_work import same_person
from models.values.roles import Account, AtSite, Permission, Role
from models.values.spelling import seen


def accounts(connection: sa.Connection) -> tuple[Account, ...]:
    """Give every account of the book, by login."""
    return _accounts(connection)


def account_of(connection: sa.Connection, login: str) -> Account | None:
    """Give the account of a login, however its letters are cased; ``None`` where there is none."""
    return next(iter(_accounts(connection, AccountRow.login == login_of(login))), None)


def account(connection: sa.Connection, account_id: int) -> Account | None:
    """Give an account by its number."""
    return next(iter(_accounts(connection, AccountRow.id == account_id)), None)


def outside_account(connection: sa.Connection, outside: str) -> Account | None:
    """Give the account that an identity of an outside provider signs in as."""
    named = sa.select(AccountVersionRow.account_id).where(AccountVersionRow.outside == outside)
    found = _accounts(connection, AccountRow.id.in_(named))
    return next((one for one in found if one.outside == outside), None)


def login_of(typed: str) -> str:
    """Give a login as it is kept: without blanks around it, in small letters."""
    return typed.strip().casefold()


def names_of(connection: sa.Connection, site_id: int, name: str) -> tuple[str, ...]:
    """Give every name that whoever writes under a name at a site ever had there, the first one first.

    Somebody who marries, or whose name was mended, is the same person: what stands under the old name is theirs.
    A name that nobody has today belongs to whoever had it before.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    site_id : int
        The site. [unitless]
    name : str
        The name; compared by :func:`models.values.own_work.name_keys`. [unitless]
    """
    v = AccountVersionRow
    asked = sa.select(v.account_id, v.person).where(v.site_id == site_id).order_by(v.entry)
    rows = [(row[0], row[1]) for row in connection.execute(asked)]
    today = dict(rows)
    theirs = {number for number, person in today.items() if same_person(person, name)}
    theirs = theirs or {number for number, person in rows if same_person(person, name)}
    return tuple(dict.fromkeys(person for number, person in rows if number in theirs))


def may_now(connection: sa.Connection, site_id: int, name: str, needed: Permission) -> bool:
    """Tell whether an open account that writes under a name at a site may do something there.

    The name is taken as it is seen, not by what it looks like: who is not sure how it is written has no right by it.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    site_id : int
        The site. [unitless]
    name : str
        The name. [unitless]
    needed : Permission
        What it takes. [unitless]
    """
    wanted = seen(name)
    there = (one.sites.get(site_id) for one in _accounts(connection, AccountVersionRow.site_id == site_id))
    return any(at is not None and seen(at.person) == wanted and needed in at.permissions for at in there)


def _accounts(connection: sa.Connection, *asked: sa.ColumnElement[bool]) -> tuple[Account, ...]:
    a, v = AccountRow, AccountVersionRow
    rows = connection.execute(
        sa.select(a.id, a.login, v.site_id, v.person, v.mail, v.roles, v.active, v.outside)
        .join(v, v.account_id == a.id)
        .where(*asked)
        .order_by(a.login, v.entry)
    )
    found: dict[int, tuple[str, dict[int, AtSite]]] = {}
    known = {str(role) for role in Role}
    for row in rows:
        sites = found.setdefault(row[0], (row[1], {}))[1]
        roles = tuple(Role(name) for name in row[5] if name in known)
        sites[row[2]] = AtSite(row[2], row[3], row[4], roles, bool(row[6]), row[7])
    return tuple(Account(number, login, sites) for number, (login, sites) in found.items())
