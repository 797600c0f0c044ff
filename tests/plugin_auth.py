"""The fixture of the tests of signing in: the little book with accounts."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from models.settings import Settings
from tests.auth_book import AuthBook, open_book


@pytest.fixture
def auth_book(sqlite_book: Settings, tmp_path: Path) -> Iterator[AuthBook]:
    made = open_book(sqlite_book, tmp_path, passwords=True)
    yield made
    made.engine.dispose()
