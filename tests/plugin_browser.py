"""Fixtures of the browser tests."""

from __future__ import annotations

from collections.abc import Iterator
from urllib.parse import urljoin

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, ViewportSize, expect

from dashboard.server import HEALTH
from tests.browser_tools import FLAGS, WIDE, Opened, Readers, Watch, browser_program, leave, served
from tests.history_maker import made_book

expect.set_options(timeout=45_000)  # two runs share two processors: patience, not speed, is what these tests need


@pytest.fixture(scope="session")
def browser_type_launch_args() -> dict[str, object]:
    program = browser_program()
    return {"args": FLAGS, **({"executable_path": program} if program else {})}


@pytest.fixture(scope="session")
def plant_url() -> Iterator[str]:
    """Give the address of a reader of the invented little plant."""
    with served(made_book()) as url:
        yield url


@pytest.fixture(scope="session")
def readers(browser: Browser) -> Iterator[Readers]:
    """Give the browser of a reader who comes again, by window and colours: its scripts are read and compiled once a run, not once a page.

    A page stays open in it: with the last page of a site its process would go, and what it compiled.
    """
    contexts: dict[tuple[int, int, str], BrowserContext] = {}

    def reader(viewport: ViewportSize, scheme: str, url: str) -> BrowserContext:
        key = (viewport["width"], viewport["height"], scheme)
        if key not in contexts:
            contexts[key] = browser.new_context(viewport=viewport, color_scheme=scheme)  # type: ignore[arg-type]
            contexts[key].new_page().goto(urljoin(url, HEALTH))
        return contexts[key]

    yield reader
    for context in contexts.values():
        context.close()


@pytest.fixture
def opened(readers: Readers) -> Iterator[Opened]:
    """Give a function that opens an address and waits for its content; the test fails if anything went wrong on the page."""
    pages: list[Page] = []
    watches: list[Watch] = []

    def open_page(url: str, *, scheme: str = "light", viewport: ViewportSize = WIDE) -> Page:
        page = readers(viewport, scheme, url).new_page()
        pages.append(page)
        watches.append(Watch(page))
        page.goto(url)
        page.locator("main h1").wait_for()
        return page

    yield open_page
    for page in pages:
        if not page.is_closed():
            leave(page)
    assert [text for watch in watches for text in watch.seen] == []
