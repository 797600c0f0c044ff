"""Who may do what through the JSON interface: every route, for every kind of token, for sessions, and for nobody."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from dashboard.api.operations import OPERATIONS, Operation
from dashboard.console.tokens import run_token
from models.commands.accounts import change_account
from models.errors import ConflictError, DriftbookError, UnknownNameError
from models.settings import Settings
from models.store import tokens
from models.store.accounts import account_of
from models.store.newest_jobs import newest_jobs
from models.tables.state import ApiTokenRow
from models.values.entry import JobFilter
from models.values.roles import AtSite, Role
from tests.auth_book import AuthBook, open_book
from tests.conftest import NOW, make_site
from tests.fuzz.api_book import bearer

API = "/api/v1"

MAY = {
    "reader": {"sites", "assets", "asset", "asset_jobs", "jobs", "job", "due"},
    "recorder": {"sites", "assets", "asset", "asset_jobs", "jobs", "job", "due", "record", "amend", "void"},
    "auditor": {"sites", "assets", "asset", "asset_jobs", "jobs", "job", "due", "entries", "entry", "heads", "head", "inclusion", "consistency"},
}  # fmt: skip
"""The table once more, by hand: whoever changes one has to change both."""

EVERY = {one.name for one in OPERATIONS}
READING = MAY["reader"] | MAY["auditor"]


@pytest.fixture
def book(sqlite_book: Settings, tmp_path: Path) -> Iterator[AuthBook]:
    made = open_book(sqlite_book, tmp_path)
    yield made
    made.engine.dispose()


@pytest.fixture(scope="module")
def shared(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[AuthBook]:
    folder = tmp_path_factory.mktemp("access")
    (folder / "driftbook.db").write_bytes(sqlite_template.read_bytes())
    made = open_book(Settings(book=str(folder / "driftbook.db"), mappings=folder / "mappings"), folder)
    yield made
    made.engine.dispose()


def made(book: AuthBook, name: str, *roles: Role, login: str = "eng.lund") -> str:
    return tokens.make_token(book.engine, book.site.site_id, login=login, name=name, roles=roles, now=NOW)[0]


def path_of(operation: Operation) -> str:
    path = operation.path
    for name, value in {"tag": "P-1", "entry": "13", "number": "3", "size": "3"}.items():
        path = path.replace(f"{{{name}}}", value)
    return f"{API}{path}?from=3" if operation.name == "consistency" else API + path


def asked(client: Any, operation: Operation, headers: dict[str, str] | None = None) -> Any:
    body = {"json": {}} if operation.writes else {}
    return client.open(path_of(operation), method=operation.method, headers=headers or {}, **body)


def allowed(client: Any, headers: dict[str, str] | None = None) -> set[str]:
    """Give the operations that are not refused; a write that may be done fails on its empty body, after the look at who asks."""
    found = set()
    for operation in OPERATIONS:
        answer = asked(client, operation, headers)
        assert answer.status_code in {200, 401, 403, 422} or (operation.name == "job" and answer.status_code == 404), (
            operation.name,
            answer.text,
        )
        if answer.status_code not in {401, 403}:
            found.add(operation.name)
            assert not operation.writes or answer.status_code == 422
        else:
            assert answer.mimetype == "application/problem+json"
            assert answer.get_json()["remedy"]
    return found


@pytest.mark.parametrize("role", ["reader", "recorder", "auditor"])
def test_each_role_of_a_token_may_do_what_the_table_says_and_nothing_else(shared: AuthBook, role: str) -> None:
    secret = made(shared, f"as {role}", Role(role))
    assert allowed(shared.browser(), bearer(secret)) == MAY[role] | {"description"}


def test_roles_of_a_token_add_up(shared: AuthBook) -> None:
    secret = made(shared, "all", *tokens.ROLES)
    assert allowed(shared.browser(), bearer(secret)) == EVERY


@pytest.mark.parametrize("role", list(Role))
def test_a_session_reads_what_its_account_may_and_writes_nothing(shared: AuthBook, role: Role) -> None:
    may = {
        "reader": MAY["reader"],
        "recorder": MAY["reader"],
        "engineer": READING,
        "auditor": READING,
        "administrator": MAY["reader"],
    }[role]
    assert allowed(shared.signed_in(role)) == may | {"description"}


def test_nobody_gets_in_where_there_are_accounts(shared: AuthBook) -> None:
    for headers in (
        {},
        bearer("driftbook_none"),
        {"Authorization": "Bearer"},
        {"Authorization": "Basic YTpi"},
        {"X-Author": "Ana"},
    ):
        assert allowed(shared.browser(), headers) == {"description"}
    answer = shared.browser().get(f"{API}/due")
    assert answer.headers["WWW-Authenticate"].startswith("Bearer")
    told = shared.browser().get(f"{API}/due", headers=bearer("driftbook_none"))
    assert 'error="invalid_token"' in told.headers["WWW-Authenticate"]


def test_a_wrong_token_is_not_made_good_by_a_session(shared: AuthBook) -> None:
    assert shared.signed_in(Role.ENGINEER).get(f"{API}/due", headers=bearer("driftbook_none")).status_code == 401


def test_a_token_and_a_session_together_are_the_token(shared: AuthBook) -> None:
    """A page of somebody else's cannot add a session to a token, nor borrow one for a write."""
    secret = made(shared, "beside", Role.READER)
    assert allowed(shared.signed_in(Role.ENGINEER), bearer(secret)) == MAY["reader"] | {"description"}


