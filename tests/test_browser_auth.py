"""Signing in, accounts and signing off in a real browser: without scripts, at both widths, in both schemes, by the rules of axe."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, ViewportSize

from models.settings import Settings
from models.values.roles import Role
from tests.auth_book import PASSWORD, PEOPLE, AuthBook, open_book
from tests.browser_tools import NARROW, WIDE, served_app

pytest_plugins = ["tests.plugin_browser"]
pytestmark = pytest.mark.browser


@dataclass
class Served:
    book: AuthBook
    url: str
    entry: int


@pytest.fixture(scope="module")
def served(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("door")
    (folder / "driftbook.db").write_bytes(sqlite_template.read_bytes())
    settings = Settings(book=str(folder / "driftbook.db"), mappings=folder / "mappings")
    book = open_book(settings, folder, passwords=True, hosts=["127.0.0.1", "localhost"])
    with book.engine.connect() as connection:
        entry = int(connection.execute(sa.text("SELECT entry FROM job WHERE ref = 'J2'")).scalar_one())
    with served_app(book.app) as url:
        yield Served(book, url, entry)
    book.engine.dispose()


def enter(page: Page, role: Role) -> None:
    page.fill("#login", PEOPLE[role][0])
    page.fill("#password", PASSWORD)
    page.click("main button.main")


def faults(page: Page) -> list[str]:
    return [f"{one['id']}: {one['nodes'][0]['html'][:120]}" for one in Axe().run(page).response["violations"]]


@pytest.mark.parametrize(("viewport", "scheme"), [(WIDE, "light"), (NARROW, "dark")], ids=["wide", "narrow"])
def test_the_pages_of_the_door_keep_the_rules_and_fit(
    browser: Browser, served: Served, viewport: ViewportSize, scheme: Any
) -> None:
    context = browser.new_context(viewport=viewport, color_scheme=scheme)
    page = context.new_page()
    page.goto(f"{served.url}/accounts")
    assert page.url.endswith("/sign-in?next=%2Faccounts")
    assert faults(page) == []
    enter(page, Role.ADMINISTRATOR)
    page.wait_for_url("**/accounts")
    for path in ("/accounts", f"/accounts/{served.book.accounts[Role.READER].account_id}", "/password", "/site"):
        page.goto(f"{served.url}{path}")
        assert faults(page) == [], path
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), path
    context.close()


def test_signing_in_and_off_works_without_scripts(browser: Browser, served: Served) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{served.url}/sign/{served.entry}")
    enter(page, Role.ENGINEER)
    page.wait_for_selector("#meaning")
    page.select_option("#meaning", "approved")
    page.fill("#password", PASSWORD)
    page.click("main button.main")
    page.wait_for_url("**/asset/P-1")
    page.goto(f"{served.url}/sign/{served.entry}")
    assert "Eng Lund" in page.inner_text("main table >> nth=-1")
    page.click("header button")
    page.wait_for_url("**/sign-in")
    context.close()


def test_a_button_that_is_tapped_twice_voids_once(browser: Browser, served: Served) -> None:
    context = browser.new_context(viewport=WIDE)
    page = context.new_page()
    with served.book.engine.connect() as connection:
        entry = connection.execute(sa.text("SELECT entry FROM job WHERE ref = 'J3'")).scalar_one()
    page.goto(f"{served.url}/void/{entry}")
    enter(page, Role.RECORDER)
    page.wait_for_selector("#why")
    assert faults(page) == []
    page.fill("#why", "done on another machine")
    page.dblclick("main button.main")
    page.wait_for_selector("main .done")
    assert "is void, by Rec Orr" in page.inner_text("main .done")
    assert faults(page) == []
    with served.book.engine.connect() as connection:
        assert connection.execute(sa.text("SELECT count(*) FROM job WHERE void")).scalar_one() == 1
    context.close()


def test_a_page_whose_session_has_ended_leads_to_the_door_and_back(browser: Browser, served: Served) -> None:
    context = browser.new_context(viewport=WIDE)
    page = context.new_page()
    page.goto(served.url)
    enter(page, Role.READER)
    page.wait_for_selector("#month-body h1")
    assert "Signed in as Rea Dee" in page.inner_text("footer")
    assert page.locator("header nav a:has-text('Record')").count() == 0
    context.clear_cookies()
    page.click("header nav a:has-text('Due')")
    page.wait_for_url("**/sign-in?next=%2Fdue")
    enter(page, Role.READER)
    page.wait_for_selector("#due-body h1")
    page.goto(f"{served.url}/record?asset=P-1")
    page.wait_for_selector("main h1")
    assert page.inner_text("main h1") == "This page is not for your roles"
    context.close()
