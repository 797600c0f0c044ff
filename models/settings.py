"""Settings: one frozen object, read once from the environment, passed down."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from hashlib import sha256
from pathlib import Path
from urllib.parse import quote, unquote

from models.errors import InvalidValueError

DEFAULT_BOOK = "driftbook.db"

SERVERS = ("postgresql://", "postgres://", "postgresql+psycopg://")
"""How the address of a book on a database server begins."""

_FILE = "sqlite:///"

_ADDRESS = re.compile(r"[A-Za-z][A-Za-z0-9+.-]+://")
"""A letter before the colon is no scheme but a drive of Windows."""

# What begins like an address and is none would make a new and empty book in a file of that name.
_NEARLY = re.compile(
    r"(?i)[a-z][a-z0-9+.-]+:/"  # one slash too few
    r"|(postgres|postgresql|sqlite|file|https?|mysql|mariadb)(\+\w+)?(:|;|//)"
    r"|[^/.]*//[^/]*:[^/]*@|[^/:]+:[^/\\@][^/@]*@"  # a user and a password; behind the colon of a drive comes a stroke
    r"|.*\bpassword\s*="  # the words of PostgreSQL's client library: host=… password=…
)

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
    path: Path = field(init=False, compare=False)
    """The file of a SQLite book itself, found once: where the book is called by a link, that to which it leads.

    All that belongs to a book lies beside it: SQLite's own files, key, cache, mappings, copies.
    """

    def __post_init__(self) -> None:
        """Follow a link to the file of the book, which need not be there yet."""
        object.__setattr__(self, "path", _file_itself(self.named))

    @property
    def is_file(self) -> bool:
        """Tell whether the book is a SQLite file."""
        return "://" not in self.book or self.book.startswith("sqlite")

    @property
    def named(self) -> Path:
        """Give the path by which a SQLite book was called: it may be a link, and may lead to another file by now."""
        return Path(self.book.removeprefix(_FILE))

    @property
    def url(self) -> str:
        """Give the address in the form that the database layer takes; of a file only to be compared, for a path may hold any sign."""
        if self.is_file:
            return f"{_FILE}{self.path}"
        scheme, _, rest = self.book.partition("://")
        return f"postgresql+psycopg://{_hosts_behind(rest)}" if f"{scheme}://" in SERVERS else self.book

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
        if self.is_file:
            return self.book
        scheme, _, rest = self.book.partition("://")
        if "password" in rest.partition("?")[2]:
            rest = rest.partition("?")[0]
        if "@" not in rest:
            return f"{scheme}://{rest}"
        return f"{scheme}://…@{rest.rpartition('@')[2]}"


def is_address(text: str) -> bool:
    """Tell whether a text is an address, or nearly one: no name of a file, and a password may stand in it."""
    text = text.strip()
    return bool(_ADDRESS.match(text) or _NEARLY.match(text))


def _file_itself(named: Path) -> Path:
    """Give the file to which a path leads; the path as it is where it is no link.

    A link to the folder changes nothing of what lies beside: such a path stays as short, and as relative, as it was typed.
    """
    try:
        return named.resolve() if named.is_symlink() else named
    except (OSError, RuntimeError, ValueError):  # a circle of links, or no path at all: told when it is opened
        return named


def read_address(text: str, name: str = "--book") -> str:
    """Read where a book is: a path, or an address of a kind that is known here.

    Parameters
    ----------
    text : str
        What was typed, or stands in the environment; it may hold a password, and is not repeated. [unitless]
    name : str
        How it was given, for the message. [unitless]

    Raises
    ------
    InvalidValueError
        If it is nearly an address, of another kind of database, or the path of a folder.
    """
    if _ADDRESS.match(text):
        scheme, _, rest = text.partition("://")
        address = f"{scheme.lower()}://{rest}"
        if address.startswith(SERVERS):
            _check_server(rest, name)
            return address
        if not address.startswith(_FILE):
            what = "sqlite:// with two strokes" if scheme.lower() == "sqlite" else f"{scheme}://"
            raise InvalidValueError(f"{name} begins with {what}: no book is there.", remedy=_HOW)
        path = address.removeprefix(_FILE)
        if not path or "?" in path:
            raise InvalidValueError(f"{name} begins with {_FILE} and is no plain path after that.", remedy=_HOW)
        text = address
    elif _NEARLY.match(text):
        raise InvalidValueError(
            f"{name} begins like an address, and is none: a file of that name would be made. Nothing was opened.",
            remedy=f"{_HOW} A file of such a name: write ./ before it.",
        )
    if Path(text.removeprefix(_FILE)).is_dir():
        raise InvalidValueError(
            f"{text} is a folder; a book is a file.", remedy=f"Name the file in it: {name} FOLDER/plant.db"
        )
    return text


def _check_server(rest: str, name: str) -> None:
    """Refuse what cannot be an address of a server; what follows its first ``//`` may hold a password, and is not repeated."""
    parts = _SERVER.fullmatch(rest)
    host, port, base = ("@", "", "") if parts is None else (parts[1] or "", parts[2] or "", parts[3] or "")
    if "@" in host or "@" in base:
        raise InvalidValueError(
            f"{name} is no address of a server: it cannot be told where its password ends.", remedy=ESCAPED
        )
    hosts = f"{host}:{port}" if port else host
    if not all(_is_host(one) for one in hosts.split(",")):
        raise InvalidValueError(
            f"{name}: what stands behind the colon of the server is no port (1 to 65535).", remedy=f"{_HOW} {ESCAPED}"
        )


