"""Files that were sent to be imported: each in a folder of its own, readable by who sent it, gone after a day.

They lie beside the mappings, so that every process of this machine finds them.
"""

from __future__ import annotations

import json
import re
import secrets
import shutil
import sqlite3
import zipfile
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import IO, Any, Final

from dashboard.words import say
from models.errors import DriftbookError, UnreadableFileError

MOST_BYTES: Final = 8 << 20
"""Longest file that is taken here: 40,000 rows of 200 letters."""

MOST_UNFOLDED: Final = 128 << 20
"""Most that a workbook may unfold to; the directory of its archive says it, and reading it compares that with what is there."""

KEPT: Final = timedelta(days=1)
MOST_WAITING: Final = 20
"""Files of one account that wait at one site; whoever sends another one then is asked to throw one away."""

MOST_ROOM: Final = 1 << 30
"""Most that all files take together. [byte]"""

_LONGEST_MAPPING: Final = 1 << 20
_ABOUT, _DONE = "about.json", "done.json"
_LONGEST_STEM: Final = 120
_NAME: Final = re.compile(r"[A-Za-z0-9_-]{22}")
_SUFFIXES: Final = frozenset({".csv", ".tsv", ".txt", ".xlsx", ".xlsm", ".xls"})


@dataclass(frozen=True, slots=True)
class SentFile:
    """A file that was sent: under which secret, for which site, by which account (empty where nobody signs in).

    ``encoding`` is that of a CSV as it was said; empty where the file is to tell it.
    """

    secret: str
    path: Path
    site_id: int
    login: str
    encoding: str = ""

    @property
    def folder(self) -> Path:
        """Give the folder of everything about it."""
        return self.path.parent.parent

    @property
    def mappings(self) -> Path:
        """Give the folder of the mappings as they were when it was sent, and as they were corrected for it since."""
        return self.folder / "mappings"

    @property
    def before(self) -> Path:
        """Give the folder of the mappings as they were when it was sent."""
        return self.folder / "before"

    @property
    def done(self) -> dict[str, Any] | None:
        """Give what became of it; ``None`` while it waits."""
        try:
            return dict(json.loads((self.folder / _DONE).read_text(encoding="utf-8")))
        except (FileNotFoundError, ValueError):
            return None

    def finish(self, outcome: dict[str, Any]) -> None:
        """Keep what became of it."""
        _write(self.folder / _DONE, outcome)

    @contextmanager
    def alone(self) -> Iterator[bool]:
        """Give whether nobody else is importing it: a second tap must not begin a second time.

        A database of no tables is locked for it: whoever is killed holds it no more.
        """
        with closing(sqlite3.connect(self.folder / "doing", timeout=0, isolation_level=None)) as lock:
            try:
                lock.execute("BEGIN EXCLUSIVE")
            except sqlite3.OperationalError as fault:
                if fault.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY:
                    raise OSError(None, str(fault)) from fault
                yield False
            else:
                yield True

    @property
    def made(self) -> list[Path]:
        """Give the files that an import made beside it."""
        return sorted(one for one in self.path.parent.iterdir() if one != self.path)


