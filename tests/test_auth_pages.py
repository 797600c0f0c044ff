"""What stands behind the door: accounts, sites, tokens, signing off, and the command people."""

from __future__ import annotations

import html
import io
import json
import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
import sqlalchemy as sa

from dashboard.cli import main
from dashboard.roles import UPDATE
from dashboard.version import program
from models.commands.accounts import add_account, change_account
from models.commands.amend_job import amend_job
from models.commands.sign_off import sign_off
from models.errors import AlteredBookError
from models.ledger.package_verifier import files_of
from models.settings import Settings
from models.store import state
from models.store.accounts import account_of, accounts
from models.store.engine import make_engine
from models.store.known import sites
from models.store.reader import Reader
from models.store.signoffs import signed_entries, signoffs_of
from models.store.tokens import read_tokens
from models.values.kinds import Meaning
from models.values.roles import AtSite, Role
from tests.auth_book import PASSWORD, PEOPLE, AuthBook, callback_body, enter, hidden_of, mark_of
from tests.conftest import NOW, make_site
from tests.papers import text_of

pytest_plugins = ["tests.plugin_auth"]

SECRET = re.compile(r'<code class="secret">([^<]+)</code>')


@pytest.fixture
def book(auth_book: AuthBook) -> AuthBook:
    return auth_book


def admin(book: AuthBook) -> Any:
    return book.signed_in(Role.ADMINISTRATOR)


def post(client: Any, page: str, path: str, **fields: Any) -> Any:
    return client.post(path, data=hidden_of(client.get(page).get_data(as_text=True)) | fields)


def secret_of(answer: Any) -> str:
    found = SECRET.search(answer.get_data(as_text=True))
    assert found, answer.get_data(as_text=True)[-1500:]
    return found[1]


# -- accounts ------------------------------------------------------------------------------------------------------


def test_an_administrator_adds_somebody_who_then_chooses_a_password(book: AuthBook) -> None:
    client = admin(book)
    answer = post(
        client, "/accounts", "/accounts/add", login="Bo.Tarn", person="Bo Tarn", roles=["recorder"], site="test-quay"
    )
    password = secret_of(answer)
    assert answer.headers["Cache-Control"] == "no-store"
    assert password not in client.get("/accounts").get_data(as_text=True)
    other = book.browser()
    assert enter(other, "bo.tarn", password).status_code == 303
    assert other.get("/", headers={"Accept": "text/html"}).headers["Location"] == "/password"
    with book.engine.connect() as connection:
        made = account_of(connection, "bo.tarn")
    assert made is not None
    assert made.sites[book.site.site_id].roles == (Role.RECORDER,)


@pytest.mark.parametrize(
    "fields",
    [{"login": "x"}, {"person": ""}, {"roles": []}, {"roles": ["emperor"]}, {"site": "elsewhere"}, {"mail": "none"}, {"login": "adm.ine"}],
)  # fmt: skip
def test_what_cannot_be_an_account_is_refused_in_words(book: AuthBook, fields: dict[str, Any]) -> None:
    given = {"login": "new.one", "person": "New One", "roles": ["reader"], "site": "test-quay"} | fields
    answer = post(admin(book), "/accounts", "/accounts/add", **given)
    assert answer.status_code == 400
    assert 'role="alert"' in answer.get_data(as_text=True)
    with book.engine.connect() as connection:
        assert len(accounts(connection)) == 5


def test_roles_are_changed_and_an_account_is_closed_with_its_tokens(book: AuthBook) -> None:
    client, number = admin(book), book.accounts[Role.RECORDER].account_id
    page = f"/accounts/{number}"
    token = secret_of(
        post(client, page, f"{page}/token", site="test-quay", roles=["reader"], **{"token-name": "display"})
    )
    theirs = book.signed_in(Role.RECORDER)
    fields = {"site": "test-quay", "person-1": "Rec Orr", "mail-1": "", "outside-1": "", "why-1": "moved"}
    done = post(client, page, f"{page}/change", roles=["recorder", "engineer"], active="yes", **fields)
    assert "It was written into the book." in done.get_data(as_text=True)
    assert theirs.get("/_dash-layout").status_code == 200
    with book.engine.connect() as connection:
        changed = account_of(connection, "rec.orr")
    assert changed is not None
    assert changed.sites[1].roles == (Role.RECORDER, Role.ENGINEER)
    assert theirs.get("/api/v1/sites", headers={"Authorization": f"Bearer {token}"}).status_code == 200
    post(client, page, f"{page}/change", roles=["recorder"], **fields)
    assert theirs.get("/_dash-layout").status_code == 401
    assert book.browser().get("/api/v1/sites", headers={"Authorization": f"Bearer {token}"}).status_code == 401


