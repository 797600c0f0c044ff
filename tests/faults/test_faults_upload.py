"""A line that breaks while a file is sent through the browser."""

from __future__ import annotations

import socket
import time
from collections.abc import Iterator
from http.client import HTTPConnection
from pathlib import Path

import pytest

from models.settings import Settings
from tests.auth_book import mark_of
from tests.browser_tools import served_app
from tests.import_page import GOOD
from tests.record_book import Opened, open_book


@pytest.fixture
def book(sqlite_book: Settings, tmp_path: Path) -> Iterator[Opened]:
    with open_book(sqlite_book, tmp_path) as opened:
        yield opened


def test_half_a_file_never_arrives_and_the_whole_one_does(book: Opened, tmp_path: Path) -> None:
    """The line breaks while a file is sent: the request has said how long it is, and is not answered before it is whole."""
    head = book.reader.head()
    with served_app(book.app) as url:
        address = ("127.0.0.1", int(url.rpartition(":")[2]))
        asked = HTTPConnection(*address)
        asked.request("GET", "/import")
        answer = asked.getresponse()
        cookie = str(answer.getheader("Set-Cookie")).partition(";")[0]
        mark = mark_of(answer.read().decode())
        asked.close()
        parts = (
            f'name="mark"\r\n\r\n{mark}',
            f'name="site"\r\n\r\n{book.site.code}',
            f'name="file"; filename="jobs.csv"\r\n\r\n{GOOD}',
        )
        body = "".join(f"--b\r\nContent-Disposition: form-data; {one}\r\n" for one in parts) + "--b--\r\n"
        said = f"POST /import HTTP/1.1\r\nHost: localhost\r\nContent-Type: multipart/form-data; boundary=b\r\nContent-Length: {len(body)}\r\nCookie: {cookie}\r\n\r\n"
        with socket.create_connection(address) as line:
            line.sendall((said + body[: len(body) - 60]).encode())
            time.sleep(0.3)
        time.sleep(0.3)
        assert not (tmp_path / "mappings" / "sent").exists()
        with socket.create_connection(address) as line:
            line.sendall((said + body).encode())
            assert line.recv(400).startswith(b"HTTP/1.1 303 ")
    assert len(list((tmp_path / "mappings" / "sent").iterdir())) == 1
    assert book.reader.head() == head, "it is only looked at"
