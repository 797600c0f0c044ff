"""A book that goes away under a running server, in a real browser: pages say so, nothing typed is lost, and all goes on when it is back."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from dashboard.words import say
from models.store.course import SURE_S
from tests.record_book import Opened
from tests.test_browser_line import filled_in, record

pytest_plugins = ["tests.plugin_browser", "tests.plugin_record"]
pytestmark = pytest.mark.browser


@contextmanager
def away(path: Path) -> Iterator[None]:
    """Take the file of the book away for a while, as a disk that is unmounted takes it.

    Who only reads is sure of the file for a moment after each look at it: what is asked in that moment is still answered.
    """
    aside = path.with_name("aside.db")
    path.rename(aside)
    time.sleep(SURE_S)
    try:
        yield
    finally:
        aside.rename(path)


def test_a_page_says_that_the_book_is_away_and_comes_by_itself_when_it_is_back(
    sqlite_book: Any, url: str, phone: Page
) -> None:
    phone.goto(f"{url}/")
    phone.locator("main h1").wait_for()
    loads: list[str] = []
    phone.on("framenavigated", lambda frame: loads.append(frame.url))
    with away(sqlite_book.path):
        phone.locator(".pages").get_by_role("link", name="Book", exact=True).click()
        expect(phone.locator("main h1")).to_have_text(say("away.title"))
        expect(phone.locator("main")).to_contain_text(say("away.replaced"))
        expect(phone.locator("main")).not_to_contain_text("form")
        with phone.expect_response(
            "**/readyz"
        ) as looked:  # after longer than a page waits for a server that does not answer
            pass
        assert looked.value.status == 503
        expect(phone.locator("main h1")).to_have_text(say("away.title"))
        assert len(loads) == 1, "the page does not go round and round"
    expect(phone.locator("main h1")).to_have_text("Book", timeout=20_000)
    expect(phone.locator("#shell-notice")).to_have_text("")
    assert len(loads) == 2


def test_a_page_is_loaded_by_hand_when_the_book_is_back(sqlite_book: Any, url: str, phone: Page) -> None:
    phone.goto(f"{url}/")
    phone.locator("main h1").wait_for()
    with away(sqlite_book.path):
        phone.locator(".pages").get_by_role("link", name="Book", exact=True).click()
        expect(phone.locator("main h1")).to_have_text(say("away.title"))
    phone.locator("main").get_by_role("link", name=say("page.later.again")).click()
    expect(phone.locator("main h1")).to_have_text("Book")


def test_a_job_that_could_not_go_in_stays_in_the_form_and_goes_in_later(
    book: Opened, sqlite_book: Any, url: str, phone: Page
) -> None:
    filled_in(phone, url)
    with away(sqlite_book.path):
        record(phone)
        expect(phone.locator("#record-answer")).to_contain_text(say("away.replaced"))
        expect(phone.locator("#record-answer")).to_contain_text("still in the form")
        expect(phone.locator("#record-save")).not_to_have_attribute("aria-disabled", "true")
    phone.locator("#rf-notes").fill("typed when it was back")
    expect(phone.locator("#record-open")).to_contain_text("It can be recorded")
    record(phone)
    expect(phone.locator("main h1")).to_have_text(re.compile("Recorded as entry"))
    assert [line.job.notes for line in book.story().standing][4:] == ["typed when it was back"]
