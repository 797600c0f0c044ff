"""The door of a book: who is signed in, signing in and out, and whether anybody has to."""

from __future__ import annotations

import ipaddress
import secrets
import threading
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

import sqlalchemy as sa

from dashboard.auth.delays import AHEAD, CAME_IN, DELAYED, FAILED, HOUR, KNOWN_FOR, LOOK_BACK, Opening, opening
from dashboard.words import say
from models.commands.accounts_passwords import LONGEST, fits, hashed, is_weak
from models.errors import BookBusyError, DriftbookError
from models.store import state
from models.store.accounts import account, account_of, login_of, outside_account
from models.store.sign_ins import name_of_nobody
from models.store.state import Session, Try
from models.values.roles import Account, Permission

IDLE: Final = timedelta(hours=2)
WHOLE: Final = timedelta(hours=12)
"""A session ends two hours after it was last used, and twelve hours after it began, a long shift: our own choice."""

FRESH: Final = timedelta(minutes=15)
"""Who has no password here signs within so long after the provider has let them in."""

FIRST_FOR: Final = timedelta(days=7)
"""A password that somebody else gave is good for a first sign-in within a week."""

_NOTED_EVERY: Final = timedelta(minutes=1)
_AT_THE_DOOR: Final = 10.0
_AT_PROVIDER: Final = "unknown at provider"

_LOOKS_EVERY: Final = timedelta(seconds=2)
"""From an address that has to wait one password in so long is looked at all the same: a hash takes work, and must not be had for nothing."""


class NotAllowedError(DriftbookError):
    """Somebody who is signed in may not do what was asked for."""


@dataclass(frozen=True, slots=True)
class Signed:
    """Who is signed in."""

    account: Account
    session: Session
    must_change: bool

    def may(self, permission: Permission, site_id: int | None = None) -> bool:
        """Tell whether they may do something at a site, or at any."""
        if site_id is not None:
            return permission in self.account.permissions(site_id)
        return any(permission in at.permissions for at in self.account.sites.values())


@dataclass(frozen=True, slots=True)
class Answer:
    """What came of a try to sign in: a token for the browser, or why there is none."""

    token: str = ""
    wait: timedelta | None = None

    @property
    def came_in(self) -> bool:
        """Tell whether somebody is signed in now."""
        return bool(self.token)