def test_what_a_page_of_another_site_sends_is_refused_although_the_session_is_there(shared: AuthBook) -> None:
    client = shared.signed_in(Role.ENGINEER)
    for headers in ({"Origin": "https://elsewhere.example"}, {"Sec-Fetch-Site": "cross-site"}):
        answer = client.post(f"{API}/jobs", json={}, headers=headers)
        assert (answer.status_code, answer.mimetype) == (403, "application/problem+json")
    assert client.post(f"{API}/jobs", json={}, headers={"Sec-Fetch-Site": "same-origin"}).status_code == 401
    assert (
        "Access-Control-Allow-Origin"
        not in client.get(f"{API}/due", headers={"Origin": "https://elsewhere.example"}).headers
    )


def test_another_name_of_the_server_is_told_as_a_problem(shared: AuthBook) -> None:
    answer = shared.browser().get(f"{API}/due", headers={"Host": "rebound.example"})
    assert (answer.status_code, answer.mimetype, answer.get_json()["status"]) == (421, "application/problem+json", 421)


def test_an_ended_token_is_refused_at_once(book: AuthBook) -> None:
    secret = made(book, "short", *tokens.ROLES)
    assert allowed(book.browser(), bearer(secret)) == EVERY
    ended = tokens.end_token(book.engine, book.site.site_id, "short", NOW + timedelta(days=1))
    assert ended.name == "short"
    assert allowed(book.browser(), bearer(secret)) == {"description"}
    with pytest.raises(UnknownNameError):
        tokens.end_token(book.engine, book.site.site_id, "short", NOW)
    assert made(book, "short", Role.READER) != secret  # the name is free again


@pytest.mark.parametrize(("roles", "active", "left"), [([Role.READER], True, MAY["reader"]), ([Role.AUDITOR], True, MAY["auditor"]), ([Role.ENGINEER], False, set())])  # fmt: skip
def test_a_token_never_does_more_than_its_account_may_today(
    book: AuthBook, roles: list[Role], active: bool, left: set[str]
) -> None:
    secret = made(book, "strong", *tokens.ROLES)
    at = AtSite(book.site.site_id, "Eng Lund", roles=tuple(roles), active=active)
    change_account(book.engine, book.site, "eng.lund", at, by="tester", now=NOW)
    assert allowed(book.browser(), bearer(secret)) == left | {"description"}


