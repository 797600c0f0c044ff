"""Fixtures of browser tests that record jobs: a little book that can be written, its address, and a phone."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page

from dashboard.server import HEALTH, open_server, port_of
from tests.browser_tools import NARROW
from tests.record_book import Opened, open_book


@pytest.fixture
def book(sqlite_book: Any, tmp_path: Path) -> Iterator[Opened]:
    with open_book(sqlite_book, tmp_path) as opened:
        yield opened


@pytest.fixture
def url(book: Opened) -> str:
    server = open_server(book.app, "127.0.0.1", 0)
    threading.Thread(target=server.run, daemon=True).start()
    return f"http://127.0.0.1:{port_of(server)}"


@pytest.fixture(scope="session")
def own_phone(browser: Browser) -> Iterator[BrowserContext]:
    """Give the phone of one person for all tests: what it compiled stays with a page that is never closed."""
    context = browser.new_context(viewport=NARROW, has_touch=True, color_scheme="light")
    context.new_page()
    yield context
    context.close()


@pytest.fixture
def phone(own_phone: BrowserContext, url: str) -> Iterator[Page]:
    """Give a page on a narrow screen with touch; requests may fail on it. Nothing that it keeps is there for the next test."""
    still_there = own_phone.pages[0]
    still_there.goto(f"{url}{HEALTH}")
    page = own_phone.new_page()
    yield page
    own_phone.set_offline(False)
    for opened in own_phone.pages[1:]:
        opened.close()
    own_phone.clear_cookies()
    tool = own_phone.new_cdp_session(still_there)
    tool.send("Storage.clearDataForOrigin", {"origin": url, "storageTypes": "all"})
    tool.detach()
