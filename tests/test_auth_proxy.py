"""The door as a real server: who is believed about where a request comes from, and what is refused there."""

from __future__ import annotations

import http.client
import logging
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlencode

import pytest

from dashboard.cli import main
from dashboard.front import AGAIN_S, Front, read_proxy
from dashboard.server import open_server, port_of
from models.errors import DriftbookError
from models.settings import Settings
from models.store import state
from models.values.roles import Role
from tests.auth_book import AuthBook, mark_of, open_book
from tests.conftest import NOW

ANYWHERE = "0.0.0.0"  # noqa: S104 - where a server listens that others reach
FORWARDED = {"X-Forwarded-For": "203.0.113.9", "X-Forwarded-Proto": "https"}


@pytest.fixture
def book(sqlite_book: Settings, tmp_path: Path) -> Iterator[AuthBook]:
    made = open_book(sqlite_book, tmp_path)
    yield made
    made.engine.dispose()


@contextmanager
def served(book: AuthBook, proxy: str | None) -> Iterator[int]:
    server = open_server(book.app, "127.0.0.1", 0, proxy=proxy)
    threading.Thread(target=server.run, daemon=True).start()
    yield port_of(server)
    # The thread ends with the process: waitress has no way to stop a loop that runs in another thread.


def asked(port: int, method: str, path: str, headers: dict[str, str], body: str = "") -> tuple[int, str, list[str]]:
    connection = http.client.HTTPConnection("localhost", port, timeout=20)
    try:
        if body:
            headers = headers | {"Content-Type": "application/x-www-form-urlencoded"}
        connection.request(method, path, body=body or None, headers=headers)
        answer = connection.getresponse()
        cookies = [value for name, value in answer.getheaders() if name.lower() == "set-cookie"]
        return answer.status, answer.read().decode("utf-8", "replace"), cookies
    finally:
        connection.close()


@pytest.mark.parametrize("proxy", ["127.0.0.1", "192.0.2.1", None], ids=["the proxy", "another", "none"])
def test_only_the_proxy_is_believed(book: AuthBook, proxy: str | None) -> None:
    with served(book, proxy) as port:
        _, page, cookies = asked(port, "GET", "/sign-in", FORWARDED)
        sent = FORWARDED | {"Cookie": cookies[0].partition(";")[0]}
        form = urlencode({"mark": mark_of(page), "login": "eng.lund", "password": "wrong"})
        assert asked(port, "POST", "/sign-in", sent, form)[0] == 401
    with book.engine.connect() as connection:
        tried = state.tries(connection, since=NOW.replace(year=2020))[0]
    believed = proxy == "127.0.0.1"
    assert tried.address == ("203.0.113.9" if believed else "127.0.0.1")
    assert cookies[0].startswith("__Host-") == believed
    assert ("Secure" in cookies[0]) == believed


@pytest.mark.parametrize(
    ("typed", "host", "read"),
    [
        ("127.0.0.1", "127.0.0.1", "127.0.0.1"),
        ("10.75.0.10", ANYWHERE, "10.75.0.10"),
        ("127.0.0.1", "localhost", "127.0.0.1"),
        ("[0:0:0:0:0:0:0:1]", "::", "::1"),
        ("::ffff:10.75.0.10", ANYWHERE, "10.75.0.10"),
        ("10.75.0.10", "book.internal", "10.75.0.10"),
        ("localhost", "127.0.0.1", None),
        ("front", ANYWHERE, None),
        ("*", ANYWHERE, None),
        ("", ANYWHERE, None),
        ("10.0.0.0/8", ANYWHERE, None),
        ("127.0.0.1:8080", "127.0.0.1", None),
        (ANYWHERE, ANYWHERE, None),
        ("::1", "127.0.0.1", None),
        ("127.0.0.1", "::", None),
        ("10.75.0.10", "127.0.0.1", None),
        ("127.0.0.1", "10.75.0.4", None),
    ],
)
def test_an_address_that_no_request_can_come_from_is_refused(typed: str, host: str, read: str | None) -> None:
    """Whom nothing matches nobody is: all would come in as from this machine, over http."""
    if read is not None:
        assert read_proxy(typed, host) == read
        return
    with pytest.raises(DriftbookError) as refused:
        read_proxy(typed, host)
    assert "--proxy 127.0.0.1" in refused.value.remedy


