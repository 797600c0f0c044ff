"""Signing in and out, sessions, delays, passwords, forms, and who stands as author."""

from __future__ import annotations

import logging
import re
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from argon2 import PasswordHasher

from dashboard.auth import access as door
from dashboard.auth.access import IDLE, WHOLE, address_of
from dashboard.auth.asking import safe_next
from dashboard.auth.delays import opening, wait_after
from dashboard.security import host_of, without_secrets
from models.commands import accounts_passwords
from models.commands.accounts import add_account, change_account, set_password
from models.commands.accounts_passwords import check_password, fits, hashed, made_up
from models.errors import ConflictError, InvalidValueError
from models.settings import Settings
from models.store import state
from models.store.accounts import account_of
from models.store.state import Try
from models.values.kinds import Kind
from models.values.roles import AtSite, Role
from tests.auth_book import PASSWORD, PEOPLE, AuthBook, enter, mark_of, open_book
from tests.conftest import NOW

pytest_plugins = ["tests.plugin_auth"]

IN_USE = accounts_passwords._hasher
"""What hashes passwords, before the tests make it light."""

LOGIN, NAME = PEOPLE[Role.ENGINEER]
NEW = "slate harbour 41 violin"


@pytest.fixture
def book(auth_book: AuthBook) -> AuthBook:
    return auth_book


def inside(client: Any) -> bool:
    return client.get("/_dash-layout").status_code == 200


def log(book: AuthBook) -> list[tuple[str, str]]:
    with book.engine.connect() as connection:
        return [(one.login, one.outcome) for one in state.tries(connection, since=NOW - timedelta(days=1))]


# -- signing in ----------------------------------------------------------------------------------------------------


def test_a_person_signs_in_reads_and_signs_out(book: AuthBook) -> None:
    client = book.browser()
    first = client.get("/asset/P-1?units=mil", headers={"Accept": "text/html"})
    assert first.status_code == 302
    assert first.headers["Location"] == "/sign-in?next=%2Fasset%2FP-1%3Funits%3Dmil"
    answer = enter(client, f" {LOGIN.upper()} ", PASSWORD, next="/asset/P-1?units=mil")
    assert (answer.status_code, answer.headers["Location"]) == (303, "/asset/P-1?units=mil")
    assert inside(client)
    mark = mark_of(client.get("/password").get_data(as_text=True))
    gone = client.post("/sign-out", data={"mark": mark})
    assert gone.headers["Location"] == "/sign-in"
    assert gone.headers["Clear-Site-Data"] == '"cache"'
    assert not inside(client)
    assert log(book)[:2] == [(LOGIN, "out"), (LOGIN, "in")]


def test_the_cookie_is_for_this_server_only_and_no_script_reads_it(book: AuthBook) -> None:
    answer = enter(book.browser(), LOGIN, PASSWORD)
    cookie = next(one for one in answer.headers.getlist("Set-Cookie") if one.startswith("driftbook="))
    assert {"HttpOnly", "SameSite=Lax", "Path=/"} <= set(cookie.split("; "))
    assert "Domain" not in cookie
    assert "Secure" not in cookie
    token = cookie.partition("=")[2].partition(";")[0]
    assert len(token) == 43  # 256 bits in base64
    with book.engine.connect() as connection:
        everything = " ".join(str(row) for row in connection.execute(sa.text("SELECT * FROM login_session")))
    assert token not in everything
    assert state.hash_of(token) in everything


def test_over_https_the_cookie_is_secure_and_bound_to_the_host(book: AuthBook) -> None:
    client = book.browser()
    page = client.get("/sign-in", base_url="https://localhost")
    assert page.headers["Strict-Transport-Security"] == "max-age=31536000; includeSubDomains"
    mark = mark_of(page.get_data(as_text=True))
    form = {"mark": mark, "login": LOGIN, "password": PASSWORD}
    answer = client.post("/sign-in", data=form, base_url="https://localhost")
    cookie = next(one for one in answer.headers.getlist("Set-Cookie") if one.startswith("__Host-driftbook="))
    assert {"Secure", "HttpOnly", "Path=/"} <= set(cookie.split("; "))
    assert "Strict-Transport-Security" not in book.browser().get("/sign-in").headers


