"""Sign-in through an OpenID Connect provider: a local one of our own, honest and otherwise."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
import requests
import sqlalchemy as sa

from dashboard.auth.outside import Outside, read_outside
from models.commands.accounts import change_account
from models.errors import DriftbookError
from models.settings import Settings
from models.store import state
from models.values.roles import AtSite, Role
from tests.auth_book import PEOPLE, AuthBook, hidden_of, mark_of, open_book
from tests.conftest import NOW
from tests.oidc_provider import CLIENT, SECRET, Provider, serving


@pytest.fixture
def provider() -> Iterator[Provider]:
    with serving() as made:
        yield made


@pytest.fixture
def book(sqlite_book: Settings, tmp_path: Path, provider: Provider) -> Iterator[AuthBook]:
    outside = Outside(provider.address, CLIENT, SECRET, "http://localhost", "the works")
    made = open_book(sqlite_book, tmp_path, outside=outside)
    at = AtSite(made.site.site_id, "Eng Lund", roles=(Role.ENGINEER,), outside=f"{provider.address} sub-77")
    change_account(made.engine, made.site, PEOPLE[Role.ENGINEER][0], at, by="t", now=NOW)
    yield made
    made.engine.dispose()


def there(client: Any, onward: str = "/asset/P-1") -> str:
    """Go to the provider, and give the address that it sends the browser back to."""
    sent = client.get(f"/sign-in/outside?next={onward}")
    assert sent.status_code == 303
    answer = requests.get(sent.headers["Location"], allow_redirects=False, timeout=10)
    back = urlsplit(answer.headers["Location"])
    assert f"{back.scheme}://{back.netloc}" == "http://localhost"
    return f"{back.path}?{back.query}"


def inside(client: Any) -> bool:
    return client.get("/_dash-layout").status_code == 200


def test_somebody_comes_in_through_the_provider(book: AuthBook, provider: Provider) -> None:
    client = book.browser()
    assert "Sign in with the works" in client.get("/sign-in").get_data(as_text=True)
    answer = client.get(there(client))
    assert (answer.status_code, answer.headers["Location"]) == (303, "/asset/P-1")
    assert inside(client)
    asked = provider.asked[0]
    assert asked["response_type"] == "code"
    assert asked["code_challenge_method"] == "S256"
    assert len({asked["state"], asked["nonce"], asked["code_challenge"]}) == 3
    assert min(len(asked[name]) for name in ("state", "nonce", "code_challenge")) == 43
    with book.engine.connect() as connection:
        tried = state.tries(connection, since=NOW.replace(year=2020))
    assert (tried[0].login, tried[0].outcome) == ("eng.lund", "in by provider")


def test_state_and_nonce_are_new_each_time(book: AuthBook, provider: Provider) -> None:
    client = book.browser()
    there(client)
    there(client)
    assert provider.asked[0]["state"] != provider.asked[1]["state"]
    assert provider.asked[0]["nonce"] != provider.asked[1]["nonce"]


def test_somebody_whom_only_the_provider_knows_stays_outside_and_is_told_what_to_pass_on(
    book: AuthBook, provider: Provider
) -> None:
    provider.subject = "stranger"
    client = book.browser()
    answer = client.get(there(client))
    assert answer.status_code == 403
    assert f"{provider.address} stranger" in answer.get_data(as_text=True)
    assert not inside(client)


def test_a_closed_account_stays_outside(book: AuthBook, provider: Provider) -> None:
    at = AtSite(
        book.site.site_id, "Eng Lund", roles=(Role.ENGINEER,), active=False, outside=f"{provider.address} sub-77"
    )
    change_account(book.engine, book.site, "eng.lund", at, by="t", now=NOW)
    client = book.browser()
    assert client.get(there(client)).status_code == 403


@pytest.mark.parametrize(
    "claims",
    [{"nonce": "another"}, {"nonce": None}, {"iss": "https://elsewhere.example"}, {"aud": "another-program"}, {"aud": None},
     {"exp": int(time.time()) - 3600}, {"exp": None}, {"sub": None}, {"sub": ""}, {"sub": "two words"}, {"iat": None},
     {"aud": [CLIENT, "another"]}, {"azp": "another"}, {"iat": int(time.time()) + 3600}],
)  # fmt: skip
def test_a_token_that_says_something_else_is_not_believed(
    book: AuthBook, provider: Provider, claims: dict[str, Any]
) -> None:
    provider.claims = claims
    client = book.browser()
    answer = client.get(there(client))
    assert answer.status_code == 400
    assert "did not work" in answer.get_data(as_text=True)
    assert not inside(client)


@pytest.mark.parametrize("how", ["other key", "public key as secret", "none"])
def test_a_forged_token_is_not_believed(book: AuthBook, provider: Provider, how: str) -> None:
    provider.sign = provider.forged(how)
    client = book.browser()
    assert client.get(there(client)).status_code == 400
    assert not inside(client)


def test_an_answer_for_another_browser_is_not_taken(book: AuthBook, provider: Provider) -> None:
    """Somebody sends their own answer to a victim, who would then work in their name; or takes a victim's."""
    mine, theirs = book.browser(), book.browser()
    address = there(mine)
    assert theirs.get(address).status_code == 400
    there(theirs)
    assert theirs.get(address).status_code == 400
    assert provider.token_requests == 0
    assert not inside(theirs)


