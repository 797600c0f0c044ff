"""Secret addresses of the calendar: found by their hash, and whether they still hold."""

from __future__ import annotations

import hmac
import secrets
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from models.errors import ConflictError, InvalidValueError, UnknownNameError
from models.sentences.told import Told
from models.store import state
from models.store.accounts import account, account_of
from models.tables.state import CalendarAddressRow
from models.values.roles import Permission
from models.values.spelling import seen

SECRET_BYTES = 32
"""Random bytes of an address: it cannot be guessed."""

_NOBODY = state.hash_of("")


@dataclass(frozen=True, slots=True)
class Address:
    """An address without its secret; ``ended`` is ``None`` while it works."""

    number: int
    account_id: int | None
    site_id: int
    person: str
    made: datetime
    ended: datetime | None


def find_address(connection: sa.Connection, secret: str) -> Address | None:
    """Give the address of a secret that still holds; ``None`` where there is none, with the same look-ups and comparison.

    An address that belongs to an account holds as long as the account may read the site.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    secret : str
        What stands in the address. [unitless]
    """
    a, wanted = CalendarAddressRow, state.hash_of(secret)
    asked = sa.select(a.id, a.account_id, a.site_id, a.person, a.made, a.ended, a.secret_hash)
    row = connection.execute(asked.where(a.secret_hash == wanted)).first()
    held = hmac.compare_digest(_NOBODY if row is None else row[6], wanted)
    # Asked for in either case: what takes its time must not tell whether there is such an address.
    owner = account(connection, 0 if row is None or row[1] is None else row[1])
    if row is None or not held or row[5] is not None:
        return None
    if row[1] is not None and (owner is None or Permission.READ not in owner.permissions(row[2])):
        return None
    return Address(*row[:6])


def read_addresses(connection: sa.Connection, site_id: int) -> tuple[Address, ...]:
    """Give every address of a site, ended ones too, the oldest first."""
    a = CalendarAddressRow
    asked = sa.select(a.id, a.account_id, a.site_id, a.person, a.made, a.ended)
    return tuple(Address(*row) for row in connection.execute(asked.where(a.site_id == site_id).order_by(a.id)))


def make_address(engine: sa.Engine, site_id: int, name: str, now: datetime) -> tuple[str, Address]:
    """Make an address for somebody.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book's engine. [unitless]
    site_id : int
        Site whose dates it shows. [unitless]
    name : str
        Whose it is: a login, or in a book without accounts any name. [unitless]
    now : datetime
        Aware moment. [unitless]

    Returns
    -------
    tuple of str and Address
        The secret, which is kept nowhere, and the address.

    Raises
    ------
    InvalidValueError
        If nobody is named.
    UnknownNameError
        If the book has accounts and none of that login may read the site.
    ConflictError
        If an address of that name works already.
    """
    plain = seen(name)
    if not 1 <= len(plain) <= 120:
        raise InvalidValueError(
            "An address belongs to somebody.", remedy="Say to whom: driftbook calendar address NAME"
        )
    with state.changing(engine) as connection:
        owner = account_of(connection, plain)
        if owner is None and state.any_account(connection):
            raise UnknownNameError(
                Told("told.account.unknown", login=plain), remedy=Told("told.address.account.remedy")
            )
        if owner is not None and Permission.READ not in owner.permissions(site_id):
            raise UnknownNameError(
                Told("told.address.read", login=owner.login), remedy=Told("told.address.read.remedy")
            )
        person = plain if owner is None else owner.person(site_id)
        account_id = None if owner is None else owner.account_id
        working = [one for one in read_addresses(connection, site_id) if one.ended is None]
        if any(one.person == person and one.account_id == account_id for one in working):
            raise ConflictError(
                Told("told.address.there", person=person), remedy=Told("told.address.there.remedy", name=plain)
            )
        secret = secrets.token_urlsafe(SECRET_BYTES)
        number = state.make_address(connection, account_id, site_id, person=person, secret=secret, made=now)
    return secret, Address(number, account_id, site_id, person, now, None)


def end_addresses(engine: sa.Engine, site_id: int, name: str, now: datetime) -> int:
    """End the addresses of somebody at a site, and give how many worked.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book's engine. [unitless]
    site_id : int
        The site. [unitless]
    name : str
        Whose: the name that the list shows, or a login. [unitless]
    now : datetime
        Aware moment. [unitless]

    Raises
    ------
    UnknownNameError
        If none of theirs works.
    """
    plain = seen(name)
    with state.changing(engine) as connection:
        owner = account_of(connection, plain)
        working = [one for one in read_addresses(connection, site_id) if one.ended is None]
        mine = [
            one
            for one in working
            if seen(one.person) == plain or (owner is not None and one.account_id == owner.account_id)
        ]
        if not mine:
            named = ", ".join(f"'{one.person}'" for one in working) or "nobody"
            raise UnknownNameError(
                f"No address of '{plain}' works at this site.", remedy=f"Addresses that work belong to: {named}."
            )
        for one in mine:
            state.end_address(connection, one.number, now)
    return len(mine)
