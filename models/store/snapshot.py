"""A disposable copy of a large history on disk, so that a restart does not read the whole book.

It lies in a folder of its own, is bound to the book by its last entry, and bears
checksums: what does not fit is thrown away, and the book is read.  (Who may write into
the folder could make checksums too; the folder is for the server's own user.)
A snapshot is written under a passing name and renamed when it is whole.  That it
cannot be written (a folder that may only be read, a full disk) is no error.
"""

from __future__ import annotations

import hashlib
import json
import logging
import secrets
import shutil
import time
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from models.history.engine import Study
from models.store import arrays
from models.store.columns import Held
from models.store.entry_columns import EntryColumns
from models.tables.book import EntryRow
from models.tables.jobs import JobRow

LOG = logging.getLogger("driftbook.snapshot")

FORMAT = 2
FEWEST_JOBS = 20_000
"""A history of fewer jobs is read in a moment and never kept."""

MOST_BYTES = 8 << 30
"""A longer snapshot is not kept; one of ten million jobs and their study takes 6.2 GB. [byte]"""

PASSING_S = 3600.0
"""A passing folder that is older was left behind by a process that was killed. [s]"""

SHARE = 100
"""A snapshot is written anew when more than one in so many entries is not in it."""


@dataclass(frozen=True, slots=True)
class Kept:
    """What a snapshot holds, all up to the same entry: a history, what it says where that was known, and what was worked out of both.

    ``derived`` are pairs of a key and a value; ``entries`` are those of the site.
    """

    held: Held
    study: Study | None
    derived: tuple[tuple[Any, Any], ...] = ()
    entries: EntryColumns | None = None


class Snapshots:
    """The snapshots of one book in one folder."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def load(self, connection: sa.Connection, site_id: int, head: int) -> Kept | None:
        """Give the latest snapshot of a site that fits the book; ``None`` without one.

        Parameters
        ----------
        connection : sqlalchemy.Connection
            A connection to the book. [unitless]
        site_id : int
            The site. [unitless]
        head : int
            Number of the last entry of the book. [unitless]
        """
        for found, path in self._all(site_id):
            try:
                if found <= head and (kept := self._read(connection, path, site_id, found)) is not None:
                    return kept
            except (OSError, ValueError, KeyError, arrays.UnfitError) as fault:
                LOG.info("snapshot %s does not fit: %s", path.name, fault)
            _remove(path)
        return None

    def _read(self, connection: sa.Connection, path: Path, site_id: int, head: int) -> Kept | None:
        meta = arrays.load(path / "meta.json")
        if meta["format"] != FORMAT or meta["code"] != code() or meta["bound"] != bound(connection, site_id, head):
            return None
        kept = arrays.read(path, meta["tree"])
        if not isinstance(kept, Kept) or kept.held.history.head != head:
            return None
        return kept

    def wanted(self, site_id: int, kept: Kept) -> bool:
        """Tell whether a snapshot is worth writing: none is there, or it lacks much, or it lacks the study."""
        jobs, head = len(kept.held.history.jobs), kept.held.history.head
        if jobs < FEWEST_JOBS:
            return False
        found = self._all(site_id)
        if not found:
            return True
        last, path = found[0]
        if (head - last) * SHARE > head:
            return True
        return kept.study is not None and not (path / "study").exists()

    def save(self, connection: sa.Connection, site_id: int, kept: Kept) -> bool:
        """Write a snapshot in the place of older ones; tell whether that went.

        Parameters
        ----------
        connection : sqlalchemy.Connection
            A connection to the book. [unitless]
        site_id : int
            The site. [unitless]
        kept : Kept
            What to keep. [unitless]
        """
        head = kept.held.history.head
        passing = self._folder / f"passing-{secrets.token_hex(6)}"
        target = self._folder / f"site-{site_id}-{head}{'-study' if kept.study is not None else ''}"
        try:
            self._tidy()
            passing.mkdir(parents=True)
            tree, length = arrays.write(passing, kept)
            if length > MOST_BYTES:
                raise OSError(f"{length} bytes are more than are kept")  # noqa: TRY301
            meta = {"format": FORMAT, "code": code(), "bound": bound(connection, site_id, head), "tree": tree}
            arrays.dump(passing / "meta.json", meta)
            if kept.study is not None:
                (passing / "study").touch()
            older = [path for _, path in self._all(site_id)]
            passing.rename(target)
        except OSError as fault:
            LOG.info("no snapshot is kept in %s: %s", self._folder, fault)
            _remove(passing)
            return False
        for path in older:
            if path != target:
                _remove(path)
        return True

    def _all(self, site_id: int) -> list[tuple[int, Path]]:
        """Give the snapshots of a site with their heads, the latest first, and of one head that with a study."""
        found = []
        try:
            for path in self._folder.glob(f"site-{site_id}-*"):
                number = path.name.split("-")[2]
                if number.isdigit():
                    found.append((int(number), path))
        except OSError:
            return []
        return sorted(found, key=lambda one: (one[0], one[1].name), reverse=True)

    def _tidy(self) -> None:
        for path in self._folder.glob("passing-*"):
            if abs(time.time() - path.stat().st_mtime) > PASSING_S:
                _remove(path)


def bound(connection: sa.Connection, site_id: int, head: int) -> str:
    """Give a digest of what a snapshot must agree with: its site, the book's first and the snapshot's last entry, the jobs up to it.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    site_id : int
        The site. [unitless]
    head : int
        Number of the last entry in the snapshot. [unitless]
    """
    table = EntryRow.__table__
    rows = connection.execute(sa.select(table).where(table.c.number.in_([1, head])).order_by(table.c.number)).all()
    counted = sa.select(sa.func.count()).select_from(JobRow).where(JobRow.site_id == site_id, JobRow.entry <= head)
    jobs = connection.execute(counted).scalar_one()
    said: list[Any] = [site_id, head, jobs, [[str(value) for value in row] for row in rows]]
    return hashlib.sha256(json.dumps(said).encode()).hexdigest()


@cache
def code() -> str:
    """Give a digest of the code that makes a history and a study: another code could make other numbers."""
    digest = hashlib.sha256()
    here = Path(__file__).parent
    makers = [here / name for name in ("arrays.py", "columns.py", "entry_columns.py", "growth.py", "snapshot.py")]
    for folder in ("history", "maths"):
        makers += sorted((here.parent / folder).glob("*.py"))
    for path in makers:
        digest.update(path.read_bytes())
    return digest.hexdigest()


def _remove(path: Path) -> None:
    shutil.rmtree(path, ignore_errors=True)
