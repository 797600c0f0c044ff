"""Tokens of the JSON interface, and the answers that were given to its writes.

A token is 256 random bits, shown once; the book keeps its SHA-256 only.  It
is tied to an account, a site and roles, and may never do more than its
account may at that moment.  A write that carries a key of its own is answered
once: the answer is kept in the transaction that writes the job, so that there
is never one without the other.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from models.errors import ConflictError, DriftbookError, UnknownNameError
from models.sentences.told import Told
from models.store import state
from models.store.accounts import account_of
from models.tables.accounts import AccountRow
from models.tables.state import AnsweredRequestRow, ApiTokenRow
from models.values.roles import Role, granted
from models.values.story import JobLine

PREFIX = "driftbook_"
"""How every token begins, so that a search for secrets that lie about finds it."""

SECRET_BYTES = 32
"""Random bytes of a token: it cannot be guessed, so a plain hash is enough and no slow one is needed."""

ROLES = (Role.READER, Role.RECORDER, Role.AUDITOR)
"""Roles that a token can have: no program signs off, adopts limits or looks after accounts."""


@dataclass(frozen=True, slots=True)
class SiteToken:
    """A token without its secret, with the login of its account; ``ended`` is ``None`` while it works."""

    number: int
    account_id: int
    login: str
    site_id: int
    name: str
    roles: tuple[Role, ...]
    made: datetime
    ended: datetime | None


def find_token(connection: sa.Connection, secret: str) -> SiteToken | None:
    """Give the token of a secret, ended or not; ``None`` where there is none."""
    return next(iter(_tokens(connection, ApiTokenRow.token_hash == state.hash_of(secret))), None)


def read_tokens(connection: sa.Connection, site_id: int) -> tuple[SiteToken, ...]:
    """Give all tokens of a site, the oldest first."""
    return _tokens(connection, ApiTokenRow.site_id == site_id)


def _tokens(connection: sa.Connection, wanted: sa.ColumnElement[bool]) -> tuple[SiteToken, ...]:
    t, known = ApiTokenRow, {str(role) for role in Role}
    asked = (
        sa.select(t.id, t.account_id, AccountRow.login, t.site_id, t.name, t.roles, t.made, t.ended)
        .join(AccountRow, AccountRow.id == t.account_id)
        .where(wanted)
        .order_by(t.id)
    )
    return tuple(
        SiteToken(r[0], r[1], r[2], r[3], r[4], tuple(Role(name) for name in r[5] if name in known), r[6], r[7])
        for r in connection.execute(asked)
    )


def make_token(
    engine: sa.Engine, site_id: int, *, login: str, name: str, roles: Sequence[Role], now: datetime
) -> tuple[str, SiteToken]:
    """Make a token.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book's engine. [unitless]
    site_id : int
        Site for which it holds. [unitless]
    login : str
        Account under whose person it writes. [unitless]
    name : str
        What it is for; no two that work at a site have the same. [unitless]
    roles : sequence of Role
        What it may do; nothing that its account may not. [unitless]
    now : datetime
        Aware moment. [unitless]

    Returns
    -------
    tuple of str and SiteToken
        The secret, which is kept nowhere, and the token.

    Raises
    ------
    UnknownNameError
        If there is no such account.
    ConflictError
        If a token of that name works already.
    DriftbookError
        If the account may not do at the site what the token is to do.
    """
    plain = " ".join(name.split())
    if not 1 <= len(plain) <= 80:
        raise DriftbookError(Told("told.token.name"), remedy=Told("told.token.name.remedy"))
    with state.changing(engine) as connection:
        account = account_of(connection, login)
        if account is None:
            raise UnknownNameError(Told("told.account.unknown", login=login), remedy=Told("told.token.account.remedy"))
        lacking = sorted(granted(roles) - account.permissions(site_id))
        if not roles:
            raise DriftbookError(Told("told.token.roles"), remedy=Told("told.token.roles.remedy"))
        if lacking:
            raise DriftbookError(
                Told("told.token.more", login=account.login, lacking=tuple(map(str, lacking))),
                remedy=Told("told.token.more.remedy"),
            )
        working = (token for token in read_tokens(connection, site_id) if token.ended is None)
        there = next((token for token in working if token.name == plain), None)
        if there is not None:
            told = Told("told.token.there", name=plain, login=there.login)
            raise ConflictError(told, remedy=Told("told.token.there.remedy"))
        secret = PREFIX + secrets.token_urlsafe(SECRET_BYTES)
        number = state.make_token(
            connection, account.account_id, site_id, name=plain, roles=tuple(map(str, roles)), secret=secret, made=now
        )
    made = SiteToken(number, account.account_id, account.login, site_id, plain, tuple(roles), now, None)
    return secret, made


def end_token(engine: sa.Engine, site_id: int, name: str, now: datetime) -> SiteToken:
    """End the token of a name: from then on it is refused.

    Raises
    ------
    UnknownNameError
        If no token of that name works at the site.
    """
    with state.changing(engine) as connection:
        working = [token for token in read_tokens(connection, site_id) if token.ended is None]
        found = next((token for token in working if token.name == name), None)
        if found is None:
            named = ", ".join(f"'{token.name}'" for token in working) or "none"
            raise UnknownNameError(f"No token named '{name}' works at this site.", remedy=f"Those that do: {named}.")
        state.end_token(connection, found.number, now)
    return found


# -- answers that were given ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Answered:
    """An answer that was given to a write: its status and its text."""

    status: int
    text: str


class AnsweredBeforeError(Exception):
    """The same write was answered before: nothing is written, and ``answered`` is to be given again."""

    def __init__(self, answered: Answered) -> None:
        super().__init__("answered before")
        self.answered = answered


class KeyUsedOtherwiseError(DriftbookError):
    """The key of a write was used for another one."""


class Receipt:
    """Sees to it that a write under a key is done once; a command calls it inside its own transaction.

    There is one writer at a time, so what :meth:`look` does not find cannot
    come in before :meth:`keep`: the same write sent twice at once waits for
    the first one and gets its answer.
    """

    def __init__(
        self, token_id: int, key: str, digest: bytes, at: datetime, write: Callable[[JobLine], Answered]
    ) -> None:
        self.token_id, self.key, self.digest, self.at, self.write = token_id, key, digest, at, write

    def look(self, connection: sa.Connection) -> None:
        """Look whether the write was answered.

        Raises
        ------
        AnsweredBeforeError
            If it was.
        KeyUsedOtherwiseError
            If its key was used for another write.
        """
        r = AnsweredRequestRow
        asked = sa.select(r.asked_digest, r.status, r.answer)
        row = connection.execute(asked.where(r.token_id == self.token_id, r.request_key == self.key)).first()
        if row is None:
            return
        if bytes(row[0]) != self.digest:
            raise KeyUsedOtherwiseError(
                "The key was used before, for another request.",
                remedy="Send a key of its own with every new request; send an old one only with the very same body.",
            )
        raise AnsweredBeforeError(Answered(row[1], row[2]))

    def keep(self, connection: sa.Connection, line: JobLine) -> None:
        """Keep the answer beside the job, in its transaction."""
        answered = self.write(line)
        values = {
            "token_id": self.token_id, "request_key": self.key, "at_us": self.at, "asked_digest": self.digest,
            "status": answered.status, "answer": answered.text,
        }  # fmt: skip
        connection.execute(sa.insert(AnsweredRequestRow).values(values))
