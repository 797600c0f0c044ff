"""A file is of the site that its address names, or there is none: never that of another site."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from dashboard.app import create_app
from dashboard.words import say
from models.commands.accounts import add_account, change_account
from models.settings import Settings
from models.store.accounts import account_of
from models.store.reader import Reader
from models.values.roles import AtSite, Role
from models.values.story import Site
from tests.auth_book import AuthBook, open_book
from tests.conftest import NOW, make_site
from tests.seeded import seed

FILES = (
    "/table/due.csv",
    "/table/entries.xlsx",
    "/table/machines.csv",
    "/report/month/2026-10.pdf",
    "/report/asset/P-1.pdf",
    "/report/sheet/P-1.pdf",
    "/report/labels.pdf",
    "/package/P-1.zip",
)
MANY = "&".join(f"tag=X-{n}" for n in range(300))
"""More choices than are read of a page's address, and a longer query."""


@pytest.fixture(scope="module")
def book(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[AuthBook]:
    folder = tmp_path_factory.mktemp("sites")
    path = folder / "book.db"
    path.write_bytes(sqlite_template.read_bytes())
    settings = Settings(book=str(path), mappings=folder / "mappings")
    made = open_book(settings, folder)
    far = make_site(settings, name="Far Bank")
    seed(made.engine, far, folder)
    for login, sites in (("one", [made.site]), ("both", [made.site, far]), ("other", [far])):
        add_account(
            made.engine, sites, login, person=f"{login.title()} Lee", roles=[Role.READER, Role.AUDITOR], by="tester", now=NOW,
            password=None, outside=f"https://door.example {login}",
        )  # fmt: skip
    yield made
    made.engine.dispose()


def far_of(book: AuthBook) -> Site:
    return next(site for site in Reader(book.engine).sites() if site.code == "far-bank")


def browser(book: AuthBook, login: str) -> Any:
    with book.engine.connect() as connection:
        account = account_of(connection, login)
    assert account is not None
    return book.browser(book.access.open(account, "127.0.0.1", "in"))


@pytest.mark.parametrize("path", FILES)
@pytest.mark.parametrize("site", ["far-bank", "nosuch", "FAR-BANK", "far-bank'--"])
def test_another_sites_file_is_no_answer_to_a_site_that_may_not_be_read(book: AuthBook, path: str, site: str) -> None:
    client = browser(book, "one")
    assert client.get(f"{path}?site=test-quay").status_code == 200
    for query in (f"site={site}", f"{MANY}&site={site}", f"site={site}&site=test-quay"):
        answer = client.get(f"{path}?{query}")
        assert (answer.status_code, "Content-Disposition" in answer.headers) == (404, False)
        assert answer.mimetype == "text/plain"
        assert say("files.unknown_site", asked=site) in answer.get_data(as_text=True)


def test_a_book_without_accounts_is_no_less_strict(book: AuthBook) -> None:
    client = create_app(Settings(book="x.book"), Reader(book.engine), clock=book.clock).server.test_client()
    for path in FILES:
        assert client.get(f"{path}?site=nosuch").status_code == 404
        assert client.get(path).status_code == 200, "without a site it is the first one's"


def test_a_site_behind_many_choices_is_found(book: AuthBook) -> None:
    client = browser(book, "both")
    for query in ("site=far-bank", f"{MANY}&site=far-bank", f"{MANY}&site=Far-Bank"):
        answer = client.get(f"/table/machines.csv?{query}")
        assert answer.status_code == 200
        assert "far-bank-machines" in answer.headers["Content-Disposition"]


def test_the_gate_asks_for_the_right_at_the_very_site_of_the_package(book: AuthBook) -> None:
    add_account(
        book.engine, [book.site], "half", person="Half Lee", roles=[Role.AUDITOR], by="tester", now=NOW, password=None,
        outside="https://door.example half",
    )  # fmt: skip
    reads = AtSite(
        far_of(book).site_id, "Half Lee", "", (Role.READER,), active=True, outside="https://door.example half"
    )
    change_account(book.engine, far_of(book), "half", reads, by="tester", now=NOW)
    client = browser(book, "half")
    assert client.get("/package/P-1.zip?site=test-quay").status_code == 200
    for query in ("site=far-bank", f"{MANY}&site=far-bank"):
        assert client.get(f"/table/due.csv?{query}").status_code == 200
        assert client.get(f"/package/P-1.zip?{query}").status_code == 403


def test_the_package_of_a_machine_that_is_not_there_is_told_and_not_logged_as_a_fault(
    book: AuthBook, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.INFO):
        answer = browser(book, "one").get("/package/P-77.zip?site=test-quay")
    assert answer.status_code == 404
    assert "P-77" in answer.get_data(as_text=True)
    assert [record for record in caplog.records if record.levelno >= logging.WARNING or record.exc_info] == []
