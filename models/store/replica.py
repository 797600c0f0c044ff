"""A streaming replica that is read in place of the book's own server: how far it has come, and whether it may be used.

A replica is a copy of the very same server, some moments behind.  It is used
only while it answers, is in recovery (is a replica), and is a beginning of this
book: its newest head of the tree is one that the book's own server has kept with
the same root.  Anything else is logged, and pages are read from the book's own
server until it holds again.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import sqlalchemy as sa

from models.errors import DriftbookError
from models.settings import Settings
from models.store.engine import REPLICA_S, make_engine
from models.store.reader import Reader
from models.store.revision import revision_of
from models.store.silence import Attention
from models.tables.proofs import TreeHeadRow

LOG = logging.getLogger("driftbook.replica")

AGAIN_S = 5.0
"""A replica that could not be used is tried again no sooner. [s]"""

_CONFLICT = ("40001", "57014")
"""A question that stood in the way of what the replica had to take over: the replica itself is well."""

_ASKED = sa.text("SELECT pg_is_in_recovery(), (SELECT max(number) FROM entry)")


@dataclass(frozen=True, slots=True)
class Standing:
    """How far a replica has come: its last entry, and that of the book; ``newest`` is ``None`` where the book's own server does not answer."""

    head: int
    newest: int | None

    @property
    def behind(self) -> bool:
        """Tell whether the book has entries that the replica lacks, as far as is known."""
        return self.newest is not None and self.newest > self.head


class NoReplicaError(DriftbookError):
    """What answers at the address of the replica is none of this book."""


class ReplicaBook(Reader):
    """The book as the replica has it; secret addresses, which may have been ended, and the engine are those of the book itself."""

    def __init__(self, engine: sa.Engine, cache: Path | None, main: Reader) -> None:
        super().__init__(engine, cache)
        self._main = main

    @property
    def engine(self) -> sa.Engine:
        """Give the engine of the book's own server: what asks for it may go on to write."""
        return self._main.engine

    def calendar_site(self, secret: str) -> int | None:
        """Give the site whose calendar a secret address shows, as the book's own server knows it."""
        return self._main.calendar_site(secret)


class Replica:
    """A replica of a book; safe for several threads.

    ``faults`` counts what went wrong on it, so that a request in which something did can be answered once more.
    """

    def __init__(self, main: Reader, there: Settings, clock: Callable[[], float] = time.monotonic) -> None:
        self.shown = there.shown
        self._main, self._clock = main, clock
        self._engine = make_engine(there, replica=True)
        Attention(self._engine, REPLICA_S)
        self.book = ReplicaBook(self._engine, there.cache_folder, main)
        self.faults = 0
        self._trying = threading.Lock()
        self._used = False
        self._not_before = 0.0
        self._said = ""
        self._seen = 0
        sa.event.listen(self._engine, "handle_error", self._notice)

    def look(self) -> Standing | None:
        """Give how far the replica has come; ``None`` while it cannot be used."""
        if not self._used and not self._admitted():
            return None
        newest = self._newest()
        try:
            head = self._head()
        except (DriftbookError, sa.exc.SQLAlchemyError) as fault:
            self._leave(fault)
            return None
        return Standing(head, None if newest is None else max(newest, head))

    def wait_for(self, entry: int, upto_s: float) -> Standing | None:
        """Wait a moment for the replica to take an entry over, and give how far it has come.

        Parameters
        ----------
        entry : int
            The entry. [unitless]
        upto_s : float
            How long at most. [s]
        """
        until = self._clock() + upto_s
        while (standing := self.look()) is not None and standing.head < entry and self._clock() < until:
            time.sleep(0.02)
        return standing

    def close(self) -> None:
        """Give the connections back."""
        self._engine.dispose()

    def _head(self) -> int:
        with self._engine.connect() as connection:
            recovers, head = connection.execute(_ASKED).one()
        if not recovers:
            raise NoReplicaError("It takes writing by itself: it is no replica, or no more.")
        found = int(head or 0)
        # What was read from it once is held in memory; a replica that was set back would contradict it.
        if found < self._seen:
            raise NoReplicaError(f"It has gone back to entry {found}, after {self._seen} were read from it.")
        self._seen = found
        return found

    def _newest(self) -> int | None:
        try:
            return self._main.head()
        except (DriftbookError, sa.exc.SQLAlchemyError):
            return None

    def _admitted(self) -> bool:
        """Try a replica that is not used; only one request at a time waits for that."""
        if self._clock() < self._not_before or not self._trying.acquire(blocking=False):
            return False
        try:
            self._head()
            self._compare()
        except (DriftbookError, sa.exc.SQLAlchemyError) as fault:
            self._leave(fault)
            return False
        finally:
            self._trying.release()
        back = logging.WARNING if self._said else logging.INFO
        self._used, self._said = True, ""
        LOG.log(back, "What only shows is read from the replica %s.", self.shown)
        return True

    def _compare(self) -> None:
        """Look whether the replica is a beginning of this very book, by the newest head that it has."""
        if revision_of(self._engine) != revision_of(self._main.engine):
            raise NoReplicaError("It is of another revision than the book.")
        head = TreeHeadRow
        kept = sa.select(head.size, head.root).order_by(head.size.desc()).limit(1)
        with self._engine.connect() as connection:
            there = connection.execute(kept).first()
        if there is None:
            raise NoReplicaError("It holds no head of the book yet.")
        with self._main.engine.connect() as connection:
            here = connection.execute(sa.select(head.root).where(head.size == there.size)).scalar()
        if here is None or bytes(here) != bytes(there.root):
            raise NoReplicaError("It holds another book: its newest head is none of this one.")

    def _notice(self, context: sa.ExceptionContext) -> None:
        """Count what went wrong; a lost connection ends the use of the replica at once, for every request."""
        fault = context.original_exception
        if context.is_pre_ping or not isinstance(context.sqlalchemy_exception, sa.exc.OperationalError | None):
            return
        self.faults += 1
        if getattr(fault, "sqlstate", "") not in _CONFLICT:
            self._leave(fault)

    def _leave(self, fault: BaseException) -> None:
        self._used, self._not_before = False, self._clock() + AGAIN_S
        # The driver's own words: what the engine makes of them speaks of the server of the book, and would be news once more.
        own = fault.__cause__ if isinstance(fault, DriftbookError | sa.exc.SQLAlchemyError) else fault
        said = str(own or fault).strip().splitlines()
        told = said[0] if said else type(fault).__name__
        if told != self._said:
            self._said = told
            LOG.warning("The replica %s is not used, all is read from the book's own server: %s", self.shown, told)
