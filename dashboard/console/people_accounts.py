"""The subcommand people: who may sign in, and with which roles."""

from __future__ import annotations

import argparse
import getpass
import sys
from collections.abc import Sequence

import sqlalchemy as sa
from rich.table import Table

from dashboard.console.common import now, opened, out, settings_of, who
from models.commands.accounts import add_account, change_account, set_password
from models.commands.accounts_passwords import GOOD, LONGEST, SHORTEST
from models.errors import ConflictError, DriftbookError, UnknownNameError
from models.store import state
from models.store.accounts import account_of, accounts
from models.store.known import site_of, sites
from models.values.roles import Account, AtSite, roles_of
from models.values.story import Site


def run_people(given: argparse.Namespace) -> int:
    """Do what was asked with the accounts of a book."""
    does = {"add": _add, "list": _list, "change": _change, "close": _close, "password": _password}
    with opened(settings_of(given)) as engine:
        return does[given.does](engine, given)


def _sites(engine: sa.Engine, code: str | None) -> Sequence[Site]:
    with engine.connect() as connection:
        return sites(connection) if code is None else [site_of(connection, code)]


def _held(engine: sa.Engine, login: str) -> Account:
    with engine.connect() as connection:
        held = account_of(connection, login)
    if held is None:
        raise UnknownNameError(f"There is no account '{login}'.", remedy="driftbook people list shows them.")
    return held


def _asked(given: argparse.Namespace) -> str:
    """Ask for a password on the terminal, twice; or read it from the standard input."""
    if given.password_stdin:
        return sys.stdin.readline(LONGEST + 2).rstrip("\r\n")
    if not sys.stdin.isatty():
        raise DriftbookError(
            "A password is asked for, and nobody is at a terminal.",
            remedy="Give it on the standard input: --password-stdin.",
        )
    first = getpass.getpass(f"New password (at least {SHORTEST} characters, {GOOD} or more are better): ")
    if getpass.getpass("Once more: ") != first:
        raise DriftbookError("The two differ; nothing was written.", remedy="Do it again.")
    return first


def _add(engine: sa.Engine, given: argparse.Namespace) -> int:
    with engine.connect() as connection:
        first = not state.any_account(connection)
    roles = roles_of(given.role)
    password = None if given.outside and not given.password_stdin else _asked(given)
    made = add_account(
        engine, _sites(engine, given.site), given.login, person=given.name, roles=roles, by=who(given), now=now(),
        password=password, must_change=given.must_change, mail=given.mail or "", outside=given.outside,
    )  # fmt: skip
    out.print(f"'{made.login}' may sign in as {', '.join(roles)}.")
    if first:
        out.print("It is the first account: from now on everybody has to sign in to this book, on this machine too.")
        if "administrator" not in roles:
            out.print("Nobody is an administrator yet; further accounts are made here until somebody is.")
    return 0


def _list(engine: sa.Engine, given: argparse.Namespace) -> int:
    del given
    with engine.connect() as connection:
        every, places = accounts(connection), sites(connection)
    if not every:
        out.print("The book has no account: nobody is asked who they are.")
        return 0
    table = Table("login", "name", "site", "roles", "state", title="Accounts", title_justify="left")
    for one in every:
        for site in places:
            at = one.sites.get(site.site_id)
            if at is not None:
                table.add_row(one.login, at.person, site.code, ", ".join(at.roles), "open" if at.active else "closed")
    out.print(table)
    return 0


def _change(engine: sa.Engine, given: argparse.Namespace) -> int:
    held = _held(engine, given.login)
    written = 0
    for site in _sites(engine, given.site):
        old = held.sites.get(site.site_id)
        if old is None and given.site is None:
            continue
        base = old or AtSite(site.site_id, held.person(site.site_id))
        roles = base.roles if given.role is None else roles_of(given.role)
        new = AtSite(
            site.site_id,
            given.name or base.person,
            base.mail if given.mail is None else given.mail,
            roles,
            base.active or given.reopen,
            base.outside if given.outside is None else given.outside,
        )
        written += _said(engine, site, held.login, new, given)
    return _told(written, held.login)


def _close(engine: sa.Engine, given: argparse.Namespace) -> int:
    held, written = _held(engine, given.login), 0
    for site in _sites(engine, given.site):
        old = held.sites.get(site.site_id)
        if old is not None and old.active:
            new = AtSite(site.site_id, old.person, old.mail, old.roles, active=False, outside=old.outside)
            written += _said(engine, site, held.login, new, given)
    return _told(written, held.login)


def _said(engine: sa.Engine, site: Site, login: str, at: AtSite, given: argparse.Namespace) -> int:
    """Write what an account is at a site; 0 where nothing changes there."""
    with engine.connect() as connection:
        held = account_of(connection, login)
    if held is not None and held.sites.get(site.site_id) == at:
        return 0
    change_account(engine, site, login, at, by=who(given), now=now(), why=given.why)
    return 1


def _told(written: int, login: str) -> int:
    if not written:
        raise ConflictError("Nothing was changed.", remedy=f"driftbook people list shows how '{login}' stands.")
    out.print(f"'{login}' was changed at {written} {'site' if written == 1 else 'sites'}.")
    return 0


def _password(engine: sa.Engine, given: argparse.Namespace) -> int:
    held = _held(engine, given.login)
    set_password(engine, held.login, _asked(given), by=who(given), now=now(), must_change=given.must_change)
    out.print(f"'{held.login}' has a new password; every session has ended.")
    return 0
