"""The one line in the log when a book goes away, and the one when it is back; and one where every connection to it is in use.

Whoever answers a request says what went wrong with the book; that it answers again
is heard from its engine, at the first question that is answered.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from typing import Any, Final

import sqlalchemy as sa

from models.errors import BookBusyError, BookMissingError, BookStateError, BookUnreachableError
from models.store.pool import PoolUse, pool_use

LOG = logging.getLogger("driftbook.book")

AGAIN_S: Final = 600.0
"""What a book refuses without being away (its disk is full, a page is damaged) is said again no sooner. [s]"""

_ASKS_NOTHING: Final = ("BEGIN", "PRAGMA")
"""SQLite answers these without a look at the file."""


class Watch:
    """Knows whether a book is away; safe for several threads.

    Parameters
    ----------
    engine : sqlalchemy.Engine, optional
        The book's engine; without one nothing says that the book is back. [unitless]
    clock : callable
        Gives a time that never goes back. [s]
    """

    def __init__(self, engine: sa.Engine | None, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._away_since: float | None = None
        self._said: dict[str, float] = {}
        self._turned_away = 0
        self._engine = engine
        if engine is not None:
            sa.event.listen(engine, "after_cursor_execute", self._answered)

    @property
    def away(self) -> bool:
        """Tell whether the book was away when it was last asked."""
        return self._away_since is not None

    def noticed(self, fault: BookStateError) -> None:
        """Say in the log what is wrong with the book, where that is news; that somebody else writes is none.

        Parameters
        ----------
        fault : BookStateError
            What went wrong. [unitless]
        """
        if isinstance(fault, BookBusyError):
            return
        text = " ".join(str(fault).split())
        with self._lock:
            if isinstance(fault, BookUnreachableError | BookMissingError):
                news = self._away_since is None
                self._away_since = self._clock() if news else self._away_since
            else:
                news = self._is_news(type(fault).__name__)
        if news:
            LOG.warning("The book is away or refuses: %s", text)

    @property
    def use(self) -> PoolUse | None:
        """Give how many connections to the book are in use; ``None`` where there is no bound."""
        return None if self._engine is None else pool_use(self._engine)

    def turned_away(self, where: str = "the book") -> None:
        """Count a request that waited for a connection in vain, and say so in the log where that is news.

        Parameters
        ----------
        where : str
            To what it wanted a connection. [unitless]
        """
        with self._lock:
            self._turned_away += 1
            news, count = self._is_news(where), self._turned_away
        use = self.use
        if news and use is not None:
            LOG.warning(
                "No connection to %s was free: this process may have %d, all were in use for as long as is waited for one, and a request was "
                "told to come again (%d since the start). Look for what holds them (a slow or distant database, a long import). On PostgreSQL "
                "DRIFTBOOK_POOL_SIZE and DRIFTBOOK_POOL_EXTRA give more; fewer --threads ask for fewer.",
                where, use.most, count,
            )  # fmt: skip

    def figures(self) -> dict[str, float]:
        """Give the figures of the connections for a monitor."""
        use = self.use
        if use is None:
            return {}
        return {
            "driftbook_pool_connections": float(use.most),
            "driftbook_pool_connections_used": float(use.used),
            "driftbook_pool_turned_away_total": float(self._turned_away),
        }

    def _is_news(self, what: str) -> bool:
        """Tell whether something was not said for a while, and take it as said; asked for with the lock in hand."""
        now = self._clock()
        if now - self._said.get(what, -AGAIN_S) < AGAIN_S:
            return False
        self._said[what] = now
        return True

    def _answered(self, _connection: Any, _cursor: Any, statement: str, *_given: Any) -> None:
        if self._away_since is None or statement.startswith(_ASKS_NOTHING):
            return
        with self._lock:
            since, self._away_since = self._away_since, None
        if since is not None:
            LOG.warning("The book is back: it answers again, after %.0f s.", self._clock() - since)
