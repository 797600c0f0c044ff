"""What is asked of the log of sign-ins besides its lines: whose lines somebody may see, and how a name that nobody has is kept.

Lines are written and read by ``models.store.state``.
"""

from __future__ import annotations

import hashlib
import hmac
from collections.abc import Collection
from datetime import datetime
from typing import Final

import sqlalchemy as sa

from models.store.signing import signer_of
from models.store.state import Try
from models.tables.accounts import AccountRow
from models.tables.proofs import StatementRow
from models.tables.state import CredentialRow, SignInRow

NOBODY: Final = "nobody "
"""How the name of a line begins that was tried under a name that nobody has; no login holds a blank."""

_PURPOSE: Final = b"driftbook: names that nobody has"
"""What the key of the book signs here and nowhere else; it is no checkpoint, which has three lines."""


def name_of_nobody(connection: sa.Connection, typed: str) -> str:
    """Give what stands in the log for a name that nobody has: it may be a password that was typed into the wrong field.

    Every process that serves a book gives the same, after a new start too, so that failures under such a name are
    counted together like those of a login.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book, whose engine says where the key file lies. [unitless]
    typed : str
        The name. [unitless]
    """
    return NOBODY + hmac.new(_secret(connection), typed.encode(), hashlib.sha256).hexdigest()[:16]


def _secret(connection: sa.Connection) -> bytes:
    """Give the secret under which such names are kept: by the key of the book, else by what its tables hold.

    With the key, whoever reads the database alone cannot try names.  Without it, whoever reads the tables of proofs
    and of passwords can; who sees the log only, or a package and the log, cannot.
    """
    signer = signer_of(connection)
    if signer is not None:
        return hashlib.sha256(signer.sign(_PURPOSE)).digest()  # Ed25519 signs the same bytes the same way each time
    statement, credential = StatementRow, CredentialRow
    leaf = connection.execute(sa.select(statement.leaf).order_by(statement.entry).limit(1)).scalar()
    kept = connection.execute(sa.select(credential.secret).order_by(credential.account_id).limit(1)).scalar()
    return hashlib.sha256(_PURPOSE + (leaf or b"") + (kept or "").encode()).digest()


def last_in(connection: sa.Connection, since: datetime) -> dict[str, datetime]:
    """Give when each login came in last; those that did not come in since a moment are left out."""
    s, a = SignInRow, AccountRow
    question = (
        sa.select(s.login, sa.func.max(s.at))
        .join(a, a.login == s.login)
        .where(s.at >= since, s.outcome.startswith("in"))
        .group_by(s.login)
    )
    return {row[0]: row[1] for row in connection.execute(question)}


def lines_around(
    connection: sa.Connection, logins: Collection[str], *, came_in: Collection[str], since: datetime, most: int
) -> tuple[Try, ...]:
    """Give the lines of some logins, and of unknown names from addresses at which one of them came in; the newest first.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    logins : collection of str
        Whose lines may be seen. [unitless]
    came_in : collection of str
        Outcomes that mean that somebody came in. [unitless]
    since : datetime
        Aware moment from which on. [unitless]
    most : int
        Lines that are given at most. [unitless]
    """
    s = SignInRow
    theirs = sa.select(s.address).where(s.login.in_(logins), s.outcome.in_(came_in), s.at >= since)
    unknown = sa.and_(s.login.startswith(NOBODY), s.address.in_(theirs))
    question = (
        sa.select(s.at, s.login, s.address, s.outcome)
        .where(s.at >= since, sa.or_(s.login.in_(logins), unknown))
        .order_by(s.at.desc(), s.id.desc())
    )
    return tuple(Try(*row) for row in connection.execute(question.limit(most)))
