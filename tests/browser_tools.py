"""A real browser and the reader in this process: what the browser tests share.

``DRIFTBOOK_BROWSER`` names the browser's program; else Chromium (first the one without windows) or Chrome of the
system is taken, else the one that the browser tool installed itself.
"""

from __future__ import annotations

import os
import shutil
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from urllib.parse import urlsplit

import dash
import pytest
from playwright.sync_api import BrowserContext, Page, Route, ViewportSize

from dashboard.app import create_app
from dashboard.server import open_server, port_of
from models.settings import Settings
from tests.browser_path import NAMES
from tests.history_maker import NOW, MadeBook

FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--process-per-site",
    "--js-flags=--no-flush-bytecode",
    "--disable-features=ScriptStreaming",
]
"""What the browser is started with: with the last three a page runs what another page of the same reader has compiled, and takes half the processor's time."""

WIDE, NARROW = ViewportSize(width=1440, height=900), ViewportSize(width=390, height=844)

LOOKS = pytest.mark.parametrize(
    ("viewport", "scheme"), [(WIDE, "light"), (NARROW, "dark")], ids=["wide-light", "narrow-dark"]
)
"""Colours go by scheme and places by width: two of the four looks hold both schemes and both widths."""


def walked(paths: Iterable[str], viewport: ViewportSize) -> list[str]:
    """Give the pages that are looked through in a look: every second in one, the others in the other.

    ``DRIFTBOOK_TEST_EVERY_PAGE`` gives all in both, which takes twice as long: set it before a release.
    """
    every = list(paths)
    return every if os.environ.get("DRIFTBOOK_TEST_EVERY_PAGE") else every[viewport is NARROW :: 2]


Opened = Callable[..., Page]
Readers = Callable[[ViewportSize, str, str], BrowserContext]

CALLS = "**/_dash-update-component*"
"""Addresses of what a page asks its server."""


def held_back(page: Page, told: str) -> list[Route]:
    """Hold the answers to calls back whose body says ``told``; gives what is held, which the test lets go."""
    held: list[Route] = []

    def either(route: Route) -> None:
        if told in (route.request.post_data or ""):
            held.append(route)
        else:
            route.continue_()

    page.route(CALLS, either)
    return held


def browser_program() -> str | None:
    """Give the program of a browser of this system; ``None`` where the browser tool shall take its own."""
    found = (shutil.which(name) for name in NAMES)
    return os.environ.get("DRIFTBOOK_BROWSER") or next((path for path in found if path), None)


@contextmanager
def served(book: MadeBook) -> Iterator[str]:
    """Serve a book in this process on a free port, and give the address."""
    with served_app(create_app(Settings(book="x.book"), book, clock=lambda: NOW)) as url:
        yield url


@contextmanager
def served_app(app: dash.Dash) -> Iterator[str]:
    """Serve an application in this process on a free port, and give the address."""
    server = open_server(app, "127.0.0.1", 0)
    threading.Thread(target=server.run, daemon=True).start()
    yield f"http://127.0.0.1:{port_of(server)}"
    # The thread ends with the process: waitress has no way to stop a loop that runs in another thread.


class Watch:
    """What went wrong on a page: errors, and requests that left this machine."""

    def __init__(self, page: Page) -> None:
        self.seen: list[str] = []
        page.on("pageerror", lambda error: self.seen.append(f"error: {error}"))
        page.on(
            "console", lambda message: self.seen.append(message.text) if message.type in {"error", "warning"} else None
        )
        page.on("request", lambda request: self._request(request.url))
        page.on("popup", lambda popup: self.seen.append(f"a window opened: {popup.url}"))

    def _request(self, url: str) -> None:
        parts = urlsplit(url)
        if parts.scheme not in {"data", "blob"} and parts.hostname != "127.0.0.1":
            self.seen.append(f"a request left this machine: {url}")


def leave(page: Page) -> None:
    """Close a page; nothing that was chosen on it or typed into it stays for the next one."""
    page.evaluate("localStorage.clear()")
    page.context.clear_cookies()
    page.close()
