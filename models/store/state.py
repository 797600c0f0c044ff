"""State of the present: passwords, sessions, tokens, secret addresses, and the log of who came in.

This is the one module of the store that updates and deletes: what is kept here
is no history.  Secrets are kept as hashes only.  A session is used thousands of times and
must not wait for a long import: what is only noted of it is left out while the book is busy.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from models.errors import BookBusyError, DriftbookError
from models.sentences.told import Told
from models.store.engine import BUSY_MS
from models.tables.accounts import AccountRow
from models.tables.state import ApiTokenRow, CalendarAddressRow, CredentialRow, LoginSessionRow, SignInRow


@dataclass(frozen=True, slots=True)
class Credential:
    """The hash of a password, and whether it has to be changed at the next sign-in."""

    secret: str
    changed: datetime
    must_change: bool


@dataclass(frozen=True, slots=True)
class Session:
    """An open session."""

    token_hash: str
    account_id: int
    made: datetime
    seen: datetime
    ends: datetime
    address: str


@dataclass(frozen=True, slots=True)
class Try:
    """One line of the log of sign-ins."""

    at: datetime
    login: str
    address: str
    outcome: str


@dataclass(frozen=True, slots=True)
class Token:
    """A token of the interface, or a secret address of the calendar, as it may be shown: without the secret."""

    number: int
    account_id: int | None
    site_id: int
    name: str
    roles: tuple[str, ...]
    made: datetime
    ended: datetime | None


def hash_of(secret: str) -> str:
    """Give the hash under which a random secret of 256 bits is kept; such a one needs no salt and no slow hash."""
    return hashlib.sha256(secret.encode()).hexdigest()


@contextmanager
def changing(engine: sa.Engine) -> Iterator[sa.Connection]:
    """Open a transaction on the state.

    Raises
    ------
    BookBusyError
        If a SQLite book is written to by somebody else for longer than is waited.
    """
    with engine.connect().execution_options(write=True) as connection:
        try:
            transaction = connection.begin()
        except sa.exc.OperationalError as fault:
            if "locked" not in str(fault.orig):
                raise
            raise BookBusyError(
                Told("told.busy"),
                remedy=Told("told.busy.remedy"),
            ) from fault
        with transaction:
            yield connection


# -- passwords -----------------------------------------------------------------------------------------------------


def credential(connection: sa.Connection, account_id: int) -> Credential | None:
    """Give the password of an account, as its hash."""
    c = CredentialRow
    row = connection.execute(sa.select(c.secret, c.changed, c.must_change).where(c.account_id == account_id)).first()
    return None if row is None else Credential(row[0], row[1], bool(row[2]))


def set_credential(
    connection: sa.Connection, account_id: int, secret: str, *, changed: datetime, must_change: bool
) -> None:
    """Put the hash of a new password in the place of the old one, and end every session of the account."""
    connection.execute(sa.delete(CredentialRow).where(CredentialRow.account_id == account_id))
    connection.execute(
        sa.insert(CredentialRow).values(
            account_id=account_id, secret=secret, changed_us=changed, must_change=must_change
        )
    )
    end_sessions(connection, account_id)


def replace_hash(connection: sa.Connection, account_id: int, secret: str) -> None:
    """Put another hash of the same password: its parameters have become stronger."""
    connection.execute(sa.update(CredentialRow).where(CredentialRow.account_id == account_id).values(secret=secret))


# -- sessions ------------------------------------------------------------------------------------------------------


def open_session(connection: sa.Connection, session: Session) -> None:
    """Keep a new session, and forget those that have run out."""
    s = LoginSessionRow
    connection.execute(sa.delete(s).where(s.ends < session.made))
    connection.execute(
        sa.insert(s).values(
            token_hash=session.token_hash,
            account_id=session.account_id,
            made_us=session.made,
            seen_us=session.seen,
            ends_us=session.ends,
            address=session.address,
        )
    )


def session(connection: sa.Connection, token_hash: str) -> Session | None:
    """Give the session of a token, run out or not."""
    s = LoginSessionRow
    row = connection.execute(
        sa.select(s.token_hash, s.account_id, s.made, s.seen, s.ends, s.address).where(s.token_hash == token_hash)
    ).first()
    return None if row is None else Session(*row)


def sessions(connection: sa.Connection, account_id: int) -> tuple[Session, ...]:
    """Give the sessions of an account, the newest first."""
    s = LoginSessionRow
    question = sa.select(s.token_hash, s.account_id, s.made, s.seen, s.ends, s.address)
    return tuple(
        Session(*row) for row in connection.execute(question.where(s.account_id == account_id).order_by(s.made.desc()))
    )


def touch(engine: sa.Engine, token_hash: str, seen: datetime) -> None:
    """Note that a session was used just now; while somebody else writes it is left out, and nobody waits."""
    with engine.connect().execution_options(write=True) as connection:
        _wait(connection, 0)
        try:
            with suppress(sa.exc.OperationalError, DriftbookError), connection.begin():
                s = LoginSessionRow
                connection.execute(sa.update(s).where(s.token_hash == token_hash).values(seen_us=seen))
        finally:
            _wait(connection, BUSY_MS)


def _wait(connection: sa.Connection, milliseconds: int) -> None:
    """Say how long a SQLite connection waits for another writer; outside a transaction, so past SQLAlchemy."""
    if connection.dialect.name == "sqlite":
        given = connection.connection.dbapi_connection
        assert given is not None  # noqa: S101 - the connection is open
        cursor = given.cursor()
        cursor.execute(f"PRAGMA busy_timeout={milliseconds}")
        cursor.close()


def end_session(connection: sa.Connection, token_hash: str) -> None:
    """End one session."""
    connection.execute(sa.delete(LoginSessionRow).where(LoginSessionRow.token_hash == token_hash))


def end_sessions(connection: sa.Connection, account_id: int, *, but: str = "") -> None:
    """End the sessions of an account, all or all but one."""
    s = LoginSessionRow
    connection.execute(sa.delete(s).where(s.account_id == account_id, s.token_hash != but))


# -- the log of sign-ins -------------------------------------------------------------------------------------------


def note_try(connection: sa.Connection, tried: Try) -> None:
    """Write a line into the log; it refuses change like the history."""
    connection.execute(
        sa.insert(SignInRow).values(
            at_us=tried.at, login=tried.login[:80], address=tried.address[:80], outcome=tried.outcome
        )
    )


def tries(
    connection: sa.Connection,
    *,
    login: str | None = None,
    address: str | None = None,
    outcomes: Collection[str] | None = None,
    since: datetime,
    upto: datetime | None = None,
    most: int = 200,
) -> tuple[Try, ...]:
    """Give the lines of the log of a login, of an address or of both, of some outcomes or all, the newest first.

    Who goes by the newest lines says *upto* which moment: a clock that ran ahead may have left lines of years to come.
    """
    s = SignInRow
    asked = [s.at >= since] if upto is None else [s.at >= since, s.at <= upto]
    if login is not None:
        asked.append(s.login == login)
    if address is not None:
        asked.append(s.address == address)
    if outcomes is not None:
        asked.append(s.outcome.in_(outcomes))
    question = sa.select(s.at, s.login, s.address, s.outcome).where(*asked).order_by(s.at.desc(), s.id.desc())
    return tuple(Try(*row) for row in connection.execute(question.limit(most)))


# -- tokens of the interface, secret addresses of the calendar -----------------------------------------------------


def make_token(
    connection: sa.Connection,
    account_id: int,
    site_id: int,
    *,
    name: str,
    roles: tuple[str, ...],
    secret: str,
    made: datetime,
) -> int:
    """Keep the hash of a new token, and give its number."""
    done = connection.execute(
        sa.insert(ApiTokenRow).values(
            account_id=account_id,
            site_id=site_id,
            name=name,
            token_hash=hash_of(secret),
            roles=list(roles),
            made_us=made,
        )
    )
    return int(done.inserted_primary_key[0])  # type: ignore[index]


def tokens(connection: sa.Connection, account_id: int) -> tuple[Token, ...]:
    """Give the tokens of an account, ended ones too, the newest first."""
    t = ApiTokenRow
    question = sa.select(t.id, t.account_id, t.site_id, t.name, t.roles, t.made, t.ended)
    rows = connection.execute(question.where(t.account_id == account_id).order_by(t.id.desc()))
    return tuple(Token(row[0], row[1], row[2], row[3], tuple(row[4]), row[5], row[6]) for row in rows)


def end_token(connection: sa.Connection, number: int, ended: datetime, *, account_id: int | None = None) -> bool:
    """End a token, and tell whether there was one to end."""
    t = ApiTokenRow
    own = [] if account_id is None else [t.account_id == account_id]
    done = connection.execute(sa.update(t).where(t.id == number, t.ended.is_(None), *own).values(ended_us=ended))
    return bool(done.rowcount)


def end_tokens(connection: sa.Connection, account_id: int, site_id: int, ended: datetime) -> None:
    """End every token and every secret address that an account has for a site."""
    for row in (ApiTokenRow, CalendarAddressRow):
        connection.execute(
            sa.update(row)
            .where(row.account_id == account_id, row.site_id == site_id, row.ended.is_(None))
            .values(ended_us=ended)
        )


def make_address(
    connection: sa.Connection, account_id: int | None, site_id: int, *, person: str, secret: str, made: datetime
) -> int:
    """Keep the hash of a new secret address of the calendar, and give its number."""
    done = connection.execute(
        sa.insert(CalendarAddressRow).values(
            account_id=account_id, site_id=site_id, person=person, secret_hash=hash_of(secret), made_us=made
        )
    )
    return int(done.inserted_primary_key[0])  # type: ignore[index]


def addresses(connection: sa.Connection, account_id: int) -> tuple[Token, ...]:
    """Give the secret addresses of the calendar of an account, ended ones too, the newest first."""
    a = CalendarAddressRow
    question = sa.select(a.id, a.account_id, a.site_id, a.person, a.made, a.ended)
    rows = connection.execute(question.where(a.account_id == account_id).order_by(a.id.desc()))
    return tuple(Token(row[0], row[1], row[2], row[3], (), row[4], row[5]) for row in rows)


def end_address(connection: sa.Connection, number: int, ended: datetime, *, account_id: int | None = None) -> bool:
    """End a secret address, and tell whether there was one to end."""
    a = CalendarAddressRow
    own = [] if account_id is None else [a.account_id == account_id]
    done = connection.execute(sa.update(a).where(a.id == number, a.ended.is_(None), *own).values(ended_us=ended))
    return bool(done.rowcount)


def any_account(connection: sa.Connection) -> bool:
    """Tell whether the book has any account."""
    return connection.execute(sa.select(AccountRow.id).limit(1)).scalar() is not None
