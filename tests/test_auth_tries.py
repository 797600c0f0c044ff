"""Tries to sign in: counted alike in every process, bounded in the log, and who of the administrators sees them."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from argon2 import PasswordHasher

from dashboard.auth.access import Access
from models.commands import accounts_passwords
from models.commands.accounts import add_account, set_password
from models.settings import Settings
from models.store import state
from models.store.engine import make_engine
from models.store.sign_ins import name_of_nobody
from models.store.state import Try
from models.values.roles import Role
from tests.auth_book import PASSWORD, PEOPLE, AuthBook, open_book
from tests.conftest import NOW, make_site

pytest_plugins = ["tests.plugin_auth"]

LOGIN = PEOPLE[Role.ENGINEER][0]
PLANT, OUTSIDE = "192.0.2.1", "198.51.100.7"


@pytest.fixture
def book(auth_book: AuthBook) -> AuthBook:
    return auth_book


def lines(book: AuthBook) -> tuple[Try, ...]:
    with book.engine.connect() as connection:
        return state.tries(connection, since=NOW - timedelta(days=1), most=10_000)


def told(access: Access, login: str, password: str, address: str) -> str:
    answer = access.sign_in(login, password, address)
    return "in" if answer.came_in else "wrong" if answer.wait is None else f"wait {answer.wait.total_seconds():.0f}"


# -- the same in every process -------------------------------------------------------------------------------------


@pytest.mark.parametrize("key", ["with its key", "without its key", "with another file in its place"])
def test_failures_of_any_name_count_alike_in_every_process_and_after_a_new_start(
    settings: Settings, tmp_path: Path, key: str
) -> None:
    """Three doors of one book stand for three processes: none of them knows what another keeps in its memory."""
    settings = replace(settings, key=tmp_path / "own.key")  # a book on a server looks for it in the working folder
    book = open_book(settings, tmp_path, passwords=True)
    if key == "without its key":
        settings.key_path.unlink()
    elif key == "with another file in its place":
        settings.key_path.write_text("no key\n")
    engines = [make_engine(settings) for _ in range(3)]
    doors = [Access(engine, book.clock) for engine in engines]
    told_of = {
        login: [told(doors[n % 3], login, "wrong", f"10.0.{len(login)}.{n}") for n in range(8)]
        for login in (LOGIN, "no.body")
    }
    assert told_of[LOGIN] == ["wrong"] * 5 + ["wait 1"] * 3
    assert told_of["no.body"] == told_of[LOGIN]
    assert len({line.login for line in lines(book) if line.login.startswith("nobody ")}) == 1
    for engine in (*engines, book.engine):
        engine.dispose()


def test_a_name_that_nobody_has_cannot_be_tried_with_what_the_log_and_the_history_hold(
    sqlite_book: Settings, tmp_path: Path
) -> None:
    """Two books with the same names keep them differently, and a new key or the lost one changes how they are kept."""
    book = open_book(sqlite_book, tmp_path, passwords=True)
    key = sqlite_book.key_path.read_bytes()

    def kept() -> str:
        with book.engine.connect() as connection:
            return name_of_nobody(connection, "my real password")

    with_key = kept()
    assert re.fullmatch(r"nobody [0-9a-f]{16}", with_key)
    sqlite_book.key_path.unlink()
    without = kept()
    assert without != with_key
    assert kept() == without
    with state.changing(book.engine) as connection:  # what it rests on then is not in the history: a salt of 128 bits
        first = min(one.account_id for one in book.accounts.values())
        state.replace_hash(connection, first, accounts_passwords.hashed(PASSWORD))
    assert kept() != without
    sqlite_book.key_path.write_bytes(key)
    assert kept() == with_key
    book.engine.dispose()


# -- the log is bounded --------------------------------------------------------------------------------------------


def test_tries_that_are_not_looked_at_do_not_fill_the_log(book: AuthBook) -> None:
    """Nobody may empty the log, and such a try costs whoever makes it nothing."""
    for n in range(300):
        book.access.sign_in(f"name{n}", "wrong", OUTSIDE)
    counted = Counter(line.outcome for line in lines(book))
    assert counted["failed"] == 20
    assert counted["delayed"] == 1
    for n in range(300):  # names that are over their own number, by turns, from addresses that are not
        book.access.sign_in("one.name" if n % 2 else "two.name", "wrong", f"10.0.0.{n % 4}")
    assert Counter(line.outcome for line in lines(book))["delayed"] <= 3


def test_lines_of_another_kind_hide_no_failure_from_the_count(book: AuthBook) -> None:
    for n in range(20):
        book.access.sign_in(f"name{n}", "wrong", OUTSIDE)
    with state.changing(book.engine) as connection:
        for _ in range(300):
            state.note_try(connection, Try(book.clock(), "x", OUTSIDE, "delayed"))
    assert told(book.access, "another", "wrong", OUTSIDE).startswith("wait")


def test_an_owner_is_known_at_their_desk_however_long_others_guess(book: AuthBook) -> None:
    assert told(book.access, LOGIN, PASSWORD, PLANT) == "in"
    book.clock.on(minutes=1)
    with state.changing(book.engine) as connection:
        for _ in range(600):
            state.note_try(connection, Try(book.clock(), LOGIN, OUTSIDE, "failed"))
    assert told(book.access, LOGIN, PASSWORD, OUTSIDE).startswith("wait")
    assert told(book.access, LOGIN, PASSWORD, PLANT) == "in"


def test_whom_only_the_provider_knows_is_noted_once_a_day(book: AuthBook) -> None:
    for _ in range(5):
        assert not book.access.from_outside("https://door.example 4711", OUTSIDE).came_in
    assert [line.outcome for line in lines(book)] == ["unknown at provider"]
    book.clock.on(hours=25)
    book.access.from_outside("https://door.example 4711", OUTSIDE)
    with book.engine.connect() as connection:
        assert len(state.tries(connection, since=NOW - timedelta(days=3))) == 2


# -- a clock that ran ahead ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("ahead", [timedelta(minutes=20), timedelta(days=3650)])
def test_failures_by_a_clock_that_ran_ahead_keep_nobody_out(book: AuthBook, ahead: timedelta) -> None:
    book.clock.now += ahead
    for n in range(30):
        told(book.access, LOGIN, "wrong", PLANT)
        told(book.access, f"name{n}", "wrong", PLANT)
    assert told(book.access, LOGIN, PASSWORD, PLANT).startswith("wait")
    book.clock.now -= ahead
    assert told(book.access, LOGIN, PASSWORD, PLANT) == "in"
    for _ in range(8):  # guessing under the right clock is slowed as ever, and noted
        last = told(book.access, "no.body", "wrong", OUTSIDE)
    assert last.startswith("wait")
    assert Counter(line.outcome for line in lines(book) if line.at <= book.clock())["delayed"] == 1


def test_coming_in_by_a_clock_that_ran_ahead_makes_no_address_known_for_years(book: AuthBook) -> None:
    book.clock.on(days=3650)
    assert told(book.access, LOGIN, PASSWORD, PLANT) == "in"
    book.clock.on(days=-3650)
    assert [told(book.access, LOGIN, "wrong", PLANT) for _ in range(7)][-1].startswith("wait")


def test_clocks_of_two_servers_that_differ_a_little_count_alike_and_no_wait_is_longer_than_promised(
    book: AuthBook,
) -> None:
    with state.changing(book.engine) as connection:
        for _ in range(40):
            state.note_try(connection, Try(book.clock() + timedelta(seconds=50), LOGIN, OUTSIDE, "failed"))
    assert told(book.access, LOGIN, PASSWORD, OUTSIDE) == "wait 900"


def test_a_session_begun_by_a_clock_that_ran_ahead_ends_with_it(book: AuthBook) -> None:
    before = book.access.sign_in(LOGIN, PASSWORD, PLANT).token
    book.clock.on(hours=1)
    assert book.access.who(before) is not None  # its last use, by a clock that is an hour ahead
    ahead = book.access.sign_in(LOGIN, PASSWORD, PLANT).token
    book.clock.on(hours=-1)
    assert book.access.who(ahead) is None
    assert book.access.who(before) is not None
    book.clock.on(hours=2)
    assert book.access.who(before) is None, "two hours after its last use by the right clock"


def test_a_password_given_by_a_clock_that_ran_ahead_is_not_good_for_years(book: AuthBook) -> None:
    late = book.clock() + timedelta(days=3650)
    set_password(book.engine, LOGIN, PASSWORD + " new", by="t", now=late, must_change=True)
    assert told(book.access, LOGIN, PASSWORD + " new", PLANT) == "wrong"
    set_password(book.engine, LOGIN, PASSWORD + " newer", by="t", now=book.clock(), must_change=True)
    assert told(book.access, LOGIN, PASSWORD + " newer", PLANT) == "in"


def test_a_name_only_the_provider_knows_is_noted_though_a_clock_that_ran_ahead_noted_it(book: AuthBook) -> None:
    for days in (3650, -3650, 0):
        book.clock.on(days=days)
        book.access.from_outside("https://door.example 4711", OUTSIDE)
    with book.engine.connect() as connection:
        assert len(state.tries(connection, since=NOW - timedelta(days=1))) == 2


# -- others behind the same address --------------------------------------------------------------------------------


def bad_neighbour(book: AuthBook, address: str = PLANT) -> None:
    """Let somebody use up the tries of an address."""
    for n in range(60):
        book.access.sign_in(f"name{n}", "wrong", address)
        book.clock.on(seconds=5)


def test_a_bad_neighbour_does_not_keep_out_whoever_comes_in_from_there(book: AuthBook) -> None:
    assert told(book.access, LOGIN, PASSWORD, PLANT) == "in"
    book.clock.on(hours=1)
    bad_neighbour(book)
    assert told(book.access, LOGIN, PASSWORD, PLANT) == "in"
    book.clock.on(seconds=2)
    other = PEOPLE[Role.READER][0]
    assert told(book.access, other, PASSWORD, PLANT).startswith("wait")  # never came in from there
    assert told(book.access, other, PASSWORD, OUTSIDE) == "in"


def test_one_password_tried_under_all_names_gets_one_guess_at_each_and_cannot_tell_them_apart(book: AuthBook) -> None:
    known = [login for login, _ in PEOPLE.values()]
    for login in known:
        assert told(book.access, login, PASSWORD, PLANT) == "in"
    book.clock.on(hours=1)
    bad_neighbour(book)
    for guess in range(3):
        answers = []
        for login in (*known, "no.body", "other.body"):
            book.clock.on(seconds=2)
            answers.append(told(book.access, login, f"guess {guess}", PLANT))
        assert all(answer.startswith("wait ") for answer in answers)
    failed = Counter(line.login for line in lines(book) if line.outcome == "failed")
    assert {failed[login] for login in known} == {1}
    book.clock.on(seconds=2)
    assert told(book.access, known[0], PASSWORD, PLANT).startswith("wait")  # a failure of their own: as anybody
    book.clock.on(minutes=16)
    assert told(book.access, known[0], PASSWORD, PLANT) == "in"


def test_who_has_to_wait_for_others_gets_the_same_work_whether_the_name_is_known_or_not(
    book: AuthBook, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert told(book.access, LOGIN, PASSWORD, PLANT) == "in"
    book.clock.on(hours=1)
    bad_neighbour(book)
    work: list[int] = []
    plain = PasswordHasher.verify

    def counted(self: Any, kept: str, password: str) -> bool:
        work[-1] += 1
        return plain(self, kept, password)

    monkeypatch.setattr(PasswordHasher, "verify", counted)
    for login in (LOGIN, PEOPLE[Role.READER][0], "no.body"):
        book.clock.on(seconds=2)
        work.append(0)
        told(book.access, login, "wrong", PLANT)
    assert work == [1, 1, 1]
    work.append(0)
    for n in range(50):  # all at the same moment: no work for a crowd
        told(book.access, f"more{n}", "wrong", PLANT)
    assert work[-1] == 0


def test_who_is_signed_in_is_not_slowed_at_signing_by_others_behind_the_address(book: AuthBook) -> None:
    who = book.access.who(book.access.sign_in(LOGIN, PASSWORD, PLANT).token)
    assert who is not None
    bad_neighbour(book)
    assert book.access.confirm(who, PASSWORD, PLANT).came_in


# -- who sees them -------------------------------------------------------------------------------------------------


@pytest.fixture
def two(book: AuthBook, sqlite_book: Settings) -> AuthBook:
    """Give the same book with a second site and an administrator there, and one who administers both."""
    second = make_site(sqlite_book, name="Other Quay")
    for login, sites in (("oth.er", [second]), ("both.sites", [book.site, second])):
        add_account(
            book.engine, sites, login, person=login.title(), roles=[Role.ADMINISTRATOR], by="t", now=NOW, password=PASSWORD,
            must_change=False,
        )  # fmt: skip
    return book


@pytest.fixture
def shown(two: AuthBook) -> Callable[[str], str]:
    """Give what the page of the accounts says of signing in, to an administrator."""
    two.access.sign_in(LOGIN, PASSWORD, PLANT)
    two.access.sign_in("slip.of.the.pen", PASSWORD, PLANT)
    for n in range(60):  # more than the page shows
        two.clock.on(minutes=20)
        two.access.sign_in("oth.er", PASSWORD, "203.0.113.5")
        two.access.sign_in(f"slip{n}", PASSWORD, "203.0.113.5")

    def page(login: str) -> str:
        token = two.access.sign_in(login, PASSWORD, OUTSIDE).token
        text: str = two.browser(token).get("/accounts").get_data(as_text=True)
        return text.rpartition("<h2")[2]

    return page


def test_an_administrator_of_one_site_sees_who_signs_in_there_and_nobody_else(shown: Callable[[str], str]) -> None:
    text = shown(PEOPLE[Role.ADMINISTRATOR][0])
    assert LOGIN in text
    assert text.partition("</caption>")[2].count("unknown name") == 1
    for foreign in ("oth.er", "both.sites", "203.0.113.5"):
        assert foreign not in text
    assert "people above" in text


def test_an_administrator_of_every_site_sees_all_tries(shown: Callable[[str], str]) -> None:
    text = shown("both.sites")
    assert "oth.er" in text
    assert "203.0.113.5" in text
    assert "at every site" in text


def test_the_last_coming_in_is_shown_however_many_have_failed_since(book: AuthBook) -> None:
    book.access.sign_in(LOGIN, PASSWORD, PLANT)
    with state.changing(book.engine) as connection:
        for _ in range(250):
            state.note_try(connection, Try(book.clock(), LOGIN, OUTSIDE, "failed"))
    page = book.signed_in(Role.ADMINISTRATOR).get("/accounts").get_data(as_text=True)
    row = next(part for part in page.partition("</table>")[0].split("<tr") if LOGIN in part)
    assert "2026" in row


def test_the_log_of_one_person_says_whose_it_is(book: AuthBook) -> None:
    set_password(book.engine, LOGIN, PASSWORD + " more", by="t", now=NOW, must_change=False)
    book.access.sign_in(LOGIN, PASSWORD + " more", PLANT)
    number = book.accounts[Role.ENGINEER].account_id
    page = book.signed_in(Role.ADMINISTRATOR).get(f"/accounts/{number}").get_data(as_text=True)
    assert "Tries under this login" in page
    assert PLANT in page


def test_the_log_still_refuses_to_be_emptied(book: AuthBook) -> None:
    book.access.sign_in(LOGIN, "wrong", PLANT)
    with pytest.raises(sa.exc.DBAPIError), book.engine.begin() as connection:
        connection.execute(sa.text("DELETE FROM sign_in"))
