"""Importing a file in a real browser: without a script, at both widths, with every rule of accessibility kept."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, ViewportSize, expect

from dashboard.app import create_app
from dashboard.desk import BookDesk
from models.settings import Settings
from models.store.engine import make_engine
from models.store.reader import Reader
from tests.browser_tools import LOOKS, served_app
from tests.conftest import NOW, make_site
from tests.import_page import OWN
from tests.record_book import FILES, Opened, open_book
from tests.seeded import bring_in, write

pytest_plugins = ["tests.plugin_browser"]
pytestmark = pytest.mark.browser


@pytest.fixture
def book(sqlite_book: Settings, tmp_path: Path) -> Iterator[Opened]:
    with open_book(sqlite_book, tmp_path) as opened:
        yield opened


def faults(page: Page) -> list[str]:
    page.wait_for_load_state("load")  # after a form was sent, the text is there before its style sheets are
    fits = page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    return [one["id"] for one in Axe().run(page).response["violations"]] + ([] if fits else ["too wide"])


@LOOKS
def test_the_pages_of_an_import_keep_the_rules_and_fit(
    browser: Browser, book: Opened, tmp_path: Path, viewport: ViewportSize, scheme: str
) -> None:
    path = tmp_path / "pumps of the plant.csv"
    path.write_text(OWN, encoding="utf-8")
    with served_app(book.app) as url:
        page = browser.new_context(viewport=viewport, color_scheme=scheme).new_page()  # type: ignore[arg-type]
        page.goto(f"{url}/import")
        assert faults(page) == []
        page.set_input_files("#file", path)
        page.get_by_role("button", name="Send it").click()
        expect(page.locator("main")).to_contain_text("1 error in 1 row")
        assert faults(page) == []
        page.get_by_text("Another kind of list").click()
        assert faults(page) == []
        page.get_by_label("‘grumbling’ means").select_option("condition")
        for offset in ("As found offset V", "As found offset H"):
            page.get_by_label(f"Unit of {offset}").select_option("mil")
        page.get_by_role("button", name="Look again").click()
        expect(page.locator("main")).to_contain_text("All of it is good: 2 records would go in")
        page.get_by_label("Your name").fill("Ana Wick")
        page.get_by_role("button", name="Import 2 records into Test Quay").click()
        expect(page.locator(".done")).to_contain_text("2 records went into the book")
        assert faults(page) == []
        page.context.close()
    assert book.story("F-1").jobs[-1].author == "Ana Wick"


def test_long_names_of_a_file_and_of_its_site_fit_on_a_phone(
    browser: Browser, sqlite_book: Settings, tmp_path: Path
) -> None:
    site = make_site(sqlite_book, name="Nordseehochofenwerksausrichtungsabteilungshalle Zwei")
    engine = make_engine(sqlite_book)
    assert bring_in(engine, site, *write(tmp_path, **FILES)).written
    app = create_app(sqlite_book, Reader(engine), clock=lambda: NOW, desk=BookDesk(engine))
    path = tmp_path / f"{'pumps_of_the_plant_' * 4}.csv"
    path.write_text(OWN, encoding="utf-8")
    with served_app(app) as url:
        page = browser.new_context(viewport={"width": 390, "height": 844}).new_page()
        page.goto(f"{url}/import")
        assert faults(page) == []
        page.set_input_files("#file", path)
        page.get_by_role("button", name="Send it").click()
        expect(page.locator("button.main")).to_contain_text(f"into {site.name}")
        assert faults(page) == []
        page.context.close()
    engine.dispose()


def test_the_book_leads_to_it_and_it_works_without_a_script(browser: Browser, book: Opened, tmp_path: Path) -> None:
    path = tmp_path / "pumps.csv"
    path.write_text(OWN.replace("grumbling", "PM"), encoding="utf-8")
    with served_app(book.app) as url:
        page = browser.new_page()
        page.goto(f"{url}/book")
        expect(page.get_by_role("link", name="Import a file")).to_have_attribute("href", "/import")
        page.close()
        plain = browser.new_context(java_script_enabled=False).new_page()
        plain.goto(f"{url}/import")
        plain.set_input_files("#file", path)
        plain.get_by_role("button", name="Send it").click()
        plain.get_by_label("Your name").fill("Ana Wick")
        plain.get_by_role("button", name="Import 2 records into Test Quay").click()
        expect(plain.locator(".done")).to_contain_text("2 records went into the book")
        plain.context.close()


def test_a_form_that_is_pressed_twice_is_sent_once(browser: Browser, book: Opened, tmp_path: Path) -> None:
    path = tmp_path / "pumps.csv"
    path.write_text(OWN, encoding="utf-8")
    with served_app(book.app) as url:
        page = browser.new_page()
        page.goto(f"{url}/import")
        page.set_input_files("#file", path)
        sent: list[str] = []
        page.on("request", lambda one: sent.append(one.method))
        page.locator("form button").evaluate("one => { one.click(); one.click(); one.click(); }")
        expect(page.locator("main")).to_contain_text("1 error in 1 row")
        assert sent.count("POST") == 1
        page.go_back()
        page.set_input_files("#file", path)
        page.get_by_role("button", name="Send it").click()
        expect(page.locator("main")).to_contain_text("1 error in 1 row")
        assert sent.count("POST") == 2, "after going back it is another press"
        page.close()
