"""Fixtures of browser tests that record jobs: a little book that can be written, its address, and a phone."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from dashboard.server import open_server, port_of
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


@pytest.fixture
def phone(browser: Browser) -> Iterator[Page]:
    """Give a page on a narrow screen with touch; requests may fail on it."""
    context = browser.new_context(viewport=NARROW, has_touch=True, color_scheme="light")
    yield context.new_page()
    context.close()