def test_a_token_is_shown_once_kept_as_a_hash_and_ended(book: AuthBook) -> None:
    client, number = admin(book), book.accounts[Role.AUDITOR].account_id
    page = f"/accounts/{number}"
    made = post(client, page, f"{page}/token", site="test-quay", roles=["reader", "auditor"], **{"token-name": "books"})
    token = secret_of(made)
    with book.engine.connect() as connection:
        kept = read_tokens(connection, 1)[0]
        raw = repr(connection.execute(sa.text("SELECT * FROM api_token")).all())
    assert token not in raw
    assert state.hash_of(token) in raw
    assert kept.roles == (Role.READER, Role.AUDITOR)
    assert token not in client.get(page).get_data(as_text=True)
    assert (
        post(client, page, f"{page}/token", site="test-quay", roles=["recorder"], **{"token-name": "no"}).status_code
        == 400
    )
    post(client, page, f"{page}/token/{kept.number}/end")
    assert book.browser().get("/api/v1/sites", headers={"Authorization": f"Bearer {token}"}).status_code == 401


def test_a_secret_address_of_the_calendar_works_until_it_is_ended(book: AuthBook) -> None:
    client, number = admin(book), book.accounts[Role.READER].account_id
    page = f"/accounts/{number}"
    address = secret_of(post(client, page, f"{page}/address", site="test-quay"))
    path = address.partition("localhost")[2]
    assert book.browser().get(path).status_code == 200
    shown = client.get(page).get_data(as_text=True)
    assert "what is due at the whole site" in shown, "it is a person's address, and every machine's dates"
    ends = re.search(rf'action="({page}/address/\d+/end)"', shown)
    assert ends
    post(client, page, ends[1])
    assert book.browser().get(path).status_code in {403, 404}


def test_a_form_of_an_account_does_nothing_to_another_one_that_has_its_number(book: AuthBook) -> None:
    """As where an older state of the book was put back: numbers are given anew, logins and moments are not."""
    client, number, before = admin(book), book.accounts[Role.AUDITOR].account_id, entries(book)
    page = f"/accounts/{number}"
    secret_of(post(client, page, f"{page}/token", site="test-quay", roles=["reader"], **{"token-name": "books"}))
    secret_of(post(client, page, f"{page}/address", site="test-quay"))
    for does in ("change", "reset", "end-sessions", "token", "token/1/end", "address", "address/1/end"):
        given = {"site": "test-quay", "person-1": "Bo Tarn", "roles": "administrator", "token-name": "x"}
        for account in ("bo.tarn", ""):
            refused = post(client, page, f"{page}/{does}", account=account, **given)
            assert refused.status_code == 409
            assert "Nothing was done: this form was made for the account" in refused.get_data(as_text=True)
    for kind in ("token", "address"):
        answer = post(client, page, f"{page}/{kind}/1/end", made="2026-01-01T00:00:00+00:00")
        assert answer.status_code == 400
        assert "Nothing was ended" in answer.get_data(as_text=True)
    assert entries(book) == before
    with book.engine.connect() as connection:
        kept = (*state.tokens(connection, number), *state.addresses(connection, number))
    assert [line.ended for line in kept] == [None, None]


