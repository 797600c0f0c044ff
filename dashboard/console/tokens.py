"""The subcommand token: make, list and end the tokens of the JSON interface."""

from __future__ import annotations

import argparse

from dashboard.console.common import now, opened, out, settings_of
from models.store.known import site_of
from models.store.tokens import end_token, make_token, read_tokens
from models.values.roles import Role


def run_token(given: argparse.Namespace) -> int:
    """Do what was asked with the tokens of a site."""
    return {"make": _make, "list": _list, "end": _end}[given.does](given)


def _make(given: argparse.Namespace) -> int:
    with opened(settings_of(given)) as engine:
        with engine.connect() as connection:
            site = site_of(connection, given.site)
        roles = [Role(role) for role in dict.fromkeys(given.role)]
        secret, token = make_token(engine, site.site_id, login=given.login, name=given.name, roles=roles, now=now())
    out.print(f"Token '{token.name}' for {site.name}, as {', '.join(roles)}, in the name of {token.login}:")
    # By itself on a line and never wrapped, so that it can be copied or read by a script.
    out.print(secret, soft_wrap=True, markup=False)
    out.print("It is shown this once and kept nowhere. Send it as:  Authorization: Bearer TOKEN")
    return 0


def _list(given: argparse.Namespace) -> int:
    with opened(settings_of(given)) as engine, engine.connect() as connection:
        site = site_of(connection, given.site)
        tokens = read_tokens(connection, site.site_id)
    if not tokens:
        out.print(f"{site.name} has no token.")
        return 0
    from rich.table import Table  # only where there is a table to show

    table = Table("name", "login", "roles", "made", "ended", title=f"Tokens of {site.name}", title_justify="left")
    for token in tokens:
        ended = "" if token.ended is None else f"{token.ended:%Y-%m-%d %H:%M} UTC"
        table.add_row(token.name, token.login, ", ".join(token.roles), f"{token.made:%Y-%m-%d %H:%M} UTC", ended)
    out.print(table)
    return 0


def _end(given: argparse.Namespace) -> int:
    with opened(settings_of(given)) as engine:
        with engine.connect() as connection:
            site = site_of(connection, given.site)
        token = end_token(engine, site.site_id, given.name, now())
    out.print(f"Token '{token.name}' has ended: it is refused from now on.")
    return 0
