"""The subcommand people: who may sign in, and with which roles."""

from __future__ import annotations

import argparse
import getpass
import sys
from collections.abc import Sequence
from dataclasses import replace

import sqlalchemy as sa

from dashboard.console.common import now, opened, out, settings_of, several, who
from models.commands.accounts import add_account, change_account_at, set_password
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


def _sites(engine: sa.Engine, codes: Sequence[str] | None) -> Sequence[Site]:
    """Give the sites that were named, each once; all of the book where none was."""
    with engine.connect() as connection:
        if codes is None:
            return sites(connection)
        named = {site.site_id: site for site in (site_of(connection, code) for code in codes)}
        return list(named.values())


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
        held = account_of(connection, given.login)
    places = _sites(engine, given.site)
    if held is not None:
        codes = " ".join(f"--site {site.code}" for site in places)
        raise ConflictError(
            f"There is an account '{held.login}' already.",
            remedy=f"To give it a role at a site: driftbook people change {held.login} {codes} --role ROLE; or choose another login.",
        )
    roles = roles_of(given.role)
    password = None if given.outside and not given.password_stdin else _asked(given)
    made = add_account(
        engine, places, given.login, person=given.name, roles=roles, by=who(given), now=now(),
        password=password, must_change=given.must_change, mail=given.mail or "", outside=given.outside,
    )  # fmt: skip
    names = ", ".join(site.name for site in places)
    out.print(f"'{made.login}' may sign in as {', '.join(roles)} at {names}.", markup=False, soft_wrap=True)
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
    from rich.table import Table  # only where there is a table to show

    table = Table("login", "name", "site", "roles", "state", title="Accounts", title_justify="left")
    for one in every:
        for site in places:
            at = one.sites.get(site.site_id)
            if at is not None:
                table.add_row(one.login, at.person, site.code, ", ".join(at.roles), "open" if at.active else "closed")
    out.print(table)
    return 0


def _change(engine: sa.Engine, given: argparse.Namespace) -> int:
    held, everywhere = _held(engine, given.login), given.site is None
    roles = None if given.role is None else roles_of(given.role)
    changes, without = [], []
    for site in _sites(engine, given.site):
        old = held.sites.get(site.site_id)
        # A role that was never given at a site, or was taken there, is given at that site by name only.
        if everywhere and not (old and old.roles):
            without.append(site)
        if everywhere and old is None:
            continue
        base = old or AtSite(site.site_id, held.person(site.site_id))
        new = AtSite(
            site.site_id,
            given.name or base.person,
            base.mail if given.mail is None else given.mail,
            base.roles if roles is None or site in without else roles,
            base.active or given.reopen,
            base.outside if given.outside is None else given.outside,
        )
        changes.append((site, new))
    return _written(engine, held, changes, given, _left_out(held, without) if roles else "")


def _close(engine: sa.Engine, given: argparse.Namespace) -> int:
    held = _held(engine, given.login)
    there = [(site, held.sites.get(site.site_id)) for site in _sites(engine, given.site)]
    changes = [(site, replace(old, active=False)) for site, old in there if old is not None]
    return _written(engine, held, changes, given)


def _written(
    engine: sa.Engine,
    held: Account,
    changes: Sequence[tuple[Site, AtSite]],
    given: argparse.Namespace,
    left_out: str = "",
) -> int:
    """Write what an account is at each site, at all of them or at none, and say where it changed and where it did not."""
    changes = [(site, new) for site, new in changes if held.sites.get(site.site_id) != new]
    if not changes:
        raise ConflictError(
            "Nothing was changed.", remedy=left_out or f"driftbook people list shows how '{held.login}' stands."
        )
    new = change_account_at(engine, changes, held.login, by=who(given), now=now(), why=given.why)
    names = [site.name for site, _ in changes if held.sites.get(site.site_id) != new.sites.get(site.site_id)]
    out.print(f"'{held.login}' was changed at {several(len(names), 'site')}: {', '.join(names)}.")
    if left_out:
        out.print(left_out, soft_wrap=True)
    return 0


def _left_out(held: Account, sites: Sequence[Site]) -> str:
    """Say at which sites an account has no role, and how it gets one there."""
    if not sites:
        return ""
    code = sites[0].code if len(sites) == 1 else "CODE"
    places = ", ".join(f"{site.name} ({site.code})" for site in sites)
    return (
        f"Left out: {places}, where '{held.login}' has no role. "
        f"To give one: driftbook people change {held.login} --site {code} --role ROLE"
    )


def _password(engine: sa.Engine, given: argparse.Namespace) -> int:
    held = _held(engine, given.login)
    set_password(engine, held.login, _asked(given), by=who(given), now=now(), must_change=given.must_change)
    out.print(f"'{held.login}' has a new password; every session has ended.")
    return 0