def test_a_new_password_and_ending_all_sessions(book: AuthBook) -> None:
    client, number = admin(book), book.accounts[Role.READER].account_id
    page, theirs = f"/accounts/{number}", book.signed_in(Role.READER)
    post(client, page, f"{page}/end-sessions")
    assert theirs.get("/_dash-layout").status_code == 401
    password = secret_of(post(client, page, f"{page}/reset"))
    assert enter(book.browser(), PEOPLE[Role.READER][0], PASSWORD).status_code == 401
    assert enter(book.browser(), PEOPLE[Role.READER][0], password).status_code == 303


@pytest.mark.parametrize("path", ["add", "{n}/change", "{n}/reset", "{n}/end-sessions", "{n}/token", "{n}/address"])
def test_every_form_of_an_administrator_is_bound_to_the_browser(book: AuthBook, path: str) -> None:
    before = entries(book)
    number = book.accounts[Role.READER].account_id
    answer = admin(book).post(
        f"/accounts/{path.format(n=number)}", data={"login": "x.y", "site": "test-quay", "roles": "reader"}
    )
    assert answer.status_code == 400
    assert entries(book) == before


def entries(book: AuthBook) -> int:
    with book.engine.connect() as connection:
        return int(connection.execute(sa.text("SELECT max(number) FROM entry")).scalar_one())


# -- sites ---------------------------------------------------------------------------------------------------------


@pytest.fixture
def two(book: AuthBook, sqlite_book: Settings) -> AuthBook:
    """Give the same book with a second site, at which only one other person may do anything."""
    second = make_site(sqlite_book, name="Other Quay")
    add_account(
        book.engine, [second], "oth.er", person="Oth Er", roles=[Role.ADMINISTRATOR, Role.ENGINEER], by="t", now=NOW, password=PASSWORD,
        must_change=False,
    )  # fmt: skip
    return book


def test_nobody_sees_a_site_at_which_they_have_no_role(two: AuthBook) -> None:
    client = two.signed_in(Role.ENGINEER)
    body = callback_body(two.app, "month-body.children")
    for one in (*body["inputs"], *body["state"]):
        one["value"] = {"shell-page": "/", "shell-url": "?site=other-quay", "shell-scheme": "light"}[one["id"]]
    text = client.post(UPDATE, json=body).get_data(as_text=True)
    assert "There is no site" in text
    assert "Other Quay" not in text
    for path in (
        "/table/entries.csv?site=other-quay",
        "/package/P-1.zip?site=other-quay",
        "/api/v1/assets?site=other-quay",
        "/sign/1?site=other-quay",
    ):
        answer = client.get(path)
        assert "Other Quay" not in answer.get_data().decode("utf-8", "replace"), path
        assert answer.status_code != 500, path


def test_who_lost_their_role_at_a_site_is_told_so_and_nobody_else_learns_of_it(two: AuthBook) -> None:
    with two.engine.connect() as connection:
        second = next(site for site in sites(connection) if site.code == "other-quay")
    held = AtSite(second.site_id, "Eng Lund", roles=(Role.ENGINEER,))
    change_account(two.engine, second, "eng.lund", held, by="t", now=NOW)
    change_account(two.engine, second, "eng.lund", replace(held, active=False), by="t", now=NOW)
    with two.engine.connect() as connection:
        two.accounts[Role.ENGINEER] = account_of(connection, "eng.lund") or pytest.fail("no account")
    told = "You have no role at the site {} any more"
    ways = ("/table/entries.csv?site=other-quay", "/sign/1?site=other-quay", "/void/1?site=Other-Quay")
    for role, lost in ((Role.ENGINEER, True), (Role.READER, False)):
        client = two.signed_in(role)
        text = fill(client, two, "month-body.children", "/", "?site=OTHER-quay")
        assert (told.format("‘other-quay’") in text) is lost, role
        assert ("There is no site ‘OTHER-quay’ here that you may read" in text) is not lost, role
        assert "Other Quay" not in text
        for path in ways:
            given = client.get(path).get_data().decode()
            assert (told.format("‘other-quay’") in html.unescape(given)) is lost, path
    # A site that is not there is answered to both as one at which they never had a role.
    nowhere = fill(two.signed_in(Role.ENGINEER), two, "month-body.children", "/", "?site=nowhere")
    assert "There is no site ‘nowhere’ here that you may read" in nowhere


