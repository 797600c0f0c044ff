"""A small book with one account for each role, and browsers that are signed in to it."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import dash
import sqlalchemy as sa

from dashboard.app import create_app
from dashboard.auth.access import Access
from dashboard.desk import BookDesk
from models.commands.accounts import add_account
from models.settings import Settings
from models.store.engine import make_engine
from models.store.reader import Reader
from models.values.roles import Account, Role
from models.values.story import Site
from tests.conftest import NOW, make_site
from tests.seeded import seed

PASSWORD = "kite lamp stone river"  # noqa: S105 - of invented people
PEOPLE = {
    Role.READER: ("rea.dee", "Rea Dee"),
    Role.RECORDER: ("rec.orr", "Rec Orr"),
    Role.ENGINEER: ("eng.lund", "Eng Lund"),
    Role.AUDITOR: ("aud.ito", "Aud Ito"),
    Role.ADMINISTRATOR: ("adm.ine", "Adm Ine"),
}
"""Invented people, one for each role: login and name."""


@dataclass
class Clock:
    """A clock that a test moves on."""

    now: datetime = NOW

    def __call__(self) -> datetime:
        return self.now

    def on(self, **much: float) -> None:
        self.now += timedelta(**much)


@dataclass
class AuthBook:
    """The book, its application, and a browser for each role."""

    engine: sa.Engine
    site: Site
    app: dash.Dash
    access: Access
    clock: Clock
    accounts: dict[Role, Account] = field(default_factory=dict)

    def browser(self, token: str | None = None) -> Any:
        client = self.app.server.test_client()
        if token is not None:
            client.set_cookie("driftbook", token)
        return client

    def signed_in(self, role: Role) -> Any:
        return self.browser(self.access.open(self.accounts[role], "127.0.0.1", "in"))


def open_book(
    settings: Settings, folder: Path, *, passwords: bool = False, outside: Any = None, hosts: Any = ("localhost",)
) -> AuthBook:
    site = make_site(settings)
    engine, clock = make_engine(settings), Clock()
    seed(engine, site, folder)
    access = Access(engine, clock)
    app = create_app(
        settings,
        Reader(engine),
        clock=clock,
        desk=BookDesk(engine),
        access=access,
        outside=outside,
        hosts=hosts,
    )
    made = {}
    for role, (login, name) in PEOPLE.items():
        made[role] = add_account(
            engine, [site], login, person=name, roles=[role], by="tester", now=NOW,
            password=PASSWORD if passwords else None, must_change=False,
            outside=None if passwords else f"https://door.example {login}",
        )  # fmt: skip
    return AuthBook(engine, site, app, access, clock, made)


def mark_of(page: str) -> str:
    """Give what the first form of a page carries."""
    found = re.search(r'name="mark" value="([0-9a-f]{64})"', page)
    assert found, page[-2000:]
    return found[1]


def hidden_of(page: str) -> dict[str, str]:
    """Give what the forms of a page carry besides what is typed; of several with one name the first."""
    return dict(reversed(re.findall(r'type="hidden" name="([a-z]+)" value="([^"]*)"', page)))


def enter(client: Any, login: str, password: str, **more: str) -> Any:
    """Sign in as a browser does: open the page, fill the form, send it."""
    mark = mark_of(client.get("/sign-in").get_data(as_text=True))
    return client.post("/sign-in", data={"mark": mark, "login": login, "password": password} | more)


def callback_body(app: dash.Dash, key: str) -> dict[str, Any]:
    """Give a body with which the browser would call a callback, every value empty."""
    spec = app.callback_map[key]

    def given(ones: Any) -> list[dict[str, Any]]:
        return [{"id": one["id"], "property": one["property"], "value": None} for one in ones]

    parts = key[2:-2].split("...") if key.startswith("..") else [key]
    outputs = [{"id": part.rpartition(".")[0], "property": part.rpartition(".")[2].partition("@")[0]} for part in parts]
    return {
        "output": key,
        "outputs": outputs if key.startswith("..") else outputs[0],
        "inputs": given(spec["inputs"]),
        "state": given(spec["state"]),
        "changedPropIds": [],
    }
