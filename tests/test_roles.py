"""Every route, download and callback, for every role and for nobody: allowed only where the table says so."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from dash import Input, Output

from dashboard import roles as table
from dashboard.api.operations import ROUTES as INTERFACE
from models.settings import Settings
from models.values.roles import GRANTS, Permission, Role, granted, roles_of
from tests.auth_book import AuthBook, callback_body, open_book

MAY = {
    "reader": {"read"},
    "recorder": {"read", "record", "amend"},
    "engineer": {"read", "record", "amend", "import", "sign off", "limits", "audit"},
    "auditor": {"read", "audit"},
    "administrator": {"read", "administer"},
}
"""The table once more, by hand: whoever changes one has to change both."""

VALUES = {
    "filename": "nothing.css", "package_name": "dash", "fingerprinted_path": "deps/nothing.js", "path": "offenders", "name": "fleet",
    "form": "csv", "secret": "none", "month": "2025-03", "tag": "P-1", "account_id": "1", "number": "1", "entry": "1", "rest": "x",
    "ref": "J1", "size": "1",
}  # fmt: skip
NOT_ALLOWED = {401, 403}


@pytest.fixture(scope="module")
def book(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[AuthBook]:
    folder = tmp_path_factory.mktemp("roles")
    (folder / "driftbook.db").write_bytes(sqlite_template.read_bytes())
    made = open_book(Settings(book=str(folder / "driftbook.db"), mappings=folder / "mappings"), folder)
    made.app.server.test_client().get("/healthz")  # Dash sets itself up at the first request
    yield made
    made.engine.dispose()


def routes(book: AuthBook) -> list[tuple[str, str, str]]:
    """Give endpoint, method and an address of everything that the application answers to."""
    found = []
    adapter = book.app.server.url_map.bind("localhost")
    for rule in book.app.server.url_map.iter_rules():
        values = {name: VALUES[name] for name in rule.arguments}
        path = adapter.build(rule.endpoint, values, method=next(iter(sorted(rule.methods - {"OPTIONS", "HEAD"}))))
        path += "?from=1" if rule.endpoint == "api.consistency" else ""  # asked for before the permission is
        found += [(rule.endpoint, method, path) for method in sorted(rule.methods - {"OPTIONS", "HEAD", "TRACE"})]
    return found


def callbacks(book: AuthBook) -> list[str]:
    return [key for key, spec in book.app.callback_map.items() if "callback" in spec]


def asked(client: Any, method: str, path: str, **more: Any) -> int:
    with client.open(path, method=method, **more) as answer:
        if (
            answer.status_code in {302, 303}
            and answer.headers["Location"].startswith("/sign-in")
            and not path.startswith("/sign-")
        ):
            return 401
        return int(answer.status_code)


def test_the_table_of_roles_says_what_was_agreed() -> None:
    assert {str(role): {str(one) for one in held} for role, held in GRANTS.items()} == MAY
    assert set(MAY) == {str(role) for role in Role}
    assert granted([Role.RECORDER, Role.AUDITOR]) == {*map(Permission, MAY["recorder"] | MAY["auditor"])}
    assert roles_of(["Auditor", "reader "]) == (Role.READER, Role.AUDITOR)


def test_what_is_answered_without_a_look_at_who_asks_is_open_to_everybody(book: AuthBook) -> None:
    endpoints = {rule.endpoint for rule in book.app.server.url_map.iter_rules()}
    assert table.WITHOUT_BOOK - endpoints <= {"static"}
    assert {table.ROUTES[one] for one in table.WITHOUT_BOOK} == {Permission.OPEN}


def test_everything_that_is_answered_stands_in_the_table(book: AuthBook) -> None:
    missing = {endpoint for endpoint, _, _ in routes(book)} - set(table.ROUTES) - {table.UPDATE}
    assert not missing
    assert [key for key in callbacks(book) if table.of_callback(key) is None] == []
    assert set(table.ROUTES) - {endpoint for endpoint, _, _ in routes(book)} == set()


def test_nobody_gets_what_is_not_open(book: AuthBook) -> None:
    nobody, counted = book.browser(), 0
    for endpoint, method, path in routes(book):
        if endpoint == table.UPDATE:
            continue
        needed = INTERFACE.get(endpoint, table.ROUTES[endpoint])
        status = asked(nobody, method, path, headers={"Accept": "text/html"})
        assert (status not in NOT_ALLOWED) == (needed is Permission.OPEN), f"{method} {path}: {status}"
        counted += 1
    for key in callbacks(book):
        status = asked(nobody, "POST", table.UPDATE, json=callback_body(book.app, key))
        assert status == 401, key
        counted += 1
    assert counted > 50


@pytest.mark.parametrize("role", list(Role))
def test_each_role_gets_what_the_table_says_and_nothing_else(book: AuthBook, role: Role) -> None:
    client, may = book.signed_in(role), MAY[role]
    for endpoint, method, path in routes(book):
        if endpoint == table.UPDATE:
            continue
        needed = table.ROUTES[endpoint]
        allowed = needed in {Permission.OPEN, Permission.SELF} or str(needed) in may
        if endpoint in INTERFACE:
            # A session reads through the interface; it never writes, which takes a token.
            one = INTERFACE[endpoint]
            allowed = one is Permission.OPEN or (one in {Permission.READ, Permission.AUDIT} and str(one) in may)
        status = asked(client, method, path, headers={"Accept": "text/html"})
        assert (status not in NOT_ALLOWED) == allowed, f"{method} {path}: {status}"
        assert status != 500, f"{method} {path}"
    for key in callbacks(book):
        needed_here = table.of_callback(key)
        assert needed_here is not None
        status = asked(client, "POST", table.UPDATE, json=callback_body(book.app, key))
        assert (status not in NOT_ALLOWED) == ({str(one) for one in needed_here} <= may), f"{key}: {status}"
        assert status != 500, key


@pytest.mark.parametrize(
    "headers",
    [{"Origin": "https://elsewhere.example"}, {"Sec-Fetch-Site": "cross-site"}, {"Sec-Fetch-Site": "same-site"}, {"Origin": "null"}],
    ids=["origin", "cross-site", "same-site", "null"],
)  # fmt: skip
def test_what_a_page_of_another_site_sends_is_refused_for_every_role(book: AuthBook, headers: dict[str, str]) -> None:
    for role in Role:
        client = book.signed_in(role)
        for _, method, path in routes(book):
            if method not in {"GET", "HEAD"}:
                assert asked(client, method, path, headers=headers) == 403, f"{method} {path}"
        for key in callbacks(book):
            assert asked(client, "POST", table.UPDATE, json=callback_body(book.app, key), headers=headers) == 403, key


def test_another_name_of_the_server_is_refused(book: AuthBook) -> None:
    client = book.signed_in(Role.READER)
    for _, method, path in routes(book):
        assert asked(client, method, path, headers={"Host": "rebound.example:8750"}) in {400, 421}


def test_what_is_new_and_not_in_the_table_is_found_and_refused(sqlite_book: Settings, tmp_path: Path) -> None:
    book = open_book(sqlite_book, tmp_path)
    book.app.server.add_url_rule("/new", endpoint="new", view_func=lambda: "all of it")
    book.app.callback(Output("fresh-body", "children"), Input("shell-url", "pathname"))(lambda _: "all of it")
    book.app.callback(Output("month-new", "children"), Output("fresh-part", "children"), Input("shell-url", "hash"))(
        lambda _: ("all", "of it")
    )
    book.app.server.test_client().get("/healthz")
    assert "new" not in table.ROUTES
    assert [key for key in callbacks(book) if table.of_callback(key) is None] == [
        "fresh-body.children",
        "..month-new.children...fresh-part.children..",
    ]
    for role in Role:
        client = book.signed_in(role)
        assert asked(client, "GET", "/new") == 403
        for key in ("fresh-body.children", "..month-new.children...fresh-part.children.."):
            assert asked(client, "POST", table.UPDATE, json=callback_body(book.app, key)) == 403
    book.engine.dispose()


@pytest.mark.parametrize(
    "output",
    [None, 7, [], {}, "", ".", "..", "....", "body.children", "month", "-body.children", "nowhere-body.children",
     "..month-body.children...nowhere-body.children..", '{"type":"nowhere-x","index":1}.data', '{"index":1}.data', "{not json}.data",
     "a" * 5000],
)  # fmt: skip
def test_a_callback_that_is_not_known_is_refused(book: AuthBook, output: object) -> None:
    assert table.of_callback(output) is None
    client = book.signed_in(Role.ENGINEER)
    assert asked(client, "POST", table.UPDATE, json={"output": output}) == 403


def test_the_id_of_a_pattern_belongs_to_the_page_that_its_type_names() -> None:
    assert table.of_callback('{"index":1,"type":"record-part"}.data') == {Permission.RECORD}
    assert table.of_callback("..month-a.data...record-b.children..") == {Permission.READ, Permission.RECORD}


def test_a_body_that_is_no_json_is_refused(book: AuthBook) -> None:
    client = book.signed_in(Role.ENGINEER)
    assert asked(client, "POST", table.UPDATE, data=b"\xff\x00", content_type="application/json") == 403
    assert asked(client, "POST", table.UPDATE, json=["output"]) == 403