@pytest.mark.parametrize(
    ("login", "password"), [(LOGIN, "wrong"), ("no.body", PASSWORD), ("", ""), (LOGIN, PASSWORD + " ")]
)
def test_a_wrong_password_and_an_unknown_name_get_the_same_answer(book: AuthBook, login: str, password: str) -> None:
    client = book.browser()
    answer = enter(client, login, password)
    assert answer.status_code == 401
    page = answer.get_data(as_text=True)
    assert "Login or password is not right." in page
    assert (f'name="login" type="text" value="{login}"' in page) is bool(login), "only the password is typed again"
    assert not inside(client)


def test_an_unknown_name_takes_the_same_work_as_a_known_one(book: AuthBook, monkeypatch: pytest.MonkeyPatch) -> None:
    """Time itself is too noisy for a test: the work is counted, one hash of the same parameters each."""
    work: list[str] = []
    plain = PasswordHasher.verify

    def counted(self: Any, kept: str, password: str) -> bool:
        work.append(kept.rpartition("$")[0].rpartition("$")[0])
        return plain(self, kept, password)

    monkeypatch.setattr(PasswordHasher, "verify", counted)
    for login in (LOGIN, "no.body", "other.body"):
        book.access.sign_in(login, "wrong", "10.0.0.9")
    assert len(work) == 3
    assert set(work) == {"$argon2id$v=19$m=8,t=1,p=1"}


