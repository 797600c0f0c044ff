"""A book with accounts and tokens behind a real server, for the tests of the JSON interface."""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from conftest import NOW

from dashboard.server import open_server, port_of
from models.commands.accounts import add_account
from models.settings import Settings
from models.store.tokens import make_token
from models.values.roles import Role
from tests.record_book import Opened, open_book

PASSWORD = "seven tall chimneys"  # noqa: S105 - of a book that lives for one test
EVERYTHING = (Role.READER, Role.RECORDER, Role.AUDITOR)


def add_somebody(
    opened: Opened, login: str = "ana", person: str = "Ana Wick", roles: Sequence[Role] = (Role.ENGINEER,)
) -> None:
    add_account(
        opened.reader.engine, [opened.site], login, person=person, roles=roles, by="tester", now=NOW,
        password=PASSWORD, must_change=False,
    )  # fmt: skip


def token_of(opened: Opened, *roles: Role, login: str = "ana", name: str = "maintenance") -> str:
    return make_token(opened.reader.engine, opened.site.site_id, login=login, name=name, roles=roles, now=NOW)[0]


def bearer(secret: str, **more: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {secret}", **more}


@contextmanager
def tokened(settings: Settings, folder: Path, *roles: Role) -> Iterator[tuple[Opened, str]]:
    """Open the little book with an account and a token that may do everything, or less."""
    with open_book(settings, folder) as opened:
        add_somebody(opened)
        yield opened, token_of(opened, *(roles or EVERYTHING))


@contextmanager
def serving(app: Any) -> Iterator[str]:
    """Serve an application on a free port; gives its address."""
    server = open_server(app, "127.0.0.1", 0)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{port_of(server)}"
    finally:
        server.close()
        thread.join(10)