def test_an_administrator_of_one_site_has_no_hand_on_the_accounts_of_another(two: AuthBook) -> None:
    with two.engine.connect() as connection:
        other = account_of(connection, "oth.er")
    assert other is not None
    client = admin(two)
    assert "oth.er" not in client.get("/accounts").get_data(as_text=True).partition("<h2>")[0]
    assert client.get(f"/accounts/{other.account_id}").status_code == 404
    mark = mark_of(client.get("/accounts").get_data(as_text=True))
    assert client.post(f"/accounts/{other.account_id}/reset", data={"mark": mark}).status_code == 404
    form = {"mark": mark, "login": "new.one", "person": "N", "roles": "reader", "site": "other-quay"}
    assert client.post("/accounts/add", data=form).status_code == 400


def test_what_is_written_is_asked_for_at_the_very_site(two: AuthBook) -> None:
    """The gate sees that somebody records somewhere; the desk sees where."""
    from dashboard.auth.access import NotAllowedError
    from dashboard.auth.gate import check
    from dashboard.context import context

    with two.engine.connect() as connection:
        second = next(site for site in sites(connection) if site.code == "other-quay")
    token = two.access.open(two.accounts[Role.ENGINEER], "x", "in")
    with two.app.server.test_request_context("/", headers={"Cookie": f"driftbook={token}"}):
        assert check() is None
        here = context()
        assert here.desk is not None
        with pytest.raises(NotAllowedError):
            here.desk.sign_off(second, 1, meaning=Meaning.REVIEWED, by="x", now=NOW)
        with pytest.raises(NotAllowedError):
            here.desk.hand_in(second, SimpleNamespace(amends=None), NOW)  # type: ignore[arg-type]
        for ask in (here.book.history, here.book.limit_sets, here.book.people, here.book.instruments):
            with pytest.raises(NotAllowedError):
                ask(second.site_id)
        assert [site.code for site in here.book.sites()] == ["test-quay"]


# -- signing off ---------------------------------------------------------------------------------------------------


def job_entry(book: AuthBook) -> int:
    with book.engine.connect() as connection:
        return int(connection.execute(sa.text("SELECT entry FROM job WHERE ref = 'J2'")).scalar_one())


def signed(book: AuthBook) -> list[tuple[str, str]]:
    with book.engine.connect() as connection:
        return [(one.by, one.meaning.value) for one in signoffs_of(connection, [job_entry(book)])]


def test_an_engineer_signs_with_the_password_and_the_name_is_theirs(book: AuthBook) -> None:
    client, entry = book.signed_in(Role.ENGINEER), job_entry(book)
    page = client.get(f"/sign/{entry}").get_data(as_text=True)
    assert "You sign as Eng Lund" in page
    assert "cooling water pump" in page
    said = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))
    assert "As found offset V +0.120, H −0.050 mm; angularity V +0.30, H +0.20 mm/m" in said, (
        "what is signed, in the units of the page"
    )
    assert "offset V 0.12 mm; angle V 0.3 mm/m; offset H -0.05 mm; angle H 0.2 mm/m" in said, "and as it was typed"
    assert "1L 0.02 mm; 1R 0.01 mm; 2L 0.09 mm; 2R 0.01 mm" in said
    fields = hidden_of(page) | {"meaning": "approved", "remark": "looked at", "by": "Somebody Else"}
    wrong = client.post(f"/sign/{entry}", data=fields | {"password": "wrong"})
    assert wrong.status_code == 401
    assert signed(book) == []
    again = wrong.get_data(as_text=True)
    assert '<option value="approved" selected>' in again, "else the next press signs something else"
    assert 'value="looked at"' in again
    assert client.post(f"/sign/{entry}", data=fields | {"password": PASSWORD}).headers["Location"] == "/asset/P-1"
    assert signed(book) == [("Eng Lund", "approved")]
    again = client.post(f"/sign/{entry}", data=fields | {"password": PASSWORD})
    assert again.status_code == 409
    assert "has signed entry" in again.get_data(as_text=True)
    asset = fill(client, book, "asset-rest-body.children", "/asset/P-1")
    assert "Eng Lund (approved)" in asset
    assert f"/sign/{entry}" in asset
    top = fill(client, book, "asset-body.children", "/asset/P-1")
    assert "signed by Eng Lund (approved)" in top
    assert "Eng Lund" in fill(client, book, "book-body.children", f"/book/{entry}")