def test_the_parameters_are_those_of_rfc_9106() -> None:
    """RFC 9106, section 4, second recommended option: t=3, p=4, m=2^16 KiB, 128-bit salt, 256-bit tag."""
    kept = IN_USE().hash("any")
    assert kept.startswith("$argon2id$v=19$m=65536,t=3,p=4$")
    salt, tag = kept.split("$")[4:6]
    assert (len(salt) * 6 // 8, len(tag) * 6 // 8) == (16, 32)


def test_a_name_that_nobody_has_is_not_written_down(book: AuthBook) -> None:
    """Somebody types the password into the wrong field: it must not stand in the log."""
    enter(book.browser(), "my real password", "x")
    assert all("my real password" not in login for login, _ in log(book))
    assert log(book)[0][0].startswith("nobody ")


def test_a_closed_account_gets_the_same_answer_and_its_session_ends(book: AuthBook) -> None:
    client = book.browser()
    enter(client, LOGIN, PASSWORD)
    assert inside(client)
    at = AtSite(book.site.site_id, NAME, roles=(Role.ENGINEER,), active=False)
    change_account(book.engine, book.site, LOGIN, at, by="tester", now=book.clock(), why="left")
    assert not inside(client)
    answer = enter(book.browser(), LOGIN, PASSWORD)
    assert answer.status_code == 401
    assert "Login or password is not right." in answer.get_data(as_text=True)


def test_the_first_account_closes_an_open_book_while_it_is_served(sqlite_book: Settings) -> None:
    from dashboard.app import create_app
    from models.store.engine import make_engine
    from models.store.reader import Reader
    from tests.conftest import make_site

    site = make_site(sqlite_book)
    engine = make_engine(sqlite_book)
    app = create_app(sqlite_book, Reader(engine), access=door.Access(engine, lambda: NOW), clock=lambda: NOW)
    client = app.server.test_client()
    assert inside(client)
    assert client.get("/healthz").get_json() == {"well": True}
    add_account(
        engine,
        [site],
        "ada",
        person="Ada",
        roles=[Role.ADMINISTRATOR],
        by="t",
        now=NOW,
        password=NEW,
        must_change=False,
    )
    assert not inside(client)
    assert client.get("/healthz").get_json() == {"well": True}
    engine.dispose()


# -- sessions ------------------------------------------------------------------------------------------------------


def test_a_session_ends_when_it_is_not_used_and_after_a_shift(book: AuthBook) -> None:
    client = book.browser()
    enter(client, LOGIN, PASSWORD)
    book.clock.now += IDLE - timedelta(minutes=1)
    assert inside(client)
    book.clock.now += IDLE - timedelta(minutes=2)  # counted from the last use
    assert inside(client)
    book.clock.now += IDLE
    assert not inside(client)
    enter(client, LOGIN, PASSWORD)
    start = book.clock.now
    while book.clock.now < start + WHOLE - timedelta(hours=1):
        assert inside(client)
        book.clock.on(hours=1)
    book.clock.now = start + WHOLE
    assert not inside(client)


def test_a_session_is_noted_once_a_minute_and_never_waits_for_a_writer(book: AuthBook) -> None:
    client = book.browser()
    enter(client, LOGIN, PASSWORD)
    book.clock.on(minutes=5)
    with book.engine.connect().execution_options(write=True) as other, other.begin():
        assert inside(client)  # a large import holds the book: nobody waits 30 seconds for it
    book.clock.on(seconds=1)
    assert inside(client)
    with book.engine.connect() as connection:
        seen = connection.execute(sa.text("SELECT seen_us FROM login_session")).scalar_one()
    assert seen == round(book.clock.now.timestamp() * 1e6)


def test_signing_in_makes_a_new_session_and_ends_the_one_that_was_there(book: AuthBook) -> None:
    """Nobody can plant a session in a browser and wait for its owner to sign in to it."""
    client = book.browser("planted-by-somebody-else")
    assert not inside(client)
    first = enter(client, LOGIN, PASSWORD).headers.getlist("Set-Cookie")
    token = next(one for one in first if one.startswith("driftbook=")).partition("=")[2].partition(";")[0]
    assert token != "planted-by-somebody-else"  # noqa: S105 - what was planted
    again = book.access.sign_in(LOGIN, PASSWORD, "127.0.0.1", old=token)
    assert again.token != token
    assert book.access.who(token) is None
    assert book.access.who(again.token) is not None


def test_a_new_password_ends_every_session_but_the_new_one(book: AuthBook) -> None:
    here, there = book.browser(), book.browser()
    enter(here, LOGIN, PASSWORD)
    enter(there, LOGIN, PASSWORD)
    mark = mark_of(here.get("/password").get_data(as_text=True))
    done = here.post("/password", data={"mark": mark, "old": PASSWORD, "new": NEW, "again": NEW})
    assert "The password was changed" in done.get_data(as_text=True)
    assert inside(here)
    assert not inside(there)
    assert enter(book.browser(), LOGIN, PASSWORD).status_code == 401
    assert enter(book.browser(), LOGIN, NEW).status_code == 303


@pytest.mark.parametrize(
    ("old", "new", "again", "said"),
    [
        ("wrong", NEW, NEW, "Login or password is not right."),
        (PASSWORD, NEW, NEW + "x", "The two new passwords differ."),
        (PASSWORD, "short", "short", "at least 8 are needed"),
        (PASSWORD, PASSWORD, PASSWORD, "That is the password until now."),
        (PASSWORD, "password1", "password1", "one of those that are tried first"),
        (PASSWORD, "lund1234", "lund1234", "known of its owner"),
    ],
)
def test_a_password_is_not_changed(book: AuthBook, old: str, new: str, again: str, said: str) -> None:
    client = book.browser()
    enter(client, LOGIN, PASSWORD)
    mark = mark_of(client.get("/password").get_data(as_text=True))
    answer = client.post("/password", data={"mark": mark, "old": old, "new": new, "again": again})
    assert answer.status_code in {400, 401}
    assert said in answer.get_data(as_text=True)
    assert enter(book.browser(), LOGIN, PASSWORD).status_code == 303


def test_all_sessions_are_ended_at_once(book: AuthBook) -> None:
    here, there = book.browser(), book.browser()
    enter(here, LOGIN, PASSWORD)
    enter(there, LOGIN, PASSWORD)
    mark = mark_of(here.get("/password").get_data(as_text=True))
    here.post("/sign-out-everywhere", data={"mark": mark})
    assert not inside(here)
    assert not inside(there)


# -- delays --------------------------------------------------------------------------------------------------------


def test_waits_grow_and_have_an_end() -> None:
    waits = [wait_after(n, 5).total_seconds() for n in range(20)]
    assert waits[:5] == [0] * 5
    assert waits[5:10] == [1, 2, 4, 8, 16]
    assert max(waits) == 900
    assert waits == sorted(waits)


def test_guessing_is_slowed_and_the_owner_is_let_in_afterwards(book: AuthBook) -> None:
    client, looked_at = book.browser(), 0
    for _ in range(40):
        looked_at += enter(client, LOGIN, "wrong").status_code == 401
        book.clock.on(seconds=1)
    assert looked_at <= 11  # five at once, then after 1, 2, 4, 8, 16 … seconds
    late = enter(client, LOGIN, PASSWORD)
    assert late.status_code == 429
    assert int(late.headers["Retry-After"]) > 0
    assert "too many tries" in late.get_data(as_text=True)
    book.clock.on(minutes=16)
    assert enter(client, LOGIN, PASSWORD).status_code == 303
    assert ("delayed" in {outcome for _, outcome in log(book)}) is True


def test_somebody_who_guesses_cannot_keep_the_owner_out_of_their_own_desk(book: AuthBook) -> None:
    owner, stranger = "10.1.1.1", "10.2.2.2"
    assert book.access.sign_in(LOGIN, PASSWORD, owner).came_in
    for _ in range(30):
        book.access.sign_in(LOGIN, "wrong", stranger)
    assert book.access.sign_in(LOGIN, PASSWORD, stranger).wait is not None
    assert book.access.sign_in(LOGIN, PASSWORD, owner).came_in
    # Their coming in gives the stranger no new tries.
    assert book.access.sign_in(LOGIN, "wrong", stranger).wait is not None


def test_an_unknown_name_is_slowed_like_a_known_one(book: AuthBook) -> None:
    waits = []
    for login in (LOGIN, "no.body"):
        answers = [book.access.sign_in(login, "wrong", f"10.9.{len(login)}.{n}") for n in range(8)]
        waits.append([None if one.wait is None else one.wait.total_seconds() for one in answers])
    assert waits[0] == waits[1]
    assert waits[0][-1] is not None


def test_one_address_that_tries_many_names_is_slowed(book: AuthBook) -> None:
    answers = [book.access.sign_in(f"name{n}", "wrong", "10.3.3.3") for n in range(25)]
    assert sum(one.wait is None for one in answers) <= 21
    assert book.access.sign_in(LOGIN, PASSWORD, "10.4.4.4").came_in


def test_old_failures_are_forgotten() -> None:
    lines = [Try(NOW - timedelta(hours=25), "a", "x", "failed")] * 50
    for opens in (opening(lines, lines, "x", NOW), opening([], [], "x", NOW)):
        assert max(opens.own, opens.there) <= NOW


def test_asking_for_the_password_again_is_slowed_too(book: AuthBook) -> None:
    who = book.access.who(book.access.sign_in(LOGIN, PASSWORD, "10.1.1.1").token)
    assert who is not None
    answers = [book.access.confirm(who, "wrong", "10.1.1.1") for _ in range(8)]
    assert answers[0].wait is None
    assert answers[-1].wait is not None


@pytest.mark.parametrize(
    ("typed", "kept"),
    [("192.0.2.7", "192.0.2.7"), ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"), ("::ffff:192.0.2.7", "192.0.2.7"),
     ("fe80::1%eth0", "fe80::/64"), (None, "unknown"), ("rubbish", "unknown")],
)  # fmt: skip
def test_addresses_are_counted_by_who_has_them(typed: str | None, kept: str) -> None:
    assert address_of(typed) == kept


# -- passwords -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "password",
    ["", "seven77", "password", "Passw0rd!", "12345678", "qwertyuiop1", "aaaaaaaaaaaa", "abcdefghij", "driftbook2026", "admin1234!",
     "changeme!!", "letmein123", "98765432", "adminadmin", "x" * 201],
)  # fmt: skip
def test_passwords_that_are_refused(password: str) -> None:
    with pytest.raises(InvalidValueError):
        check_password(password, "ana.wick", "Ana Wick")


