"""A page of another edition of the program is told to be loaded again, before anything is done for it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from dashboard import edition as editions
from dashboard.edition import HEADER, edition
from models.settings import Settings
from tests.record_book import Opened, open_book

CALL = {
    "output": "..shell-content.children...shell-page.data..",
    "outputs": [{"id": "shell-content", "property": "children"}, {"id": "shell-page", "property": "data"}],
    "inputs": [{"id": "shell-url", "property": "pathname", "value": "/due"}],
    "changedPropIds": ["shell-url.pathname"],
}


@pytest.fixture
def book(sqlite_book: Settings, tmp_path: Path) -> Iterator[Opened]:
    with open_book(sqlite_book, tmp_path) as opened:
        yield opened


def call(book: Opened, said: str | None, asked: dict[str, Any] = CALL) -> Any:
    headers = {} if said is None else {HEADER: said}
    return book.app.server.test_client().post("/_dash-update-component", json=asked, headers=headers)


def test_a_page_says_of_which_edition_it_is_and_is_answered(book: Opened) -> None:
    page = book.app.server.test_client().get("/").get_data(as_text=True)
    assert f'data-edition="{edition()}"' in page
    assert call(book, edition()).status_code == 200
    assert call(book, None).status_code == 200  # a program says nothing of an edition


def test_a_page_of_another_edition_is_refused_whatever_it_asks(book: Opened) -> None:
    for said in ("0123456789abcdef", ""):
        answer = call(book, said)
        assert answer.status_code == 409
        told = answer.get_json()
        assert told["edition"] == edition()
        words = json.dumps(told["notice"])
        assert "renewed" in words
        assert "Load this page again" in words
    # Also what the new program does not know any more: otherwise the old page would be told nothing.
    assert call(book, "0123456789abcdef", {**CALL, "output": "gone-since.children"}).status_code == 409
    assert call(book, None, {**CALL, "output": "gone-since.children"}).status_code == 400


def test_other_addresses_do_not_ask_for_an_edition(book: Opened) -> None:
    client = book.app.server.test_client()
    for path in ("/", "/healthz", "/api/v1/sites", "/_dash-layout"):
        assert client.get(path, headers={HEADER: "another"}).status_code == 200, path


def test_any_change_of_what_pages_are_made_of_is_another_edition(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in (
        "dashboard/pages/month.py",
        "dashboard/assets/line.js",
        "models/units.py",
        "models/__pycache__/units.pyc",
    ):
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(name)
    monkeypatch.setattr(editions, "__file__", str(tmp_path / "dashboard" / "edition.py"))
    make = editions.edition.__wrapped__
    first = make()
    assert make() == first
    (tmp_path / "models/__pycache__/units.pyc").write_text("compiled again")
    assert make() == first
    seen = {first}
    for name in ("dashboard/pages/month.py", "dashboard/assets/line.js", "models/units.py"):
        (tmp_path / name).write_text("changed")
        seen.add(make())
    (tmp_path / "models/units.py").rename(tmp_path / "models/measures.py")
    seen.add(make())
    monkeypatch.setattr(editions, "version", lambda package: f"{package} renewed")
    seen.add(make())
    assert len(seen) == 6
