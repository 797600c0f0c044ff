"""A book with accounts and tokens behind a real server, for the tests of the JSON interface."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from dashboard.server import open_server, port_of
from models.commands.accounts import add_account
from models.settings import Settings
from models.store.tokens import make_token
from models.tables.jobs import JobRow
from models.values.draft import WorkCheck
from models.values.roles import Role
from tests.conftest import NOW
from tests.record_book import Opened, open_book

API = "/api/v1"

PASSWORD = "seven tall chimneys"  # noqa: S105 - of a book that lives for one test
EVERYTHING = (Role.READER, Role.RECORDER, Role.AUDITOR)


def add_somebody(opened: Opened) -> None:
    add_account(
        opened.reader.engine, [opened.site], "ana", person="Ana Wick", roles=(Role.ENGINEER,), by="tester", now=NOW,
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


FOUND = {"offset_v_mm": 0.06, "angle_v_mm_m": 0.3, "offset_h_mm": 0.02, "angle_h_mm_m": 0.21}
LEFT = {"offset_v_mm": 0.01, "angle_v_mm_m": 0.1, "offset_h_mm": -0.01, "angle_h_mm_m": 0.05}
JOB: dict[str, Any] = {
    "ref": "WO-7", "tag": "P-2", "performed_at": "2026-11-20T09:30:00+00:00", "reason": "planned", "people": ["Ana Wick"],
    "instrument": "D-1", "method": "reverse indicator", "found": FOUND, "left": LEFT, "hours_run": 15000,
    "checks": [str(WorkCheck.LEFT_WHEN_TIGHT)], "notes": "two lines\nof it",
}  # fmt: skip


class Program:
    """A program with a token."""

    def __init__(self, opened: Opened, secret: str) -> None:
        self.opened, self.secret = opened, secret

    def post(self, path: str, body: Any, key: str = "", **headers: str) -> Any:
        more = headers | ({"Idempotency-Key": key} if key else {})
        return self.opened.app.server.test_client().post(API + path, json=body, headers=bearer(self.secret, **more))

    def get(self, path: str) -> Any:
        return self.opened.app.server.test_client().get(API + path, headers=bearer(self.secret)).get_json()

    def count(self, row: Any = JobRow) -> int:
        with self.opened.reader.engine.connect() as connection:
            return connection.execute(sa.select(sa.func.count()).select_from(row)).scalar_one()
