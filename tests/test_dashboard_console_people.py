"""The command people over several sites, and a new site in a book in which people sign in."""

from __future__ import annotations

import io
from typing import Any

import pytest

from dashboard.cli import main
from models.settings import Settings
from models.store.accounts import account_of
from models.store.engine import make_engine
from models.store.known import sites
from models.values.roles import Account, Role
from tests.conftest import make_site

PASSWORD = "kite lamp stone river"  # noqa: S105 - of invented people


@pytest.fixture
def people(sqlite_book: Settings, monkeypatch: pytest.MonkeyPatch) -> Any:
    """Type the command on a book of one site, Test Quay."""
    make_site(sqlite_book)

    def typed(*arguments: str) -> int:
        monkeypatch.setattr("sys.stdin", io.StringIO(PASSWORD + "\n"))
        secret = ("--password-stdin",) if arguments[0] == "add" else ()
        return main(["people", *arguments, *secret, "--book", sqlite_book.book, "--by", "root"])

    return typed


def at(settings: Settings, login: str) -> dict[str, tuple[str, tuple[Role, ...], bool]]:
    """Give name, roles and whether it is open, by the code of the site."""
    engine = make_engine(settings)
    with engine.connect() as connection:
        held, codes = account_of(connection, login), {one.site_id: one.code for one in sites(connection)}
    engine.dispose()
    assert isinstance(held, Account)
    return {codes[number]: (one.person, one.roles, one.active) for number, one in held.sites.items()}


def said(capsys: Any) -> str:
    found = capsys.readouterr()
    return " ".join((found.out + found.err).split())


def test_closing_over_several_sites_is_done_whole_or_not_at_all(
    people: Any, sqlite_book: Settings, capsys: Any
) -> None:
    make_site(sqlite_book, name="Mill")
    make_site(sqlite_book, name="Delta")
    people("add", "root", "--name", "Rut Oma", "--role", "administrator")
    people("add", "two", "--name", "Two Man", "--role", "administrator", "--site", "test-quay")
    before = at(sqlite_book, "root")
    capsys.readouterr()
    assert people("close", "root", "--why", "left") == 2
    told = said(capsys)
    assert "'root' is the last administrator of Mill, Delta." in told
    assert "Nothing was changed." in told
    assert people("change", "root", "--role", "reader") == 2
    assert at(sqlite_book, "root") == before
    for code in ("mill", "delta"):
        assert people("change", "two", "--site", code, "--role", "administrator") == 0
    capsys.readouterr()
    assert people("close", "root", "--why", "left") == 0
    assert "'root' was changed at 3 sites: Test Quay, Mill, Delta." in said(capsys)
    assert not any(active for _, _, active in at(sqlite_book, "root").values())
    assert people("close", "root") == 2


def test_a_role_goes_to_the_sites_where_they_have_one_and_the_others_are_named(
    people: Any, sqlite_book: Settings, capsys: Any
) -> None:
    make_site(sqlite_book, name="Mill")
    people("add", "root", "--name", "Rut Oma", "--role", "administrator")
    people("add", "bo", "--name", "Bo Tarn", "--role", "recorder")
    people("change", "bo", "--site", "mill", "--role", "")  # taken there on purpose
    make_site(sqlite_book, name="Delta")
    capsys.readouterr()
    assert people("change", "bo", "--role", "engineer", "--name", "Bo Ryn") == 0
    assert at(sqlite_book, "bo") == {"test-quay": ("Bo Ryn", (Role.ENGINEER,), True), "mill": ("Bo Ryn", (), True)}
    told = said(capsys)
    assert "Left out: Mill (mill), Delta (delta), where 'bo' has no role." in told
    assert "driftbook people change bo --site CODE --role ROLE" in told
    # Nothing to do where they have a role: what was meant is the site where they have none.
    assert people("change", "bo", "--role", "engineer") == 2
    assert "Left out: Mill (mill), Delta (delta)" in said(capsys)
    assert people("change", "bo", "--site", "delta", "--role", "reader") == 0
    told = said(capsys)
    assert "'bo' was changed at 1 site: Delta." in told
    assert "Left out" not in told
    assert at(sqlite_book, "bo")["delta"] == ("Bo Ryn", (Role.READER,), True)
    assert people("change", "bo", "--mail", "bo@quay.example") == 0
    assert "Left out" not in said(capsys)


def test_a_name_that_somebody_writes_under_is_refused_with_what_to_do(people: Any, capsys: Any) -> None:
    people("add", "mag", "--name", "Mag Man", "--role", "engineer")
    capsys.readouterr()
    assert people("add", "eng3", "--name", "mag  man", "--role", "engineer") == 2
    told = said(capsys)
    assert "'mag' writes under the name Mag Man at Test Quay already." in told
    assert "such as 'Mag Man (turbines)'" in told
    assert people("add", "eng3", "--name", "Mag Man (turbines)", "--role", "engineer") == 0
    assert people("change", "eng3", "--name", "Mag Man") == 2


def test_a_new_site_says_that_nobody_has_a_role_there_where_people_sign_in(
    people: Any, sqlite_book: Settings, capsys: Any
) -> None:
    init = ("init", "--book", sqlite_book.book, "--zone", "Europe/Lisbon", "--by", "root")
    assert main([*init, "--site", "Mill"]) == 0
    assert "no account has a role" not in said(capsys)  # nobody signs in to this book
    people("add", "root", "--name", "Rut Oma", "--role", "administrator")
    capsys.readouterr()
    assert main([*init, "--site", "East Yard"]) == 0
    told = said(capsys)
    assert "no account has a role at this site yet" in told
    assert "driftbook people change LOGIN --site east-yard --role administrator" in told
    assert people("change", "root", "--site", "east-yard", "--role", "administrator") == 0
    assert set(at(sqlite_book, "root")) == {"test-quay", "mill", "east-yard"}


def test_the_first_site_on_a_server_says_which_rights_the_role_of_the_server_needs(
    settings: Settings, capsys: Any
) -> None:
    init = ("init", "--book", settings.book, "--zone", "Europe/Lisbon", "--by", "root")
    assert main([*init, "--site", "Mill"]) == 0
    told = said(capsys)
    assert ("driftbook grants --role NAME --apply --book" in told) == (not settings.is_file)
    assert main([*init, "--site", "East Yard"]) == 0
    assert "driftbook grants" not in said(capsys)


def test_several_sites_may_be_named_and_a_login_that_is_there_gets_a_role_by_another_command(
    people: Any, sqlite_book: Settings, capsys: Any
) -> None:
    for name in ("Mill", "Delta"):
        make_site(sqlite_book, name=name)
    two = ("--site", "mill", "--site", "delta", "--site", "mill")
    assert people("add", "ana", "--name", "Ana Wick", "--role", "recorder", *two) == 0
    assert "'ana' may sign in as recorder at Mill, Delta." in said(capsys)
    assert sorted(at(sqlite_book, "ana")) == ["delta", "mill"]
    assert people("add", "ana", "--name", "Ana Wick", "--role", "reader", "--site", "test-quay") == 2
    assert "driftbook people change ana --site test-quay --role ROLE" in said(capsys)
    assert people("change", "ana", "--role", "reader", "--site", "test-quay", "--site", "nowhere") == 2
    assert "no site 'nowhere'" in said(capsys)
    assert people("change", "ana", "--role", "engineer", "--site", "test-quay", "--site", "delta") == 0
    assert {code: held[1] for code, held in at(sqlite_book, "ana").items()} == {
        "test-quay": (Role.ENGINEER,), "mill": (Role.RECORDER,), "delta": (Role.ENGINEER,),
    }  # fmt: skip