def test_no_token_is_made_beyond_its_account(book: AuthBook) -> None:
    for role in (Role.RECORDER, Role.AUDITOR):
        with pytest.raises(DriftbookError, match="may not"):
            made(book, "more", role, login="rea.dee")
    with pytest.raises(UnknownNameError):
        made(book, "more", Role.READER, login="nobody")
    made(book, "one", Role.READER)
    with pytest.raises(ConflictError, match=r"it is of eng\.lund"):
        made(book, " one ", Role.READER)
    with pytest.raises(DriftbookError):
        made(book, "", Role.READER)


def test_a_token_holds_for_its_site_only(sqlite_book: Settings, tmp_path: Path) -> None:
    book = open_book(sqlite_book, tmp_path)
    other = make_site(sqlite_book, name="Far Bank")
    secret, client = made(book, "here", *tokens.ROLES), book.browser()
    assert [one["code"] for one in client.get(f"{API}/sites", headers=bearer(secret)).get_json()["items"]] == [
        "test-quay"
    ]
    for path in ("/assets", "/due", "/entries", "/jobs"):
        assert client.get(f"{API}{path}?site=test-quay", headers=bearer(secret)).status_code == 200
        assert client.get(f"{API}{path}?site=far-bank", headers=bearer(secret)).status_code == 403
    beyond = (
        book.engine.connect()
        .execute(sa.text("SELECT max(number) FROM entry WHERE site_id = :s"), {"s": other.site_id})
        .scalar()
    )
    assert client.get(f"{API}/entries/{beyond}", headers=bearer(secret)).status_code == 404
    assert {one["site"] for one in client.get(f"{API}/jobs", headers=bearer(secret)).get_json()["items"]} == {
        "test-quay"
    }
    with book.engine.connect() as connection:
        assert newest_jobs(connection, other, JobFilter(), upto=beyond, most=9).lines == ()
    with pytest.raises(DriftbookError, match="may not"):
        tokens.make_token(book.engine, other.site_id, login="eng.lund", name="there", roles=[Role.READER], now=NOW)
    book.engine.dispose()


def test_a_book_without_accounts_is_read_by_anybody_and_written_by_nobody(
    sqlite_book: Settings, tmp_path: Path
) -> None:
    from tests.record_book import open_book as open_plain

    with open_plain(sqlite_book, tmp_path) as opened:
        client = opened.app.server.test_client()
        for headers in ({}, {"X-Author": "Ana Wick"}):
            assert {
                one.name for one in OPERATIONS if asked(client, one, headers).status_code not in {401, 403}
            } == READING | {"description"}


def test_only_the_hash_of_a_token_is_kept(book: AuthBook) -> None:
    secret = made(book, "kept", Role.READER)
    assert len(secret) >= 43 + len(tokens.PREFIX)
    with book.engine.connect() as connection:
        row = connection.execute(sa.select(ApiTokenRow.__table__)).mappings().one()
        account = account_of(connection, "eng.lund")
    assert secret not in str(dict(row))
    assert len(row["token_hash"]) == 64
    assert account is not None
    assert row["account_id"] == account.account_id
    assert secret.encode() not in b"".join(
        path.read_bytes() for path in Path(book.engine.url.database or "").parent.glob("driftbook.db*")
    )


def test_the_command_makes_lists_and_ends(book: AuthBook, capsys: pytest.CaptureFixture[str]) -> None:
    from dashboard.cli import _parser

    def command(*words: str) -> str:
        assert run_token(_parser().parse_args(["token", *words, "--book", str(book.engine.url.database)])) == 0
        return capsys.readouterr().out

    assert "no token" in command("list")
    told = command("make", "maintenance", "--login", "eng.lund", "--role", "recorder", "--role", "auditor")
    secret = next(line for line in told.splitlines() if line.startswith(tokens.PREFIX))
    assert "shown this once" in told
    assert allowed(book.browser(), bearer(secret)) == MAY["recorder"] | MAY["auditor"] | {"description"}
    listed = command("list")
    assert "maintenance" in listed
    assert secret not in listed
    assert "has ended" in command("end", "maintenance")
    assert book.browser().get(f"{API}/due", headers=bearer(secret)).status_code == 401
