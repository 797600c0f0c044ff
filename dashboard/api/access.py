"""Who asks, and what they may: by token, by the session of a page (to read only), or anybody in a book without accounts."""

from __future__ import annotations

from dataclasses import dataclass

import sqlalchemy as sa
from flask import request

from dashboard.api.problems import ProblemError
from dashboard.auth import asking
from models.store import state
from models.store.accounts import account
from models.store.tokens import SiteToken, find_token
from models.values.roles import Account, Permission, granted

CHALLENGE = 'Bearer realm="driftbook"'

_TO_READ = frozenset({Permission.READ, Permission.AUDIT})
_HOW = "Send the header 'Authorization: Bearer TOKEN'; 'driftbook token make' makes a token."


@dataclass(frozen=True, slots=True)
class Caller:
    """Who asks; without a token and without an account it is anybody, in a book that has no account."""

    token: SiteToken | None = None
    account: Account | None = None

    def permissions(self, site_id: int) -> frozenset[Permission]:
        """Give what may be done at a site: no token may do more than its account, no session may write through here."""
        if self.account is None:
            return _TO_READ
        mine = self.account.permissions(site_id)
        if self.token is None:
            return mine & _TO_READ
        return mine & granted(self.token.roles) if self.token.site_id == site_id else frozenset()

    def may(self, permission: Permission, site_id: int) -> bool:
        """Tell whether something may be done at a site."""
        return permission is Permission.OPEN or permission in self.permissions(site_id)


def who_asks(engine: sa.Engine) -> Caller:
    """Find out who asks.

    Raises
    ------
    ProblemError
        401 if nobody is named where somebody has to be, or if a token does not hold.
    """
    named = request.headers.get("Authorization")
    with engine.connect() as connection:
        if named is not None:
            return _by_token(connection, named)
        if not state.any_account(connection):
            return Caller()
        session = signed_in()
        if session is not None:
            return Caller(account=session)
    raise ProblemError(
        401, "nobody-named", "This book asks who you are.", remedy=_HOW, headers={"WWW-Authenticate": CHALLENGE}
    )


def _by_token(connection: sa.Connection, named: str) -> Caller:
    scheme, _, secret = named.strip().partition(" ")
    token = find_token(connection, secret.strip()) if scheme.lower() == "bearer" and secret.strip() else None
    holder = None if token is None or token.ended is not None else account(connection, token.account_id)
    if token is None or holder is None or not holder.permissions(token.site_id):
        raise ProblemError(
            401, "no-such-token", "The token is not known here, has ended, or its account is closed.", remedy=_HOW,
            headers={"WWW-Authenticate": f'{CHALLENGE}, error="invalid_token"'},
        )  # fmt: skip
    return Caller(token, holder)


def signed_in() -> Account | None:
    """Give the account of the session in which a page asks; ``None`` without one, or where its password has to be changed first."""
    session = asking.signed()
    return None if session is None or session.must_change else session.account


def refused(caller: Caller, permission: Permission) -> ProblemError:
    """Give the problem of somebody who may not do what they ask for."""
    if permission in {Permission.RECORD, Permission.AMEND} and caller.token is None:
        return ProblemError(
            401, "token-needed", "Writing through the interface needs a token: neither a session nor an open book is enough.",
            remedy=_HOW, headers={"WWW-Authenticate": CHALLENGE},
        )  # fmt: skip
    return ProblemError(
        403, "not-allowed", f"This needs the permission to {permission}, which the token or its account has not at this site.",
        remedy="Make a token with the role for it: driftbook token make NAME --login LOGIN --role reader|recorder|auditor.",
    )  # fmt: skip