def test_an_entry_that_was_altered_says_so_on_its_page_and_is_not_signed(book: AuthBook) -> None:
    from tests.kept_book import change, delete, rows_of

    client, entry = book.signed_in(Role.ENGINEER), job_entry(book)
    whole, form = fill(client, book, "book-body.children", f"/book/{entry}"), client.get(f"/sign/{entry}")
    assert "was altered" not in whole
    assert f"What entry {entry} says" in whole
    assert f"/sign/{entry}" in whole
    with book.engine.connect().execution_options(write=True) as connection, connection.begin():
        row = next(row for row in rows_of(connection, "job") if row["entry"] == entry)
        change(connection, "job", row, left_offset_v=0.001)
    book.clock.on(minutes=15)  # a finished answer is given again for so long
    page = fill(client, book, "book-body.children", f"/book/{entry}")
    assert f"Entry {entry} was altered" in page
    assert f"entry {entry}, job.left_offset_v: the row says ‘0.001’, the statement ‘{row['left_offset_v']}’" in page
    assert "driftbook verify" in page
    assert f"What entry {entry} says" not in page
    assert f"/sign/{entry}" not in page
    assert "a signature would stand under something else" in client.get(f"/sign/{entry}").get_data(as_text=True)
    fields = hidden_of(form.get_data(as_text=True)) | {"meaning": "approved", "password": PASSWORD}
    assert client.post(f"/sign/{entry}", data=fields).status_code == 409
    assert signed(book) == []
    with pytest.raises(AlteredBookError):
        sign_off(book.engine, book.site, entry, meaning=Meaning.APPROVED, by="Eng Lund", now=NOW)
    with book.engine.connect().execution_options(write=True) as connection, connection.begin():
        delete(connection, "job", next(row for row in rows_of(connection, "job") if row["entry"] == entry))
    book.clock.on(minutes=15)
    page = fill(client, book, "book-body.children", f"/book/{entry}")
    assert f"entry {entry}: its row in job is missing" in page
    assert "No such entry" not in page
    assert "No such entry" in fill(client, book, "book-body.children", "/book/999")


def fill(client: Any, book: AuthBook, key: str, path: str, search: str = "") -> str:
    body = callback_body(book.app, key)
    for one in (*body["inputs"], *body["state"]):
        one["value"] = {"shell-page": path, "shell-url": search, "shell-scheme": "light"}[one["id"]]
    answer = client.post(UPDATE, json=body)
    assert answer.status_code == 200, answer.get_data(as_text=True)[:300]
    return json.dumps(answer.get_json(), ensure_ascii=False)


def test_neither_who_recorded_nor_who_did_the_work_signs(book: AuthBook) -> None:
    add_account(
        book.engine, [book.site], "ana.wick", person="Ana Wick", roles=[Role.ENGINEER], by="t", now=NOW, password=PASSWORD, must_change=False
    )  # fmt: skip
    client = book.browser()
    enter(client, "ana.wick", PASSWORD)
    entry = job_entry(book)
    page = client.get(f"/sign/{entry}").get_data(as_text=True)
    assert "cannot sign it off" in page
    assert 'name="meaning"' not in page, "what would be refused is not asked for"
    answer = client.post(f"/sign/{entry}", data=hidden_of(page) | {"meaning": "reviewed", "password": PASSWORD})
    assert answer.status_code == 409
    assert answer.get_data(as_text=True).count("cannot sign it off") == 1
    assert signed(book) == []
    story = Reader(book.engine).story(book.site.site_id, "P-1")
    assert story is not None
    job = next(line for line in story.jobs if line.entry == entry)
    later = amend_job(
        book.engine, book.site, entry, replace(job.job, people=("Bo Tarn",)), by="Eng Lund", now=NOW, why="not her"
    )
    page = client.get(f"/sign/{later.entry}").get_data(as_text=True)
    assert f"Ana Wick recorded entry {entry}, an earlier version of this job, or did the work by what it says" in page
    answer = client.post(f"/sign/{later.entry}", data=hidden_of(page) | {"meaning": "reviewed", "password": PASSWORD})
    assert answer.status_code == 409
    old = client.get(f"/sign/{entry}").get_data(as_text=True)
    assert f'href="/sign/{later.entry}"' in old, "what counts now is a tap away"
    with book.engine.connect() as connection:
        assert signed_entries(connection, book.site.site_id) == frozenset()


