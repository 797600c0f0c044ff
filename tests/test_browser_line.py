"""The line between a page and its server in a real browser: it breaks, the server dies and comes back, the program is renewed."""

from __future__ import annotations

import re
import signal
import socket
import subprocess
import sys
import time
from typing import Any

import pytest
from playwright.sync_api import Page, Route, expect

from dashboard.edition import edition
from tests.record_book import Opened

pytest_plugins = ["tests.plugin_browser", "tests.plugin_record"]
pytestmark = pytest.mark.browser

CALLS = "**/_dash-update-component*"
RESULTS = {"offset_v": "0.05", "angle_v": "0.30", "offset_h": "0.02", "angle_h": "0.20"}


def filled_in(page: Page, url: str) -> None:
    page.goto(f"{url}/record?asset=P-2")
    page.locator("#record-sections").wait_for()
    page.locator("#rf-by").fill("Ana Wick")
    page.locator("#rf-instrument").fill("D-1")
    for name, text in RESULTS.items():
        page.locator(f"#rf-found-results-{name.replace('_', '-')}").fill(text)
    page.locator("#rf-found-by").select_option("laser")
    page.locator("#rf-left-method").select_option("same")
    expect(page.locator("#record-open")).to_contain_text("It can be recorded")


def record(page: Page) -> None:
    page.get_by_role("button", name=re.compile("^Record the")).click()


def lose_answer(route: Route) -> None:
    """Let a job go in, and its answer get lost."""
    if '"output":"record-answer.children"' in (route.request.post_data or ""):
        route.fetch()
        route.abort()
    else:
        route.continue_()


def test_a_job_that_is_handed_in_without_a_line_says_so_and_goes_in_later(book: Opened, url: str, phone: Page) -> None:
    filled_in(phone, url)
    phone.context.set_offline(True)
    record(phone)
    expect(phone.locator("#record-answer")).to_contain_text("it is not certain that the job is in the book")
    expect(phone.locator("#shell-notice")).to_contain_text("The server does not answer.")
    expect(phone.locator("#shell-notice")).to_be_in_viewport()
    expect(phone.locator("#record-save")).not_to_have_attribute("aria-disabled", "true")
    phone.locator("#rf-notes").fill("typed without a line")
    assert len(book.story().standing) == 4
    phone.context.set_offline(False)
    expect(phone.locator("#shell-notice")).to_have_text("")
    expect(phone.locator("#rf-notes")).to_have_value("typed without a line")
    record(phone)
    expect(phone.locator("main h1")).to_have_text(re.compile("Recorded as entry"))
    assert [line.job.notes for line in book.story().standing][4:] == ["typed without a line"]


def test_a_job_whose_answer_was_lost_is_not_recorded_twice(book: Opened, url: str, phone: Page) -> None:
    filled_in(phone, url)
    phone.route(CALLS, lose_answer)
    record(phone)
    expect(phone.locator("#record-answer")).to_contain_text("not certain")
    assert len(book.story().standing) == 5
    phone.unroute(CALLS)
    record(phone)
    expect(phone.locator("#record-answer")).to_contain_text("is in the book already, as entry")
    assert len(book.story().standing) == 5


def test_a_page_that_was_asked_for_without_a_line_comes_by_itself(url: str, phone: Page) -> None:
    phone.goto(f"{url}/")
    phone.locator("main h1").wait_for()
    phone.context.set_offline(True)
    phone.locator(".pages").get_by_role("link", name="Book", exact=True).click()
    expect(phone.locator("#shell-notice")).to_contain_text("This page waits for it")
    phone.context.set_offline(False)
    expect(phone.locator("main h1")).to_have_text("Book")
    expect(phone.locator("#shell-notice")).to_have_text("")