@pytest.mark.parametrize(
    "password",
    [
        "kjr8 pl2w",
        "vier Wörter ohne Sinn",
        "四つの単語を並べる",
        "no capitals or figures",
        "p" + "assphrase of a kind" * 10,
    ],
)
def test_passwords_that_are_taken(password: str) -> None:
    check_password(password, "ana.wick", "Ana Wick")


def test_a_password_in_other_bytes_of_the_same_letters_fits() -> None:
    kept = hashed("caf\u00e9 au lait")
    assert fits(kept, "cafe\u0301 au lait")
    assert not fits(kept, "cafe au lait")
    assert not fits(None, "anything")
    assert not fits("no hash", "anything")


def test_made_up_passwords_can_be_taken_and_differ() -> None:
    made = {made_up() for _ in range(50)}
    assert len(made) == 50
    for one in made:
        check_password(one, "ana.wick")


def test_argon2_agrees_with_the_reference_implementation() -> None:
    """Test vector of the reference implementation (phc-winner-argon2, test.c): Argon2id, version 1.3, t=2, m=2^16 KiB, p=1."""
    from argon2.low_level import Type, hash_secret_raw

    tag = hash_secret_raw(
        b"password", b"somesalt", time_cost=2, memory_cost=65536, parallelism=1, hash_len=32, type=Type.ID
    )
    assert tag.hex() == "09316115d5cf24ed5a15a31a3ba326e5cf32edc24702987c02b6566f61913cf7"