def test_who_did_the_work_does_not_sign_after_a_change_of_name(book: AuthBook) -> None:
    made = add_account(
        book.engine, [book.site], "ana.wick", person="Ana Wick", roles=[Role.ENGINEER], by="t", now=NOW, password=PASSWORD, must_change=False
    )  # fmt: skip
    client, site_id = admin(book), book.site.site_id
    mark = mark_of(client.get(f"/accounts/{made.account_id}").get_data(as_text=True))
    form = {
        "mark": mark,
        "account": made.login,
        "site": book.site.code,
        "roles": "engineer",
        "active": "yes",
        f"person-{site_id}": "Ana Ryn",
    }
    assert client.post(f"/accounts/{made.account_id}/change", data=form).status_code == 200
    client, entry = book.browser(), job_entry(book)
    enter(client, "ana.wick", PASSWORD)
    page = client.get(f"/sign/{entry}").get_data(as_text=True)
    answer = client.post(f"/sign/{entry}", data=hidden_of(page) | {"meaning": "approved", "password": PASSWORD})
    assert answer.status_code == 409
    assert "Ana Ryn, then Ana Wick, recorded this job or did its work" in answer.get_data(as_text=True)
    assert signed(book) == []


def test_a_name_under_which_somebody_writes_is_refused_in_the_browser_in_words(book: AuthBook) -> None:
    client, before = admin(book), entries(book)
    mark = mark_of(client.get("/accounts").get_data(as_text=True))
    form = {"mark": mark, "login": "eng.two", "person": "eng  lund", "roles": "engineer", "site": book.site.code}
    answer = client.post("/accounts/add", data=form)
    page = html.unescape(answer.get_data(as_text=True))
    assert answer.status_code == 400
    assert "'eng.lund' writes under the name Eng Lund at Test Quay already." in page
    assert "Give a name that tells them apart, such as 'Eng Lund (turbines)'." in page
    number, site_id = book.accounts[Role.READER].account_id, book.site.site_id
    form = {
        "mark": mark,
        "account": "rea.dee",
        "site": book.site.code,
        "roles": "reader",
        "active": "yes",
        f"person-{site_id}": "ENG Lund",
    }
    answer = client.post(f"/accounts/{number}/change", data=form)
    assert answer.status_code == 400
    assert "writes under the name Eng Lund" in html.unescape(answer.get_data(as_text=True))
    assert entries(book) == before


def test_signing_needs_the_form_a_meaning_and_a_job(book: AuthBook) -> None:
    client, entry = book.signed_in(Role.ENGINEER), job_entry(book)
    assert client.post(f"/sign/{entry}", data={"meaning": "reviewed", "password": PASSWORD}).status_code == 400
    hidden = hidden_of(client.get(f"/sign/{entry}").get_data(as_text=True))
    liked = client.post(f"/sign/{entry}", data=hidden | {"meaning": "liked", "password": PASSWORD})
    assert liked.status_code == 400
    for number in (1, 999_999, 10**18, 10**30):
        assert client.get(f"/sign/{number}").status_code == 404
    assert signed(book) == []
    assert (
        "Sign off"
        not in fill(book.signed_in(Role.READER), book, "asset-rest-body.children", "/asset/P-1").partition(
            '"Sign-offs"'
        )[2]
    )