class SentFiles:
    """The folder of them, beside the mappings.

    Parameters
    ----------
    mappings : pathlib.Path
        Where mappings are kept. [unitless]
    now : datetime.datetime
        The present moment, aware. [unitless]
    """

    def __init__(self, mappings: Path, now: datetime) -> None:
        self._mappings, self._folder, self._now = mappings, mappings / "sent", now

    def take(self, stream: IO[bytes], name: str, *, site_id: int, login: str, encoding: str = "") -> SentFile:
        """Keep what was sent.

        Raises
        ------
        UnreadableFileError
            If it is no file that is read here, or too long.
        DriftbookError
            If it cannot be kept.
        """
        shown = plain_name(name)
        if Path(shown).suffix.lower() not in _SUFFIXES:
            raise UnreadableFileError(say("import.kind", name=shown or "–"), remedy=say("import.kind.remedy"))
        secret = secrets.token_urlsafe(16)
        sent = SentFile(secret, self._folder / secret / "file" / shown, site_id, login, encoding)
        with room():
            self._clear()
            if len(self.waiting(site_id=site_id, login=login)) >= MOST_WAITING or self._size() > MOST_ROOM:
                raise DriftbookError(say("import.many"), remedy=say("import.many.remedy"))
            try:
                sent.path.parent.mkdir(parents=True)
                sent.folder.chmod(0o700)
                with sent.path.open("xb") as target:
                    shutil.copyfileobj(stream, target)
                _refuse_long(sent.path)
                for folder in (sent.mappings, sent.before):
                    self._copy_mappings(folder)
                about = {"name": shown, "site": site_id, "login": login, "encoding": encoding}
                # Last, and at once: a folder without it is one of which something is missing.
                _write(sent.folder / _ABOUT, about)
            except BaseException:
                shutil.rmtree(sent.folder, ignore_errors=True)
                raise
        return sent

    def find(self, secret: str, *, site_id: int, login: str) -> SentFile | None:
        """Give a file that this account sent for this site; ``None`` where there is none, or no more."""
        if not _NAME.fullmatch(secret):
            return None
        try:
            about = json.loads((self._folder / secret / _ABOUT).read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return None
        if (about["site"], about["login"]) != (site_id, login):
            return None
        return SentFile(secret, self._folder / secret / "file" / about["name"], site_id, login, about["encoding"])

    def waiting(self, *, site_id: int, login: str) -> list[SentFile]:
        """Give the files of an account that are neither imported nor thrown away."""
        found = (self.find(one.name, site_id=site_id, login=login) for one in self._kept())
        return sorted((one for one in found if one is not None and one.done is None), key=lambda one: one.path.name)

    def drop(self, sent: SentFile) -> None:
        """Throw a file away."""
        shutil.rmtree(self._folder / sent.secret, ignore_errors=True)

    def _copy_mappings(self, folder: Path) -> None:
        folder.mkdir()
        for one in self._mappings.glob("*.toml"):
            with suppress(OSError):
                if one.is_file() and one.stat().st_size <= _LONGEST_MAPPING:
                    shutil.copyfile(one, folder / one.name)

    def _kept(self) -> Iterator[Path]:
        if self._folder.is_dir():
            yield from (one for one in self._folder.iterdir() if _NAME.fullmatch(one.name))

    def _size(self) -> int:
        return sum(one.stat().st_size for one in self._folder.glob("*/file/*"))

    def _clear(self) -> None:
        """Throw away what is older than a day."""
        for folder in self._kept():
            with suppress(OSError):
                if folder.stat().st_mtime < (self._now - KEPT).timestamp():
                    shutil.rmtree(folder)


@contextmanager
def room() -> Iterator[None]:
    """Say in words that something could not be kept.

    Raises
    ------
    DriftbookError
        In place of what the disk says.
    """
    try:
        yield
    except OSError as fault:
        why = fault.strerror or str(fault)
        raise DriftbookError(say("import.no_room", why=why), remedy=say("import.no_room.remedy")) from fault


def plain_name(name: str) -> str:
    """Give the last part of a name without what no file system takes, at most 120 bytes; its ending stays."""
    last = re.split(r"[/\\]", name)[-1]
    kept = "".join("-" if letter in '<>:"|?*' or not letter.isprintable() else letter for letter in last).strip(" .")
    stem, dot, ending = kept.rpartition(".")
    while len(stem.encode()) > _LONGEST_STEM:  # what a file system takes is counted in bytes
        stem = stem[:-1]
    return f"{stem}{dot}{ending[:8]}" if dot else kept[:40]


def _refuse_long(path: Path) -> None:
    """Refuse what a server that others wait for should not read: a long file, and a workbook that unfolds to one."""
    size, most = path.stat().st_size, MOST_BYTES
    if size <= MOST_BYTES and zipfile.is_zipfile(path):
        with suppress(zipfile.BadZipFile), zipfile.ZipFile(path) as packed:  # what is damaged is told when it is read
            size, most = sum(part.file_size for part in packed.infolist()), MOST_UNFOLDED
    if size > most:
        raise UnreadableFileError(
            say("import.large", name=path.name, most=most >> 20), remedy=say("import.large.remedy")
        )


def _write(path: Path, content: dict[str, Any]) -> None:
    part = path.with_suffix(".part")
    part.write_text(json.dumps(content), encoding="utf-8")
    part.replace(path)
