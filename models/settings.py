"""Settings: one frozen object, read once from the environment, passed down."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

DEFAULT_BOOK = "driftbook.db"


@dataclass(frozen=True, slots=True)
class Settings:
    """Where the book is, and where the confirmed mappings are kept.

    ``book`` is a path to a SQLite file or a ``postgresql://`` address.
    """

    book: str = DEFAULT_BOOK
    mappings: Path = Path("mappings")

    @property
    def is_file(self) -> bool:
        """Tell whether the book is a SQLite file."""
        return "://" not in self.book or self.book.startswith("sqlite")

    @property
    def path(self) -> Path:
        """Give the path of a SQLite book."""
        return Path(self.book.removeprefix("sqlite:///"))

    @property
    def url(self) -> str:
        """Give the address in the form that the database layer takes."""
        if self.is_file:
            return f"sqlite:///{self.path}"
        for short in ("postgresql://", "postgres://"):
            if self.book.startswith(short):
                return "postgresql+psycopg://" + self.book.removeprefix(short)
        return self.book

    @property
    def shown(self) -> str:
        """Give the address without a password, for messages."""
        if self.is_file or "@" not in self.book:
            return self.book
        scheme, _, rest = self.book.partition("://")
        return f"{scheme}://…@{rest.rpartition('@')[2]}"


def read_settings(
    book: str | None = None, mappings: str | None = None, environ: Mapping[str, str] | None = None
) -> Settings:
    """Build the settings from what was typed, then the environment, then the defaults.

    ``DRIFTBOOK_BOOK`` and ``DRIFTBOOK_MAPPINGS`` are the environment's names.  Confirmed
    mappings are kept in a folder ``mappings`` beside a SQLite book, so that they travel with it.
    """
    env = os.environ if environ is None else environ
    address = book or env.get("DRIFTBOOK_BOOK") or DEFAULT_BOOK
    here = Settings(book=address)
    folder = mappings or env.get("DRIFTBOOK_MAPPINGS")
    beside = here.path.parent / "mappings" if here.is_file else Path("mappings")
    return Settings(book=address, mappings=Path(folder) if folder else beside)