def test_in_an_open_book_the_name_is_typed_and_it_is_said_that_it_is_believed(
    sqlite_book: Settings, tmp_path: Path
) -> None:
    from tests.record_book import open_book as open_record_book

    with open_record_book(sqlite_book, tmp_path) as opened:
        client = opened.app.server.test_client()
        entry = opened.story().standing[0].entry
        page = client.get(f"/sign/{entry}").get_data(as_text=True)
        assert "the name is believed" in page
        done = client.post(f"/sign/{entry}", data=hidden_of(page) | {"meaning": "reviewed", "by": "Cy Vale"})
        assert done.status_code == 303
        assert [one.by for one in opened.story().signoffs] == ["Cy Vale"]
        text = client.post(UPDATE, json=_frame(opened.app)).get_data(as_text=True)
        assert "Nobody is asked who they are" in text


def _frame(app: Any) -> dict[str, Any]:
    body = callback_body(app, "..shell-nav.children...shell-head.children..")
    for one in (*body["inputs"], *body["state"]):
        one["value"] = "/" if one["property"] == "pathname" else ""
    return body


def test_the_frame_says_who_is_signed_in_and_offers_what_is_for_their_roles(book: AuthBook) -> None:
    for role, record, more in (
        (Role.READER, False, False),
        (Role.RECORDER, True, False),
        (Role.ADMINISTRATOR, False, True),
    ):
        text = json.dumps(book.signed_in(role).post(UPDATE, json=_frame(book.app)).get_json())
        assert f"Signed in as {PEOPLE[role][1]}" in text
        assert ('"/record"' in text) == record
        assert ('"/accounts"' in text) == more


def test_a_form_of_a_session_that_has_ended_is_told_in_words(book: AuthBook) -> None:
    client = book.signed_in(Role.ENGINEER)
    client.delete_cookie("driftbook")
    page_of_browser = {"Accept": "text/html,*/*"}
    answer = client.post("/import/abcdefghijklmnopqrstuv?units=mil", data={"does": "all"}, headers=page_of_browser)
    assert answer.status_code == 401
    page = answer.get_data(as_text=True)
    assert "Your session has ended, and what you chose or typed was not taken" in page
    assert 'href="/sign-in?next=%2Fimport%2Fabcdefghijklmnopqrstuv%3Funits%3Dmil"' in page
    # A script is told in its own way, as before.
    for asked in (client.get("/_dash-layout"), client.post("/import/x", headers={"Accept": "application/json"})):
        assert asked.status_code == 401
        assert asked.get_json()["sign_in"] == "/sign-in"


def test_the_record_page_takes_the_name_of_who_is_signed_in(book: AuthBook) -> None:
    client = book.signed_in(Role.RECORDER)
    body = callback_body(book.app, "record-form.children")
    for one in (*body["inputs"], *body["state"]):
        one["value"] = {
            "pathname": "/record",
            "search": "?asset=P-1",
            "data": {"fields": {"by": "Somebody Else"}, "by": "X"},
        }[one["property"]]
    text = json.dumps(client.post(UPDATE, json=body).get_json())
    assert "Signed in as Rec Orr" in text
    assert "Somebody Else" not in text


def test_the_month_says_which_jobs_left_over_limit_bear_no_sign_off(book: AuthBook) -> None:
    from tests.seeded import JOBS, bring_in

    line = "J8,P-1,2025-06-04 09:30,planned,Bo Tarn,D-1,0.3,0.3,-0.05,0.2,0.30,0.1,0.01,-0.05,,,,,\n"
    path = Path(book.engine.url.database or "").with_name("more.csv")
    path.write_text(JOBS.splitlines()[0] + "\n" + line, encoding="utf-8")
    assert bring_in(book.engine, book.site, path).written
    client = book.signed_in(Role.ENGINEER)
    assert "Without a sign-off: 1 of them." in fill(client, book, "month-body.children", "/", "?month=2025-06")
    with book.engine.connect() as connection:
        entry = connection.execute(sa.text("SELECT entry FROM job WHERE ref = 'J8'")).scalar_one()
    hidden = hidden_of(client.get(f"/sign/{entry}").get_data(as_text=True))
    client.post(f"/sign/{entry}", data=hidden | {"meaning": "reviewed", "password": PASSWORD})
    text = fill(client, book, "month-body.children", "/", "?month=2025-06")
    assert "Without a sign-off: 0 of them." in text
    assert "Eng Lund" in text