def test_serve_says_what_to_give_instead_of_a_name(sqlite_book: Settings, capsys: pytest.CaptureFixture[str]) -> None:
    typed = ["serve", "--book", sqlite_book.book, "--port", "0", "--name", "book.example.net", "--proxy", "localhost"]
    assert main(typed) == 2
    assert "--proxy takes one IP address, and 'localhost' is none." in capsys.readouterr().err


@pytest.mark.parametrize(
    "said", [{"X-Forwarded-Proto": "https"}, {"Via": "1.1 front"}, {"Forwarded": "for=203.0.113.9"}]
)
def test_the_figures_are_for_nobody_who_comes_through_a_server_in_front(book: AuthBook, said: dict[str, str]) -> None:
    """Also one that is not believed, or that leaves out who asks: it comes from this machine."""
    with served(book, "127.0.0.1") as port:
        assert asked(port, "GET", "/metrics", {})[0] == 200
        assert asked(port, "GET", "/metrics", said)[0] == 404


def test_a_server_in_front_that_is_not_believed_is_told_once_in_a_while(caplog: pytest.LogCaptureFixture) -> None:
    now = [0.0]
    front = Front(lambda environ, _start: environ, "10.75.0.10", lambda: now[0])
    passed_on = {"HTTP_X_FORWARDED_PROTO": "https"}
    front(passed_on | {"REMOTE_ADDR": "10.75.0.10"}, None)
    front({"REMOTE_ADDR": "10.75.0.11"}, None)
    assert caplog.records == []
    for now[0] in (1.0, 2.0, 1.0 + AGAIN_S):
        front(passed_on | {"REMOTE_ADDR": "10.75.0.11"}, None)
    assert len(caplog.records) == 2
    assert "A request from 10.75.0.11 " in caplog.text
    assert "--proxy names 10.75.0.10: it is not believed" in caplog.text


def test_of_a_method_or_a_path_that_nobody_could_mean_the_beginning_is_looked_at() -> None:
    front = Front(lambda environ, _start: environ, None)
    seen = front({"REQUEST_METHOD": "A" * 30_000, "PATH_INFO": "/" + "1" * 30_000}, None)
    assert {name: len(text) for name, text in seen.items()} == {"REQUEST_METHOD": 20, "PATH_INFO": 2_000}


def test_trace_is_refused(book: AuthBook) -> None:
    with served(book, None) as port:
        status, body, _ = asked(port, "TRACE", "/", {"X-Told": "secret"})
    assert status in {401, 405, 501}
    assert "secret" not in body


def test_a_request_that_is_too_long_is_refused_and_the_server_lives(book: AuthBook) -> None:
    with served(book, None) as port:
        long = "a" * (13 << 20)  # more than the server takes at all: it is listened to and not kept
        status, page, _ = asked(port, "POST", "/sign-in", {"Accept": "text/html"}, long)
        assert (status, "<h1>That is too long</h1>" in page) == (413, True)
        assert "What was sent has 13.0 MB; up to 4 MB are read here." in page
        # Who asks before sending is told no, and sends nothing.
        ahead = {"Expect": "100-continue", "Content-Length": str(1 << 40)}
        assert asked(port, "POST", "/sign-in", ahead, "")[0] == 413
        assert asked(port, "GET", "/", {"X-Long": "a" * (64 << 10)})[0] in {400, 431}
        assert asked(port, "GET", "/healthz", {})[0] == 200


def test_a_file_that_is_too_long_is_told_with_what_to_do_and_a_script_in_json(book: AuthBook) -> None:
    client = book.signed_in(Role.ENGINEER)
    long = {"environ_overrides": {"driftbook.too_long": 20 << 20, "CONTENT_LENGTH": str(20 << 20)}}
    page = client.post("/import?site=quay", headers={"Accept": "text/html"}, **long)  # type: ignore[arg-type]
    assert (page.status_code, "20.0 MB; a file of up to 8 MB" in page.text) == (413, True)
    assert "driftbook import FILE" in page.text
    told = client.post("/_dash-update-component", headers={"Content-Type": "application/json"}, **long)  # type: ignore[arg-type]
    assert (told.status_code, told.get_json()) == (
        413,
        {"notice": "What was sent has 20.0 MB; up to 4 MB are read here. Nothing was done with it."},
    )


def test_what_is_refused_is_logged(book: AuthBook, caplog: pytest.LogCaptureFixture) -> None:
    client = book.signed_in(Role.READER)
    with caplog.at_level(logging.WARNING, logger="driftbook.door"):
        assert client.get("/accounts").status_code == 403
    assert "refused: GET /accounts for rea.dee" in caplog.text
