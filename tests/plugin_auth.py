"""Fixtures of the tests of signing in: the little book with accounts, and hashing that costs nothing."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from argon2 import PasswordHasher

from models.commands import accounts_passwords
from models.settings import Settings
from tests.auth_book import AuthBook, open_book


@pytest.fixture
def cheap(monkeypatch: pytest.MonkeyPatch) -> None:
    """Make hashing quick: what is tested here is what happens around it.  The parameters in use have tests of their own."""
    light = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    nobody = light.hash("nobody at all")
    monkeypatch.setattr(accounts_passwords, "_hasher", lambda: light)
    monkeypatch.setattr(accounts_passwords, "_nobody", lambda: nobody)


@pytest.fixture
def auth_book(sqlite_book: Settings, tmp_path: Path) -> Iterator[AuthBook]:
    made = open_book(sqlite_book, tmp_path, passwords=True)
    yield made
    made.engine.dispose()