def test_a_paper_and_a_package_say_for_whom_and_by_which_program_they_were_made(book: AuthBook) -> None:
    made = f"{program()}; for Aud Ito, who was signed in"
    client = book.signed_in(Role.AUDITOR)
    assert f"Made by {made}" in text_of(client.get("/report/asset/P-1.pdf").data)
    files = files_of(client.get("/package/P-1.zip").data)
    assert f"\nMade by {made}.\n".encode() in files["README.txt"]
    assert json.loads(files["manifest.txt"].split(b"\n")[1])["maker"] == made
    assert made in text_of(files["history.pdf"])


# -- the command ---------------------------------------------------------------------------------------------------


def people(settings: Settings, monkeypatch: pytest.MonkeyPatch, *arguments: str, password: str = "") -> int:
    monkeypatch.setattr("sys.stdin", io.StringIO(password + "\n"))
    return main(["people", *arguments, "--book", settings.book, *([] if arguments[0] == "list" else ["--by", "root"])])


def test_the_first_administrator_is_made_by_the_command(
    sqlite_book: Settings, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    make_site(sqlite_book)
    assert people(sqlite_book, monkeypatch, "list") == 0
    assert "has no account" in capsys.readouterr().out
    add = ("add", "Ana.Wick", "--name", "Ana Wick", "--role", "administrator", "--password-stdin")
    assert people(sqlite_book, monkeypatch, *add, password="short") == 2  # noqa: S106 - of a test
    assert people(sqlite_book, monkeypatch, *add, password=PASSWORD) == 0
    assert "everybody has to sign in" in " ".join(capsys.readouterr().out.split())
    assert people(sqlite_book, monkeypatch, *add, password=PASSWORD) == 2
    assert people(sqlite_book, monkeypatch, "list") == 0
    assert "ana.wick" in capsys.readouterr().out
    assert (
        people(
            sqlite_book,
            monkeypatch,
            "change",
            "ana.wick",
            "--role",
            "administrator",
            "--role",
            "engineer",
            "--why",
            "both",
        )
        == 0
    )
    assert people(sqlite_book, monkeypatch, "change", "ana.wick", "--role", "engineer") == 2  # the last administrator
    assert (
        people(sqlite_book, monkeypatch, "password", "ana.wick", "--password-stdin", password=PASSWORD + " more") == 0
    )
    assert people(sqlite_book, monkeypatch, "close", "no.body") == 2
    two = ("add", "bo.tarn", "--name", "Bo Tarn", "--role", "recorder", "--password-stdin", "--must-change")
    assert people(sqlite_book, monkeypatch, *two, password=PASSWORD) == 0
    assert people(sqlite_book, monkeypatch, "close", "bo.tarn", "--why", "left") == 0
    assert people(sqlite_book, monkeypatch, "close", "bo.tarn") == 2
    assert people(sqlite_book, monkeypatch, "change", "bo.tarn", "--open") == 0
    engine = make_engine(sqlite_book)
    with engine.connect() as connection:
        held = account_of(connection, "bo.tarn")
        kept = state.credential(connection, held.account_id if held else 0)
    engine.dispose()
    assert held is not None
    assert held.active
    assert kept is not None
    assert kept.must_change


def test_a_password_is_never_an_argument() -> None:
    with pytest.raises(SystemExit):
        main(["people", "add", "a", "--password", "secret"])


def test_a_server_for_others_needs_an_account_or_says_what_open_means(sqlite_book: Settings, capsys: Any) -> None:
    make_site(sqlite_book)
    assert main(["serve", "--book", sqlite_book.book, "--host", "0.0.0.0", "--port", "0"]) == 2  # noqa: S104 - what is refused
    said = capsys.readouterr().err
    assert "the book has no account" in said
    assert "--open" in said
    assert main(["serve", "--book", sqlite_book.book, "--proxy", "127.0.0.1", "--port", "0"]) == 2
    assert "--name" in capsys.readouterr().err
