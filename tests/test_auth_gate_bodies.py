"""What is no call of a page: bodies that cannot be read, and what whoever is not signed in is told."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from dashboard.app import create_app
from dashboard.roles import UPDATE, of_callback
from models.settings import Settings
from models.store.engine import make_engine
from models.store.reader import Reader
from models.values.roles import Role
from tests.auth_book import AuthBook, open_book
from tests.conftest import NOW, make_site

DEEP = ["[" * 200_000, '{"output":' + "[" * 200_000 + "]" * 200_000 + "}", '{"a":' * 200_000 + "1" + "}" * 200_000]


@pytest.fixture
def book(sqlite_book: Settings, tmp_path: Path) -> Iterator[AuthBook]:
    made = open_book(sqlite_book, tmp_path)
    yield made
    made.engine.dispose()


@pytest.mark.parametrize("body", DEEP, ids=["open", "in a call", "objects"])
def test_json_without_end_is_a_bad_request_for_everybody(
    book: AuthBook, body: str, caplog: pytest.LogCaptureFixture
) -> None:
    for client in (book.browser(), book.signed_in(Role.ADMINISTRATOR)):
        with caplog.at_level(logging.WARNING):
            answer = client.post(UPDATE, data=body, content_type="application/json")
        assert answer.status_code == 400
        assert all(record.exc_info is None for record in caplog.records)


def test_json_without_end_is_a_bad_request_in_an_open_book(sqlite_book: Settings) -> None:
    make_site(sqlite_book)
    engine = make_engine(sqlite_book)
    client = create_app(sqlite_book, Reader(engine), clock=lambda: NOW).server.test_client()
    assert client.post(UPDATE, data=DEEP[0], content_type="application/json").status_code == 400
    engine.dispose()


def test_the_name_of_a_callback_that_is_nested_without_end_is_in_no_table() -> None:
    assert of_callback('{"type":' + "[" * 3900 + ".children") is None
    assert of_callback('{"type":' * 480 + ".children") is None


@pytest.mark.parametrize("body", [{}, {"output": "nothing-like.this"}, []])
def test_what_is_open_to_nobody_says_so_whether_somebody_is_signed_in_or_not(book: AuthBook, body: Any) -> None:
    for client in (book.browser(), book.signed_in(Role.ADMINISTRATOR)):
        answer = client.post(UPDATE, json=body)
        assert answer.status_code == 403
        assert answer.get_json()["notice"] == "This is not open to anybody, whatever their roles."