def test_a_hash_of_weaker_parameters_is_made_anew_at_the_next_sign_in(book: AuthBook) -> None:
    weak = PasswordHasher(time_cost=2, memory_cost=19456, parallelism=1).hash(PASSWORD)
    number = book.accounts[Role.ENGINEER].account_id
    with state.changing(book.engine) as connection:
        state.replace_hash(connection, number, weak)
    assert book.access.sign_in(LOGIN, PASSWORD, "x").came_in
    with book.engine.connect() as connection:
        kept = state.credential(connection, number)
    assert kept is not None
    assert "m=8,t=1,p=1" in kept.secret
    assert book.access.sign_in(LOGIN, PASSWORD, "x").came_in


def test_a_password_that_somebody_else_knows_has_to_be_changed_first(book: AuthBook) -> None:
    set_password(book.engine, LOGIN, NEW, by="Adm Ine", now=book.clock(), must_change=True)
    client = book.browser()
    enter(client, LOGIN, NEW)
    assert client.get("/", headers={"Accept": "text/html"}).headers["Location"] == "/password"
    assert client.get("/_dash-layout").status_code == 401
    page = client.get("/password").get_data(as_text=True)
    assert "Somebody else knows your password" in page
    client.post("/password", data={"mark": mark_of(page), "old": NEW, "new": PASSWORD, "again": PASSWORD})
    assert inside(client)


def test_a_first_password_runs_out_after_a_week(book: AuthBook) -> None:
    set_password(book.engine, LOGIN, NEW, by="Adm Ine", now=book.clock(), must_change=True)
    book.clock.on(days=6)
    assert book.access.sign_in(LOGIN, NEW, "x").came_in
    book.clock.on(days=2)
    assert not book.access.sign_in(LOGIN, NEW, "x").came_in
    set_password(book.engine, LOGIN, NEW, by="Adm Ine", now=book.clock(), must_change=False)
    book.clock.on(days=400)
    assert book.access.sign_in(LOGIN, NEW, "x").came_in


# -- forms, next, headers ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("mark", ["", "0" * 64, "é"])
def test_a_form_that_was_not_made_for_this_browser_is_refused(book: AuthBook, mark: str) -> None:
    client = book.browser()
    client.get("/sign-in")
    answer = client.post("/sign-in", data={"mark": mark, "login": LOGIN, "password": PASSWORD})
    assert answer.status_code == 400
    assert not inside(client)
    other = book.browser()
    stolen = mark_of(other.get("/sign-in").get_data(as_text=True))
    assert client.post("/sign-in", data={"mark": stolen, "login": LOGIN, "password": PASSWORD}).status_code == 400


def test_a_form_of_before_signing_in_is_worth_nothing_afterwards(book: AuthBook) -> None:
    client = book.browser()
    before = mark_of(client.get("/sign-in").get_data(as_text=True))
    client.post("/sign-in", data={"mark": before, "login": LOGIN, "password": PASSWORD})
    assert client.post("/sign-out", data={"mark": before}).status_code == 400
    assert inside(client)


@pytest.mark.parametrize(
    "asked",
    ["https://elsewhere.example/", "//elsewhere.example", "/\\elsewhere.example", "/\t/elsewhere.example", "javascript:alert(1)", "",
     None, "elsewhere", "/\r\nSet-Cookie: a=b", "/_dash-layout", "/sign-in?next=/sign-in", "/" + "a" * 3000, "///elsewhere.example",
     "/ /elsewhere"],
)  # fmt: skip
def test_nobody_is_sent_elsewhere_after_signing_in(asked: str | None) -> None:
    assert safe_next(asked) == "/"


