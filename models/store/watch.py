"""The one line in the log when a book goes away, and the one when it is back.

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
        now, text = self._clock(), " ".join(str(fault).split())
        with self._lock:
            if isinstance(fault, BookUnreachableError | BookMissingError):
                news = self._away_since is None
                self._away_since = now if news else self._away_since
            else:
                news = now - self._said.get(type(fault).__name__, -AGAIN_S) >= AGAIN_S
                if news:
                    self._said[type(fault).__name__] = now
        if news:
            LOG.warning("The book is away or refuses: %s", text)

    def _answered(self, _connection: Any, _cursor: Any, statement: str, *_given: Any) -> None:
        if self._away_since is None or statement.startswith(_ASKS_NOTHING):
            return
        with self._lock:
            since, self._away_since = self._away_since, None
        if since is not None:
            LOG.warning("The book is back: it answers again, after %.0f s.", self._clock() - since)
