"""COPY into PostgreSQL, in place or beside: while the server takes some rows, the next ones are made ready.

The driver lets others run while it waits for the line, so one thread that sends is
enough.  What is sent goes in the order in which it was given.  Whatever else the
transaction asks or does waits until all of it has arrived, and hears of the first fault.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, wait
from contextlib import contextmanager
from typing import Any, Final

import sqlalchemy as sa

from models.store.copy_text import FORM
from models.store.faults import FAULTS

_AHEAD: Final = 3
"""So many COPYs may wait to be sent: those of one chunk. More would only take memory."""


class Beside:
    """A thread that sends rows of one transaction.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The transaction that writes. [unitless]
    """

    def __init__(self, connection: sa.Connection) -> None:
        self._connection = connection
        self._thread = ThreadPoolExecutor(1, "driftbook-copy")
        self._sent: deque[tuple[str, Future[None]]] = deque()
        # They stay for as long as the connection is open, and find nothing to do once everything has arrived.
        sa.event.listen(connection, "before_cursor_execute", lambda *_given: self.arrive())
        sa.event.listen(connection, "rollback", lambda *_given: self._give_up())

    def send(self, table: str, work: Callable[[], None]) -> None:
        """Let something be sent; a fault is told here or later, and the server takes nothing after it."""
        while len(self._sent) >= _AHEAD:
            self._one()
        self._sent.append((table, self._thread.submit(work)))

    def arrive(self) -> None:
        """Wait until everything has arrived."""
        while self._sent:
            self._one()

    def _one(self) -> None:
        table, future = self._sent.popleft()
        with _telling(self._connection, table):
            future.result()

    def _give_up(self) -> None:
        """Wait for what is being sent, and send no more: the transaction is on its way back."""
        for _, future in self._sent:
            future.cancel()
        wait([future for _, future in self._sent])
        self._sent.clear()
        self._thread.shutdown()

    def close(self) -> None:
        """Wait until everything has arrived, and end the thread."""
        self.arrive()
        self._thread.shutdown()


def copy_in(
    connection: sa.Connection, table: str, columns: Sequence[str], texts: Iterable[str], beside: Beside | None = None
) -> None:
    """Let PostgreSQL take rows in.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The transaction that writes. [unitless]
    table : str
        Name of the table. [unitless]
    columns : sequence of str
        Names of the columns. [unitless]
    texts : iterable of str
        Whole rows as :mod:`models.store.copy_text` writes them, as many together as is handy. [as stored]
    beside : Beside, optional
        Who sends them meanwhile; otherwise they are sent here. [unitless]
    """
    raw: Any = connection.connection.driver_connection

    def send(texts: Iterable[str] = texts) -> None:
        with raw.cursor() as cursor, cursor.copy(f"COPY {table} ({', '.join(columns)}) FROM STDIN {FORM}") as into:
            for text in texts:
                into.write(text)

    if beside is None:
        with _telling(connection, table):
            try:
                send()
            except (KeyboardInterrupt, SystemExit) as stop:
                # The line may stand in the middle of COPY, where nothing can be taken back on it: it is given up, as SQLAlchemy gives up its own.
                connection.invalidate(stop)
                raise
    else:
        ready = list(texts)
        beside.send(table, lambda: send(ready))


@contextmanager
def _telling(connection: sa.Connection, table: str) -> Iterator[None]:
    """Do about a fault what SQLAlchemy would have done: COPY goes past it."""
    try:
        yield
    except Exception as fault:
        raw: Any = connection.connection.driver_connection
        told = connection.get_execution_options().get(FAULTS)
        meaning = told(fault, raw.closed) if told is not None else None
        if raw.closed:
            connection.invalidate(fault)
        error = connection.dialect.loaded_dbapi.Error
        if meaning is None and isinstance(fault, error):
            meaning = sa.exc.DBAPIError.instance(f"COPY {table}", None, fault, error, dialect=connection.dialect)
        if meaning is None:
            raise
        raise meaning from fault