@pytest.mark.parametrize(
    "asked", ["/", "/asset/P-1", "/asset/A%2FB?units=mil&site=x", "/book/12", "/offenders?window=all"]
)
def test_somebody_goes_where_they_wanted_to(asked: str) -> None:
    assert safe_next(asked) == asked


def test_the_sign_in_page_needs_no_script_and_escapes_what_was_typed(book: AuthBook) -> None:
    client = book.browser()
    page = client.get('/sign-in?next=/"><script>alert(1)</script>').get_data(as_text=True)
    assert page.startswith("<!DOCTYPE html>")
    # What stands there of scripts is ours, and only spares a second press.
    assert re.findall(r"<script.*?</script>", page) == ['<script src="/assets/plain.js" defer></script>']
    with client.get("/assets/plain.js") as script:
        assert script.status_code == 200
    assert re.search(r'<input[^>]*name="password"[^>]*type="password"', page)
    assert client.get("/sign-in").headers["Cache-Control"] == "no-store"


def test_what_is_too_long_is_not_read(book: AuthBook) -> None:
    client = book.signed_in(Role.RECORDER)
    big = client.post("/_dash-update-component", data=b"{" + b" " * (5 << 20), content_type="application/json")
    assert big.status_code in {403, 413}
    mark = mark_of(book.browser().get("/sign-in").get_data(as_text=True))
    assert book.browser().post("/sign-in", data={"mark": mark, "login": "a" * (300 << 10)}).status_code in {400, 413}


@pytest.mark.parametrize(
    ("typed", "name"),
    [("LocalHost:8750", "localhost"), ("[::1]:80", "::1"), ("book.example.", "book.example"), ("a:b:c", "a")],
)
def test_the_name_of_a_host_is_read_without_its_port(typed: str, name: str) -> None:
    assert host_of(typed) == name


# -- the log -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "line",
    ["POST /sign-in password=hunter2hunter2 from x", "{'password': 'hunter2hunter2', 'login': 'a'}", "Authorization: Bearer hunter2hunter2",
     "Cookie: driftbook=hunter2hunter2", "postgresql://ana:hunter2hunter2@db/book", "GET /sign-in/outside/back?code=hunter2hunter2&state=y",
     'client_secret="hunter2hunter2"', "token hunter2hunter2 token: hunter2hunter2".partition(" token")[0].replace("token ", "token=")],
)  # fmt: skip
def test_no_secret_stands_in_a_line_of_the_log(line: str) -> None:
    assert "hunter2hunter2" not in without_secrets(line)


def test_the_formatter_takes_secrets_and_line_breaks_out_of_messages_and_tracebacks() -> None:
    from dashboard.security import QuietFormatter

    def failing() -> None:
        raise ValueError("password=hunter2hunter2")

    try:
        failing()
    except ValueError as fault:
        record = logging.LogRecord("x", logging.ERROR, "f", 1, "said\n2026 ERROR forged %s", ("token=hunter2hunter2",), (ValueError, fault, None))  # fmt: skip
    text = QuietFormatter("%(levelname)s %(message)s").format(record)
    assert "hunter2hunter2" not in text
    assert "\\n2026 ERROR forged" in text


def test_signing_in_writes_no_secret_into_the_log_or_the_book(book: AuthBook, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.DEBUG):
        client = book.browser()
        enter(client, LOGIN, PASSWORD)
        enter(book.browser(), LOGIN, "wrong but secret too")
        client.get("/")
    assert PASSWORD not in caplog.text
    assert "wrong but secret too" not in caplog.text
    with book.engine.connect() as connection:
        for table in sa.inspect(connection).get_table_names():
            text = repr(connection.execute(sa.text(f'SELECT * FROM "{table}"')).all())
            assert PASSWORD not in text, table
            assert "wrong but secret too" not in text, table


# -- the book ------------------------------------------------------------------------------------------------------