def test_an_answer_serves_once(book: AuthBook) -> None:
    client = book.browser()
    address = there(client)
    assert client.get(address).status_code == 303
    other = book.browser()
    assert other.get(address).status_code == 400
    assert client.get(address).status_code == 400


def test_another_state_or_an_error_or_another_issuer_is_refused(book: AuthBook, provider: Provider) -> None:
    client = book.browser()
    query = parse_qs(urlsplit(there(client)).query)
    good = f"state={query['state'][0]}"
    assert client.get(f"/sign-in/outside/back?state=x&code={query['code'][0]}").status_code == 400
    for more in ("&error=access_denied", "&iss=https://elsewhere.example&code=x", "&code=wrong", ""):
        there(client)
        good = f"state={provider.asked[-1]['state']}"
        assert client.get(f"/sign-in/outside/back?{good}{more}").status_code == 400
    assert not inside(client)


def test_a_provider_that_names_another_issuer_or_is_away_is_refused_in_words(
    book: AuthBook, provider: Provider
) -> None:
    provider.says_issuer = "https://elsewhere.example"
    answer = book.browser().get("/sign-in/outside")
    assert answer.status_code == 502
    assert "did not work" in answer.get_data(as_text=True)


def test_the_way_on_stays_on_this_server(book: AuthBook) -> None:
    client = book.browser()
    assert client.get(there(client, "https://elsewhere.example/")).headers["Location"] == "/"


def test_who_has_no_password_signs_soon_after_the_provider_let_them_in(book: AuthBook) -> None:
    client = book.browser()
    client.get(there(client))
    with book.engine.connect() as connection:
        entry = connection.execute(sa.text("SELECT entry FROM job WHERE ref = 'J2'")).scalar_one()
    page = client.get(f"/sign/{entry}").get_data(as_text=True)
    assert "sign within 15 minutes" in page
    assert 'type="password"' not in page
    fields = hidden_of(page) | {"meaning": "approved"}
    book.clock.on(minutes=16)
    late = client.post(f"/sign/{entry}", data=fields)
    assert late.status_code == 401
    assert "too long ago" in late.get_data(as_text=True)
    client.get(there(client))
    mark = mark_of(client.get(f"/sign/{entry}").get_data(as_text=True))
    assert client.post(f"/sign/{entry}", data=fields | {"mark": mark}).status_code == 303


def test_who_comes_in_through_the_provider_gets_no_second_way_in(book: AuthBook) -> None:
    client = book.browser()
    client.get(there(client))
    page = client.get("/password").get_data(as_text=True)
    assert "keeps no password for you" in page
    form = {"mark": mark_of(page), "old": "", "new": "slate harbour 41 violin", "again": "slate harbour 41 violin"}
    assert client.post("/password", data=form).status_code == 400
    with book.engine.connect() as connection:
        assert state.credential(connection, book.accounts[Role.ENGINEER].account_id) is None


SET = {
    "DRIFTBOOK_OIDC_ISSUER": "https://door.example", "DRIFTBOOK_OIDC_CLIENT": "c", "DRIFTBOOK_OIDC_SECRET": "s3cret-of-the-client",
    "DRIFTBOOK_OIDC_ADDRESS": "https://book.example/",
}  # fmt: skip


def test_settings_come_from_the_environment_and_the_secret_is_not_shown() -> None:
    assert read_outside({}) is None
    read = read_outside(SET)
    assert read is not None
    assert (read.back, read.name) == ("https://book.example/sign-in/outside/back", "door.example")
    assert "s3cret-of-the-client" not in repr(read)


@pytest.mark.parametrize(
    "change",
    [{"DRIFTBOOK_OIDC_CLIENT": ""}, {"DRIFTBOOK_OIDC_SECRET": " "}, {"DRIFTBOOK_OIDC_ADDRESS": ""}, {"DRIFTBOOK_OIDC_ISSUER": "http://door.example"},
     {"DRIFTBOOK_OIDC_ADDRESS": "http://book.example"}, {"DRIFTBOOK_OIDC_ADDRESS": "https://book.example/drift"}],
)  # fmt: skip
def test_settings_that_are_missing_or_not_safe_are_refused(change: dict[str, str]) -> None:
    with pytest.raises(DriftbookError):
        read_outside(SET | change)