class Access:
    """The door of one book; without one nobody is asked who they are.

    Sign-in is needed from the moment on at which the book has an account.
    """

    def __init__(self, engine: sa.Engine, clock: Callable[[], datetime]) -> None:
        self.engine, self.clock = engine, clock
        self._has_accounts = False
        self._door = threading.Lock()
        self._looks: dict[str, datetime] = {}

    def needed(self) -> bool:
        """Tell whether somebody has to be signed in; once so, always so."""
        if not self._has_accounts:
            with self.engine.connect() as connection:
                self._has_accounts = state.any_account(connection)
        return self._has_accounts

    # -- sessions --

    def who(self, token: str | None) -> Signed | None:
        """Give who a token of a browser belongs to; ``None`` if its session has ended or its account is closed."""
        if not token or len(token) > 200:
            return None
        now, hashed_token = self.clock(), state.hash_of(token)
        with self.engine.connect() as connection:
            held = state.session(connection, hashed_token)
            if held is None or now >= held.ends or now >= held.seen + IDLE:
                return None
            if held.made > now + AHEAD:  # begun by a clock that ran ahead: by its moments it would last for years
                return None
            owner = account(connection, held.account_id)
            kept = state.credential(connection, held.account_id)
        if owner is None or not owner.active:
            return None
        if abs(now - held.seen) >= _NOTED_EVERY:  # used by a clock ahead: from now on it counts by this one
            state.touch(self.engine, hashed_token, now)
        return Signed(owner, held, kept is not None and kept.must_change and owner.outside is None)

    def sign_in(self, login: str, password: str, address: str, old: str | None = None) -> Answer:
        """Try a password.

        Parameters
        ----------
        login, password : str
            What was typed. [unitless]
        address : str
            Where it was typed; see :func:`address_of`. [unitless]
        old : str, optional
            Token that the browser held before: its session ends with the new one. [unitless]

        Raises
        ------
        BookBusyError
            If the book is being written to, or too many are at the door.
        """
        # One at a time: a hundred guesses at once would all be looked at before the first failure is noted.
        if not self._door.acquire(timeout=_AT_THE_DOOR):
            raise BookBusyError(say("door.busy"), remedy=say("door.busy.remedy"))
        try:
            return self._sign_in(login_of(login)[:80], password, address, old)
        finally:
            self._door.release()

    def _sign_in(self, login: str, password: str, address: str, old: str | None) -> Answer:
        now = self.clock()
        with self.engine.connect() as connection:
            nobody = name_of_nobody(connection, login)  # for everybody: a known name must not be quicker
            owner = account_of(connection, login)
            kept = None if owner is None else state.credential(connection, owner.account_id)
            name = nobody if owner is None else login
            opens = self._opening(connection, name, address, now)
        waits = max(opens.own, opens.there) > now
        if waits and (opens.own > now or not self._looks_all_the_same(address, now)):
            self._note_delay(name, address, now)
            return Answer(wait=max(opens.own, opens.there) - now)
        # Whoever has to wait for others behind their address gets the same work and the same answer, whether the
        # name is known or not; only an owner who is spared gets in by it.
        looked_at = not waits or opens.spared
        fit = fits(kept.secret if kept and looked_at else None, password)
        if kept is not None and kept.must_change and not -AHEAD <= now - kept.changed <= FIRST_FOR:
            # Somebody else made it and it was never used, or nobody knows when: an administrator gives another.
            fit = False
        if not fit or owner is None or not owner.active:
            if looked_at:
                self._note(name, address, FAILED)
            else:
                self._note_delay(name, address, now)
            return Answer(wait=opens.there - now) if waits else Answer()
        if kept is not None and is_weak(kept.secret) and len(password) <= LONGEST:
            with state.changing(self.engine) as connection:
                state.replace_hash(connection, owner.account_id, hashed(password))
        return Answer(self.open(owner, address, "in", old))

    def _opening(self, connection: sa.Connection, name: str, address: str, now: datetime) -> Opening:
        """Ask the log from when on a try is looked at; by outcome, so that no crowd of other lines hides those that count."""
        ends = now + AHEAD
        came_in = state.tries(connection, login=name, outcomes=CAME_IN, since=now - KNOWN_FOR, upto=ends, most=500)
        mine = state.tries(connection, login=name, outcomes=(FAILED,), since=now - LOOK_BACK, upto=ends, most=500)
        there = state.tries(connection, address=address, outcomes=(FAILED,), since=now - HOUR, upto=ends, most=100)
        return opening((*came_in, *mine), there, address, now)

    def _looks_all_the_same(self, address: str, now: datetime) -> bool:
        """Tell whether a password from an address that has to wait is looked at all the same: one in two seconds."""
        self._looks = {place: at for place, at in self._looks.items() if timedelta() <= now - at < _LOOKS_EVERY}
        if address in self._looks:
            return False
        self._looks[address] = now
        return True

    def _note_delay(self, name: str, address: str, now: datetime) -> None:
        """Note a try that was not looked at, once: not where the newest line of its name or of its address says so already.

        Nobody can empty the log, and these tries cost whoever makes them nothing.
        """
        with self.engine.connect() as connection:
            newest = (
                *state.tries(connection, login=name, since=now - KNOWN_FOR, upto=now + AHEAD, most=1),
                *state.tries(connection, address=address, since=now - HOUR, upto=now + AHEAD, most=1),
            )
        if all(line.outcome != DELAYED for line in newest):
            self._note(name, address, DELAYED)

    def confirm(self, who: Signed, password: str, address: str) -> Answer:
        """Ask a signed-in person for their password once more, slowed by their own failures; the answer holds no token."""
        if not self._door.acquire(timeout=_AT_THE_DOOR):
            raise BookBusyError(say("door.busy"), remedy=say("door.busy.remedy"))
        try:
            now, login = self.clock(), who.account.login
            with self.engine.connect() as connection:
                kept = state.credential(connection, who.account.account_id)
                opens = self._opening(connection, login, address, now).own
            if kept is None:
                return Answer(token="confirmed" if now < who.session.made + FRESH else "")
            if opens > now:
                return Answer(wait=opens - now)
            if fits(kept.secret, password):
                return Answer(token="confirmed")  # noqa: S106 - a word, no secret
            self._note(login, address, FAILED)
            return Answer()
        finally:
            self._door.release()

    def has_password(self, who: Signed) -> bool:
        """Tell whether somebody signs in with a password of this book."""
        with self.engine.connect() as connection:
            return state.credential(connection, who.account.account_id) is not None

    def from_outside(self, identity: str, address: str, old: str | None = None) -> Answer:
        """Sign in whom an outside provider vouches for: issuer, a blank, subject."""
        now = self.clock()
        with self.engine.connect() as connection:
            owner = outside_account(connection, identity)
            name = name_of_nobody(connection, identity)
            noted = state.tries(
                connection, login=name, outcomes=(_AT_PROVIDER,), since=now - LOOK_BACK, upto=now + AHEAD, most=1
            )
        if owner is None or not owner.active:
            if not noted:  # once a day: the log cannot be emptied
                self._note(name, address, _AT_PROVIDER)
            return Answer()
        return Answer(self.open(owner, address, "in by provider", old))

    def open(self, owner: Account, address: str, how: str, old: str | None = None) -> str:
        """Open a new session and give its token; the one that the browser held before ends."""
        token, now = secrets.token_urlsafe(32), self.clock()
        with state.changing(self.engine) as connection:
            if old:
                state.end_session(connection, state.hash_of(old))
            new = Session(state.hash_of(token), owner.account_id, now, now, now + WHOLE, address[:80])
            state.open_session(connection, new)
            state.note_try(connection, Try(now, owner.login, address, how))
        return token

    def sign_out(self, who: Signed, address: str, *, everywhere: bool = False) -> None:
        """End the session, or every session of the account."""
        with state.changing(self.engine) as connection:
            if everywhere:
                state.end_sessions(connection, who.account.account_id)
            else:
                state.end_session(connection, who.session.token_hash)
            state.note_try(connection, Try(self.clock(), who.account.login, address, "out"))

    def _note(self, login: str, address: str, outcome: str) -> None:
        with state.changing(self.engine) as connection:
            state.note_try(connection, Try(self.clock(), login, address, outcome))


def address_of(remote: str | None) -> str:
    """Give the address by which tries are counted: of IPv6 the network of 64 bits, of which one customer has the whole."""
    try:
        found = ipaddress.ip_address((remote or "").partition("%")[0])
    except ValueError:
        return "unknown"
    if isinstance(found, ipaddress.IPv6Address):
        if found.ipv4_mapped is not None:
            return str(found.ipv4_mapped)
        return str(ipaddress.ip_network(f"{found}/64", strict=False))
    return str(found)