ESCAPED = "In the address @ : / % of a password are written %40 %3A %2F %25."
"""How a password stands in an address."""

_SERVER = re.compile(r"(?:[^:/@]*(?::[^@]*)?@)?(\[[^/?]+\]|[^/:?]+)?(?::([^/?]*))?(?:/([^?]*))?(?:\?.*)?")
"""User and password, then host, port and database, as the database layer takes an address apart."""

_HOST = re.compile(r"(\[[^\]]*\]|[^:\[\]]*)(?::([^:]*))?")
"""One of the hosts of an address, and its port."""

_SEVERAL = re.compile(r"((?:[^:/@]*(?::[^@]*)?@)?)([^/?@]*[,%][^/?@]*)((?:/[^?]*)?)(?:\?(.*))?")
"""User and password, several hosts or one that is a folder, database, options."""


def _is_host(text: str) -> bool:
    """Tell whether a text is a host, or one with its port."""
    parts = _HOST.fullmatch(text)
    port = "" if parts is None else parts[2] or ""
    return parts is not None and (not port or (port.isascii() and port.isdigit() and 0 < int(port) <= 65_535))


def _hosts_behind(rest: str) -> str:
    """Write several hosts, or the folder of a socket, as options behind an address.

    The client library of PostgreSQL takes them in the place of the host (``h1:5432,h2:5432``, ``%2Frun%2Fpostgresql``), the database layer
    only there.
    """
    parts = _SEVERAL.fullmatch(rest)
    hosts = [] if parts is None else [_HOST.fullmatch(one) for one in parts[2].split(",")]
    if parts is None or None in hosts:
        return rest
    named = [(unquote(one[1]).strip("[]"), one[2] or "") for one in hosts if one is not None]
    options = f"host={quote(','.join(host for host, _ in named), safe=',')}"
    if any(port for _, port in named):
        options += f"&port={','.join(port for _, port in named)}"
    return f"{parts[1]}{parts[3] or '/'}?{options}{f'&{parts[4]}' if parts[4] else ''}"


_HOW = (
    "Write postgresql://USER@HOST/DATABASE for a book on PostgreSQL (with a socket in the place of the host: "
    "postgresql://USER@/DATABASE?host=/run/postgresql), or the path of its file: plant.db"
)


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
        If a number of the environment is none, an address is no address, or the key is a folder.
    """
    env = os.environ if environ is None else environ
    address = read_address(book) if book else read_address(env.get("DRIFTBOOK_BOOK") or DEFAULT_BOOK, "DRIFTBOOK_BOOK")
    here = Settings(book=address)
    folder = mappings or env.get("DRIFTBOOK_MAPPINGS")
    key = env.get("DRIFTBOOK_KEY")
    for name in ("DRIFTBOOK_MAPPINGS", "DRIFTBOOK_KEY", "DRIFTBOOK_CACHE"):
        if is_address(env.get(name, "")):  # folders would be made that have its password in their names
            raise InvalidValueError(
                f"{name} is an address, where a file or folder belongs.",
                remedy=f"Name the file or folder: {name}=PATH. The address of the book stands in DRIFTBOOK_BOOK.",
            )
    if key and Path(key).is_dir():
        raise InvalidValueError(
            f"DRIFTBOOK_KEY is {key}, and that is a folder.",
            remedy="Name the file of the key: DRIFTBOOK_KEY=FOLDER/NAME.key",
        )
    beside = here.path.parent / "mappings" if here.is_file else Path("mappings")
    replica = env.get("DRIFTBOOK_READ_FROM", "").strip()
    return Settings(
        book=address,
        mappings=Path(folder) if folder else beside,
        key=Path(key) if key else None,
        cache=env.get("DRIFTBOOK_CACHE", "").strip(),
        pool=_pool(env),
        read_from=read_address(replica, "DRIFTBOOK_READ_FROM") if replica else "",
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