def test_what_a_server_in_front_says_for_one_that_is_away_counts_as_no_answer(url: str, phone: Page) -> None:
    phone.goto(f"{url}/")
    phone.locator("main h1").wait_for()
    for address in (CALLS, "**/healthz"):
        phone.route(address, lambda route: route.fulfill(status=502, body="<h1>Bad gateway</h1>"))
    phone.locator(".pages").get_by_role("link", name="Book", exact=True).click()
    expect(phone.locator("#shell-notice")).to_contain_text("The server does not answer.")
    phone.unroute_all()
    expect(phone.locator("main h1")).to_have_text("Book")


def grow_old(page: Page) -> None:
    page.evaluate("document.documentElement.setAttribute('data-edition', 'of-yesterday')")


def test_whoever_goes_on_from_a_page_of_an_older_program_gets_the_new_one(url: str, phone: Page) -> None:
    phone.goto(f"{url}/")
    phone.locator("main h1").wait_for()
    grow_old(phone)
    phone.locator(".pages").get_by_role("link", name="Book", exact=True).click()
    expect(phone.locator("main h1")).to_have_text("Book")
    expect(phone.locator("html")).to_have_attribute("data-edition", edition())
    # Where loading it again does not help (two servers of different editions), it does not go round and round.
    grow_old(phone)
    phone.locator(".pages").get_by_role("link", name="Month", exact=True).click()
    expect(phone.locator("#shell-notice")).to_contain_text("was renewed while this page was open")
    phone.locator("#shell-notice").get_by_role("link", name="Load this page again").click()
    expect(phone.locator("html")).to_have_attribute("data-edition", edition())
    expect(phone.locator("main .page")).to_be_visible()
    expect(phone.locator("#shell-notice")).to_have_text("")


def test_a_form_of_an_older_program_is_not_taken_and_its_draft_stays(book: Opened, url: str, phone: Page) -> None:
    filled_in(phone, url)
    grow_old(phone)
    record(phone)
    notice = phone.locator("#shell-notice")
    expect(notice).to_contain_text("Nothing was done; a draft of a job stays in this browser.")
    expect(notice).to_be_in_viewport()
    expect(phone.locator("#record-save")).not_to_have_attribute("aria-disabled", "true")
    expect(phone.locator("#record-answer")).to_have_text("")
    assert len(book.story().standing) == 4
    notice.get_by_role("link").click()
    expect(phone.locator("#rf-found-results-offset-v")).to_have_value("0.05")
    expect(phone.locator("#record-open")).to_contain_text("It can be recorded")
    record(phone)
    expect(phone.locator("main h1")).to_have_text(re.compile("Recorded as entry"))
    assert len(book.story().standing) == 5


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as held:
        return int(held.getsockname()[1])


def serve(path: str, port: int) -> subprocess.Popen[bytes]:
    process = subprocess.Popen(
        [sys.executable, "-m", "dashboard.cli", "serve", "--book", path, "--port", str(port)],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    until = time.monotonic() + 60
    while time.monotonic() < until:
        try:
            socket.create_connection(("127.0.0.1", port), 1).close()
        except OSError:
            time.sleep(0.1)
        else:
            return process
    process.kill()
    raise AssertionError("the server did not start")


def test_a_server_that_is_killed_and_started_again_is_waited_for(book: Opened, sqlite_book: Any, phone: Page) -> None:
    port = free_port()
    server = serve(sqlite_book.book, port)
    try:
        filled_in(phone, f"http://127.0.0.1:{port}")
        server.send_signal(signal.SIGKILL)
        server.wait()
        record(phone)
        expect(phone.locator("#record-answer")).to_contain_text("not certain")
        expect(phone.locator("#shell-notice")).to_contain_text("The server does not answer.")
        server = serve(sqlite_book.book, port)
        expect(phone.locator("#shell-notice")).to_have_text("")
        record(phone)
        expect(phone.locator("main h1")).to_have_text(re.compile("Recorded as entry"))
        assert len(book.story().standing) == 5
    finally:
        server.kill()
        server.wait()
