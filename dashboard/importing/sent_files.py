"""Files that were sent to be imported: each in a folder of its own, readable by who sent it, gone after a day.

They lie beside the mappings, so that every process of this machine finds them.
"""

from __future__ import annotations

import json
import os
import re
import secrets
import shutil
import sqlite3
import zipfile
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import IO, Any, Final

from dashboard.words import say
from models.errors import DriftbookError, UnreadableFileError

MOST_BYTES: Final = 8 << 20
"""Longest file that is taken here: 40,000 rows of 200 letters."""

MOST_UNFOLDED: Final = 128 << 20
"""Most that a workbook may unfold to; the directory of its archive says it, and reading it compares that with what is there."""

MOST_TEXT: Final = 64 << 20
"""Most text in all cells of a workbook: a text that is kept once may be shown in any number of them, and each takes up to five times its bytes. [byte]"""

KEPT: Final = timedelta(days=1)
MOST_WAITING: Final = 20
"""Files of one account that wait at one site; whoever sends another one then is asked to throw one away, and finished ones go."""

MOST_ROOM: Final = 1 << 30
"""Most that all files take together. [byte]"""

_LONGEST_MAPPING: Final = 1 << 20
_ABOUT, _DONE, _CORRECTED, _BY = "about.json", "done.json", "corrected", "by.txt"
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
    def at(self) -> datetime:
        """Give when it was sent."""
        return datetime.fromtimestamp((self.folder / _ABOUT).stat().st_mtime, UTC)

    @property
    def mappings(self) -> Path:
        """Give the folder of the mappings as they are, or as they were corrected for it."""
        return self.folder / "mappings"

    @property
    def before(self) -> Path:
        """Give the folder of the mappings as they were before they were corrected for it."""
        return self.folder / "before"

    def renew(self, shared: Path) -> None:
        """Take the mappings along as they are now, unless they were corrected for this file: then it has its own."""
        if (self.folder / _CORRECTED).exists():
            return
        for folder in (self.mappings, self.before):
            shutil.rmtree(folder, ignore_errors=True)
            folder.mkdir()
            for one in shared.glob("*.toml"):
                with suppress(OSError):
                    if one.is_file() and one.stat().st_size <= _LONGEST_MAPPING:
                        shutil.copyfile(one, folder / one.name)

    def go_on_from(self, earlier: SentFile) -> None:
        """Take over the mappings that were corrected for an earlier file."""
        if (earlier.folder / _CORRECTED).exists():
            for there, here in ((earlier.mappings, self.mappings), (earlier.before, self.before)):
                shutil.rmtree(here, ignore_errors=True)
                shutil.copytree(there, here)
            self.correct()

    def correct(self) -> None:
        """Keep its mappings from now on: one of them is corrected for it."""
        (self.folder / _CORRECTED).touch()

    @property
    def by(self) -> str:
        """Give the name that was typed last; empty where none was."""
        try:
            return (self.folder / _BY).read_text(encoding="utf-8")
        except OSError:
            return ""

    def say_by(self, name: str) -> None:
        """Keep the name that was typed."""
        (self.folder / _BY).write_text(name, encoding="utf-8")

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
        """Keep what was sent; it takes the place of a file of the same name that waits, for most likely that was mended.

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
            self._let_go(site_id=site_id, login=login)
            waiting = self.waiting(site_id=site_id, login=login)
            earlier = [one for one in waiting if one.path.name == shown]
            if len(waiting) - len(earlier) >= MOST_WAITING or self._size() > MOST_ROOM:
                raise DriftbookError(say("import.many"), remedy=say("import.many.remedy"))
            try:
                sent.path.parent.mkdir(parents=True)
                sent.folder.chmod(0o700)
                with sent.path.open("xb") as target:
                    shutil.copyfileobj(stream, target)
                _refuse_long(sent.path)
                sent.renew(self._mappings)
                for one in earlier:
                    sent.go_on_from(one)
                about = {"name": shown, "site": site_id, "login": login, "encoding": encoding}
                # Last, and at once: a folder without it is one of which something is missing.
                _write(sent.folder / _ABOUT, about)
                os.utime(sent.folder / _ABOUT, (self._now.timestamp(), self._now.timestamp()))  # one clock for all
            except BaseException:
                shutil.rmtree(sent.folder, ignore_errors=True)
                raise
            for one in earlier:
                with one.alone() as alone:
                    if alone:
                        self.drop(one)
        return sent

    def find(self, secret: str, *, login: str, site_id: int | None = None) -> SentFile | None:
        """Give a file that this account sent, for this site or, without one, any; ``None`` where there is none, or no more."""
        if not _NAME.fullmatch(secret):
            return None
        try:
            about = json.loads((self._folder / secret / _ABOUT).read_text(encoding="utf-8"))
            old = self._is_old(self._folder / secret)
        except (OSError, ValueError):
            return None
        site = int(about["site"])
        if old or about["login"] != login or site_id not in {None, site}:
            return None
        return SentFile(secret, self._folder / secret / "file" / about["name"], site, login, about["encoding"])

    def waiting(self, *, site_id: int, login: str) -> list[SentFile]:
        """Give the files of an account that are neither imported nor thrown away, the oldest first."""
        return [one for one in self._of(site_id=site_id, login=login) if one.done is None]

    def _of(self, *, site_id: int, login: str) -> list[SentFile]:
        found = (self.find(one.name, site_id=site_id, login=login) for one in self._kept())
        return sorted((one for one in found if one is not None), key=lambda one: one.at)

    def drop(self, sent: SentFile) -> None:
        """Throw a file away."""
        shutil.rmtree(self._folder / sent.secret, ignore_errors=True)

    def _kept(self) -> Iterator[Path]:
        if self._folder.is_dir():
            yield from (one for one in self._folder.iterdir() if _NAME.fullmatch(one.name))

    def _size(self) -> int:
        size = 0
        for one in self._folder.rglob("*"):
            with suppress(OSError):  # somebody throws it away
                size += one.stat().st_size
        return size

    def _is_old(self, folder: Path) -> bool:
        """Tell whether a file was sent more than a day ago, however often it was looked at since; or by a clock that ran ahead."""
        about = folder / _ABOUT
        written = about if about.exists() else folder
        return abs(written.stat().st_mtime - self._now.timestamp()) > KEPT.total_seconds()

    def _clear(self) -> None:
        """Throw away what is older than a day."""
        for folder in self._kept():
            with suppress(OSError):
                if self._is_old(folder):
                    shutil.rmtree(folder)

    def _let_go(self, *, site_id: int, login: str) -> None:
        """Throw the oldest finished files of an account away where it has many: nobody else is kept out by them."""
        every = self._of(site_id=site_id, login=login)
        done = [one for one in every if one.done is not None]
        for one in done[: max(0, len(every) - MOST_WAITING + 1)]:
            self.drop(one)


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
    stem = stem.encode()[:_LONGEST_STEM].decode(errors="ignore")  # what a file system takes is counted in bytes
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
