"""Settings: one frozen object, read once from the environment, passed down."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path

from models.errors import InvalidValueError

DEFAULT_BOOK = "driftbook.db"

CACHE_OFF = "off"
"""The setting of the cache by which nothing is kept."""


@dataclass(frozen=True, slots=True)
class Pool:
    """Connections that one process keeps to a database server: kept open, more at need, and how long is waited for one.

    A connection older than ``renew_s`` is replaced before it is used.
    """

    size: int = 8
    extra: int = 4
    wait_s: int = 15
    renew_s: int = 1800


@dataclass(frozen=True, slots=True)
class Settings:
    """Where the book is, and where the confirmed mappings are kept.

    ``book`` is a path to a SQLite file or a ``postgresql://`` address; ``read_from`` the address of
    a streaming replica of it from which pages that only show are read, empty for none.
    """

    book: str = DEFAULT_BOOK
    mappings: Path = Path("mappings")
    key: Path | None = None
    cache: str = ""
    pool: Pool = Pool()
    read_from: str = ""

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
    def replica(self) -> Settings | None:
        """Give where the replica of the book is; ``None`` where there is none.

        Raises
        ------
        InvalidValueError
            If the book is a file, or the replica is said to be one.
        """
        if not self.read_from:
            return None
        there = replace(self, book=self.read_from, read_from="")
        if self.is_file or there.is_file:
            raise InvalidValueError(
                "Only a book on PostgreSQL has a replica, and that is on PostgreSQL too.",
                remedy="Leave DRIFTBOOK_READ_FROM out, or give both addresses as postgresql://…",
            )
        return there

    @property
    def cache_folder(self) -> Path | None:
        """Give the folder for what is kept of large books between two starts; ``None`` where nothing is to be kept.

        Beside a SQLite book, or in the user's own cache for a book on a server, unless a folder is named.
        """
        if self.cache == CACHE_OFF:
            return None
        if self.cache:
            return Path(self.cache)
        if self.is_file:
            return self.path.with_name(f"{self.path.name}.cache")
        home = os.environ.get("XDG_CACHE_HOME")
        own = Path(home) if home else Path("~/.cache").expanduser()
        return own / "driftbook" / sha256(self.shown.encode()).hexdigest()[:16]

    @property
    def key_path(self) -> Path:
        """Give the file with the key that signs the heads: beside a SQLite book unless another is named."""
        if self.key is not None:
            return self.key
        return self.path.with_name(f"{self.path.name}.key") if self.is_file else Path("driftbook.key")

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

    ``DRIFTBOOK_BOOK``, ``DRIFTBOOK_MAPPINGS`` and ``DRIFTBOOK_KEY`` are the environment's names.  Confirmed
    mappings are kept in a folder ``mappings`` beside a SQLite book, so that they travel with it.
    ``DRIFTBOOK_CACHE`` is a folder for what is kept of large books between two starts, or ``off``.
    ``DRIFTBOOK_READ_FROM`` is the address of a streaming replica from which pages that only show are read.
    ``DRIFTBOOK_POOL_SIZE``, ``…_EXTRA``, ``…_WAIT_S`` and ``…_RENEW_S`` set the connections to a database server.

    Raises
    ------
    InvalidValueError
        If a number of the environment is none.
    """
    env = os.environ if environ is None else environ
    address = book or env.get("DRIFTBOOK_BOOK") or DEFAULT_BOOK
    here = Settings(book=address)
    folder = mappings or env.get("DRIFTBOOK_MAPPINGS")
    key = env.get("DRIFTBOOK_KEY")
    beside = here.path.parent / "mappings" if here.is_file else Path("mappings")
    return Settings(
        book=address,
        mappings=Path(folder) if folder else beside,
        key=Path(key) if key else None,
        cache=env.get("DRIFTBOOK_CACHE", "").strip(),
        pool=_pool(env),
        read_from=env.get("DRIFTBOOK_READ_FROM", "").strip(),
    )


def _pool(env: Mapping[str, str]) -> Pool:
    given: dict[str, int] = {}
    for name, least in (("size", 1), ("extra", 0), ("wait_s", 1), ("renew_s", 1)):
        variable = f"DRIFTBOOK_POOL_{name.upper()}"
        text = env.get(variable, "").strip()
        if not text:
            continue
        if not (text.isascii() and text.isdigit() and least <= int(text) <= 1_000_000):
            raise InvalidValueError(
                f"{variable} is '{text}', which is no whole number from {least} on.",
                remedy=f"Set {variable} to a number, or leave it out (the rule is {getattr(Pool(), name)}).",
            )
        given[name] = int(text)
    return Pool(**given)