def test_accounts_and_passwords_are_entries_without_the_secret(book: AuthBook) -> None:
    set_password(book.engine, LOGIN, NEW, by="Adm Ine", now=book.clock(), must_change=False)
    with book.engine.connect() as connection:
        kinds = connection.execute(sa.text("SELECT kind, author FROM entry ORDER BY number DESC LIMIT 1")).one()
        said = connection.execute(sa.text("SELECT said FROM statement ORDER BY entry DESC LIMIT 12")).scalars().all()
    assert tuple(kinds) == (str(Kind.PASSWORD_SET), "Adm Ine")
    assert all("argon2" not in text for text in said)
    assert any('"login":"eng.lund"' in text for text in said)


def test_the_book_with_accounts_verifies(book: AuthBook) -> None:
    from models.store.verify import verify_book

    with book.engine.connect() as connection:
        found = verify_book(connection)
    assert found.entries == found.intact > 10
    assert found.faults() == 0


def test_accounts_refuse_what_cannot_be(book: AuthBook) -> None:
    def add(login: str = "new.one", **more: Any) -> None:
        given: dict[str, Any] = {"person": "New One", "roles": [Role.READER], "password": NEW} | more
        add_account(book.engine, [book.site], login, by="t", now=NOW, **given)

    for login in ("", "a", "with blank", "a/b", "x" * 90, "a\nb"):
        with pytest.raises(InvalidValueError):
            add(login)
    for more in ({"person": " "}, {"roles": []}, {"mail": "no mail"}, {"password": None}, {"outside": "only-one-word"}):
        with pytest.raises(InvalidValueError):
            add(**more)
    with pytest.raises(ConflictError):
        add(LOGIN.upper())
    add(outside="https://door.example 77", password=None)
    with pytest.raises(ConflictError, match="outside identity"):
        add("second", person="Second One", outside="https://door.example 77", password=None)


def test_the_last_administrator_stays(book: AuthBook) -> None:
    login = PEOPLE[Role.ADMINISTRATOR][0]
    at = AtSite(book.site.site_id, "Adm Ine", roles=(Role.READER,))
    with pytest.raises(ConflictError, match="last administrator"):
        change_account(book.engine, book.site, login, at, by="t", now=NOW)


def test_the_author_is_who_is_signed_in_whatever_the_browser_says(book: AuthBook) -> None:
    from dashboard.auth.gate import check
    from dashboard.context import context
    from dashboard.desk import Handed
    from models.store.story import read_story

    with book.engine.connect() as connection:
        story = read_story(connection, book.site, "P-1")
    assert story is not None
    old = story.standing[0]
    from dataclasses import replace

    job = replace(old.job, notes="again", ref="J-new", performed_at=NOW - timedelta(days=1))
    token = book.access.open(book.accounts[Role.RECORDER], "x", "in")
    with book.app.server.test_request_context("/", headers={"Cookie": f"driftbook={token}"}):
        assert check() is None
        desk = context().desk
        assert desk is not None
        line = desk.hand_in(
            book.site, Handed(job, "Somebody Else", {"no change": "x", "same numbers": "x"}, bolts_tight=True), NOW
        )
    assert line.author == "Rec Orr"
    with book.engine.connect() as connection:
        assert account_of(connection, "REC.ORR") is not None


# -- on both engines -----------------------------------------------------------------------------------------------


def test_the_way_in_and_out_is_the_same_on_both_engines(settings: Settings, tmp_path: Path) -> None:
    book = open_book(settings, tmp_path, passwords=True)
    client = book.browser()
    assert enter(client, LOGIN, "wrong").status_code == 401
    assert enter(client, LOGIN, PASSWORD).status_code == 303
    book.clock.on(minutes=5)
    assert inside(client)
    set_password(book.engine, LOGIN, NEW, by="t", now=book.clock(), must_change=False)
    assert not inside(client)
    assert enter(client, LOGIN, NEW).status_code == 303
    at = AtSite(book.site.site_id, NAME, roles=(Role.ENGINEER,), active=False)
    change_account(book.engine, book.site, LOGIN, at, by="t", now=book.clock())
    assert not inside(client)
    assert [outcome for _, outcome in log(book)] == ["in", "in", "failed"]
    for statement in (
        "UPDATE sign_in SET outcome = 'in'",
        "DELETE FROM sign_in",
        "UPDATE account_version SET roles = '[]'",
    ):
        with pytest.raises(sa.exc.DBAPIError), book.engine.begin() as connection:
            connection.execute(sa.text(statement))
    book.engine.dispose()
