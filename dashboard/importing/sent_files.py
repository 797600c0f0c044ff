"""Files that were sent to be imported: each in a folder of its own, readable by who sent it, gone after a day.

They lie beside the mappings, so that every process of this machine finds them.
"""

from __future__ import annotations

import json
import re
import secrets
import shutil
import time
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import IO, Any, Final

from dashboard.words import say
from models.errors import BookStateError, UnreadableFileError

MOST_BYTES: Final = 8 << 20
"""Longest file that is taken here: some forty thousand jobs, which are looked through in seconds."""

MOST_UNFOLDED: Final = 128 << 20
"""Most that a workbook may unfold to; the directory of its archive says it, and reading it compares that with what is there."""

KEPT: Final = timedelta(days=1)
MOST_KEPT: Final = 40
"""Files that wait at the same time; whoever sends another one then is asked to wait."""

_GIVEN_UP_S: Final = 900.0
"""Longer than an import of the longest file, and than the wait for another one. [s]"""

_ABOUT, _DONE, _DOING = "about.json", "done.json", "doing"
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
    def done(self) -> dict[str, Any] | None:
        """Give what became of it; ``None`` while it waits."""
        try:
            return dict(json.loads((self.path.parent.parent / _DONE).read_text(encoding="utf-8")))
        except (FileNotFoundError, ValueError):
            return None

    def finish(self, outcome: dict[str, Any]) -> None:
        """Keep what became of it."""
        _write(self.path.parent.parent / _DONE, outcome)

    @contextmanager
    def alone(self) -> Iterator[bool]:
        """Give whether nobody else is importing it: a second tap must not begin a second time."""
        mark = self.path.parent.parent / _DOING
        with suppress(FileNotFoundError):
            if time.time() - mark.stat().st_mtime > _GIVEN_UP_S:
                mark.unlink()  # whoever was at it was killed; what is in the book by then is known again
        try:
            mark.touch(exist_ok=False)
        except FileExistsError:
            yield False
            return
        try:
            yield True
        finally:
            mark.unlink(missing_ok=True)

    def beside(self, name: str) -> Path | None:
        """Give a file that an import made beside it; ``None`` for any other name."""
        return next((one for one in self.path.parent.iterdir() if one.name == name and one != self.path), None)


class SentFiles:
    """The folder of them.

    Parameters
    ----------
    folder : pathlib.Path
        Where it is. [unitless]
    now : datetime.datetime
        The present moment, aware. [unitless]
    """

    def __init__(self, folder: Path, now: datetime) -> None:
        self._folder, self._now = folder, now

    def take(self, stream: IO[bytes], name: str, *, site_id: int, login: str, encoding: str = "") -> SentFile:
        """Keep what was sent.

        Raises
        ------
        UnreadableFileError
            If it is no file that is read here, or too long.
        BookStateError
            If it cannot be kept.
        """
        shown = plain_name(name)
        if Path(shown).suffix.lower() not in _SUFFIXES:
            raise UnreadableFileError(say("import.kind", name=shown or "–"), remedy=say("import.kind.remedy"))
        self._clear()
        if sum(1 for _ in self._kept()) >= MOST_KEPT:
            raise BookStateError(say("import.many"), remedy=say("import.many.remedy"))
        secret = secrets.token_urlsafe(16)
        folder = self._folder / secret
        try:
            folder.mkdir(parents=True, mode=0o700)
            (folder / "file").mkdir()
            path = folder / "file" / shown
            with path.open("xb") as target:
                shutil.copyfileobj(stream, target)
            _refuse_long(path)
            # Last, and at once: a folder without it is one of which something is missing.
            _write(folder / _ABOUT, {"name": shown, "site": site_id, "login": login, "encoding": encoding})
        except OSError as fault:
            shutil.rmtree(folder, ignore_errors=True)
            raise BookStateError(
                say("import.no_room", why=fault.strerror or ""), remedy=say("import.no_room.remedy")
            ) from fault
        except BaseException:
            shutil.rmtree(folder, ignore_errors=True)
            raise
        return SentFile(secret, path, site_id, login, encoding)

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

    def drop(self, sent: SentFile) -> None:
        """Throw a file away."""
        shutil.rmtree(self._folder / sent.secret, ignore_errors=True)

    def _kept(self) -> Iterator[Path]:
        if self._folder.is_dir():
            yield from (one for one in self._folder.iterdir() if _NAME.fullmatch(one.name))

    def _clear(self) -> None:
        """Throw away what is older than a day."""
        for folder in self._kept():
            with suppress(OSError):
                if folder.stat().st_mtime < (self._now - KEPT).timestamp():
                    shutil.rmtree(folder)


def plain_name(name: str) -> str:
    """Give the last part of a name without what no file system takes, at most 80 characters; its ending stays."""
    last = re.split(r"[/\\]", name)[-1]
    kept = "".join("-" if letter in '<>:"|?*' or not letter.isprintable() else letter for letter in last).strip(" .")
    stem, dot, ending = kept.rpartition(".")
    return f"{stem[:70]}{dot}{ending[:8]}" if dot else kept[:80]


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
