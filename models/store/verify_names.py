"""Verification of names: sign-offs under work that bears another name of the same account, and under names that had no right to sign.

Nothing of it is a fault of the seal: the book says what was written.  Books of before the rules that nobody signs their
own work under an earlier name, and that a command signs under no name without an account, may hold such sign-offs, and
whoever looks after the server can still make the second: a person should look at them.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from models.ledger.findings import shown
from models.tables.accounts import AccountVersionRow
from models.tables.book import EntryRow
from models.tables.declared import aliased
from models.tables.jobs import JobRow
from models.tables.proofs import SignoffRow
from models.values.own_work import name_key
from models.values.roles import Permission, Role, granted
from models.values.spelling import seen

_ROLES = {str(role) for role in Role}


@dataclass(frozen=True, slots=True)
class OwnWork:
    """A sign-off: its entry, the entry that it stands under, who signed, and the other name of theirs that stands there."""

    entry: int
    signed_entry: int
    name: str
    other: str


@dataclass(frozen=True, slots=True)
class NoRight:
    """A sign-off: its entry, the entry that it stands under, and a name that no open account which may sign off had by then."""

    entry: int
    signed_entry: int
    name: str


@dataclass(frozen=True, slots=True)
class _Named:
    """One name of an account at a site, from an entry on."""

    entry: int
    account: int
    name: str


def own_work(connection: sa.Connection) -> Iterator[OwnWork]:
    """Give the sign-offs whose signer's account had, at some time, another name that stands with the signed work.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book; what it holds may be damaged. [unitless]
    """
    renamed = _renamed(connection)
    if not renamed:
        return
    own, signed = aliased(EntryRow), aliased(EntryRow)
    s = SignoffRow
    asked = (
        sa.select(
            s.entry, s.signed_entry, own.site_id, own.author, signed.author.label("wrote"),
            sa.type_coerce(JobRow.people, sa.Text).label("people"),
        )
        .join(own, own.number == s.entry)
        .join(signed, signed.number == s.signed_entry)
        .outerjoin(JobRow, sa.and_(JobRow.entry == s.signed_entry, JobRow.site_id == signed.site_id))
        .where(own.site_id.in_(renamed))
        .order_by(s.entry)
    )  # fmt: skip
    for row in connection.execute(asked.execution_options(yield_per=2000)):
        other = _other_name(row, renamed[row.site_id])
        if other:
            yield OwnWork(row.entry, row.signed_entry, shown(row.author), shown(other))


def without_right(connection: sa.Connection) -> Iterator[NoRight]:
    """Give the sign-offs, since people sign in, of names that no open account bore which might sign off there: no password stands behind them.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book; what it holds may be damaged. [unitless]
    """
    v, s, own = AccountVersionRow, SignoffRow, EntryRow
    said = connection.execute(
        sa.select(v.entry, v.site_id, v.account_id, v.person, sa.type_coerce(v.roles, sa.Text), v.active).order_by(
            v.entry
        )
    ).all()
    if not said:
        return
    asked = (
        sa.select(s.entry, s.signed_entry, own.site_id, own.author)
        .join(own, own.number == s.entry)
        .where(s.entry > said[0][0])
        .order_by(s.entry)
    )
    may: dict[int, dict[int, str]] = defaultdict(dict)
    at = 0
    for row in connection.execute(asked.execution_options(yield_per=2000)):
        while at < len(said) and said[at][0] <= row.entry:
            _, site, account, person, roles, active = said[at]
            held = granted(Role(name) for name in _people(roles) if name in _ROLES) if active else frozenset()
            may[site][account] = seen(str(person)) if Permission.SIGN_OFF in held else ""
            at += 1
        name = seen(str(row.author))
        if not name or name not in may[row.site_id].values():
            yield NoRight(row.entry, row.signed_entry, shown(row.author))


def _renamed(connection: sa.Connection) -> dict[int, list[_Named]]:
    """Give the names of the accounts, by site, where any account had more than one."""
    v = AccountVersionRow
    found: dict[int, list[_Named]] = defaultdict(list)
    for entry, site, account, person in connection.execute(
        sa.select(v.entry, v.site_id, v.account_id, v.person).order_by(v.entry)
    ):
        found[site].append(_Named(entry, account, str(person)))
    return {
        site: named
        for site, named in found.items()
        if len({(one.account, name_key(one.name)) for one in named}) > len({one.account for one in named})
    }


def _other_name(row: sa.Row[*tuple[Any, ...]], named: list[_Named]) -> str:
    """Give the name under which the signer recorded or did the signed work; empty where it is none of theirs, or today's.

    Who signed is the account that bore the name when it was signed; where none did, those that ever had it.
    """
    key = name_key(str(row.author))
    then = {one.account: one.name for one in named if one.entry <= row.entry}
    theirs = {account for account, name in then.items() if name_key(name) == key}
    theirs = theirs or {one.account for one in named if name_key(one.name) == key}
    others = {name_key(one.name) for one in named if one.account in theirs} - {key}
    return next((name for name in (str(row.wrote), *_people(row.people)) if name_key(name) in others), "")


def _people(said: object) -> tuple[str, ...]:
    """Give names as a row holds them; none where they cannot be read."""
    try:
        held = json.loads(str(said)) if said else ()
    except ValueError:
        return ()
    return tuple(str(one) for one in held) if isinstance(held, list) else ()
