"""Fixtures of the browser tests."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, ViewportSize, expect

from tests.browser_tools import FLAGS, WIDE, Opened, Watch, browser_program, served
from tests.history_maker import made_book

expect.set_options(timeout=20_000)  # two runs share two processors: patience, not speed, is what these tests need


@pytest.fixture(scope="session")
def browser_type_launch_args() -> dict[str, object]:
    program = browser_program()
    return {"args": FLAGS, **({"executable_path": program} if program else {})}


@pytest.fixture(scope="session")
def plant_url() -> Iterator[str]:
    """Give the address of a reader of the invented little plant."""
    with served(made_book()) as url:
        yield url


@pytest.fixture
def opened(browser: Browser) -> Iterator[Opened]:
    """Give a function that opens an address and waits for its content; the test fails if anything went wrong on the page."""
    contexts: list[BrowserContext] = []
    watches: list[Watch] = []

    def open_page(url: str, *, scheme: str = "light", viewport: ViewportSize = WIDE) -> Page:
        context = browser.new_context(viewport=viewport, color_scheme=scheme)  # type: ignore[arg-type]
        contexts.append(context)
        page = context.new_page()
        watches.append(Watch(page))
        page.goto(url)
        page.locator("main h1").wait_for()
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert [text for watch in watches for text in watch.seen] == []
