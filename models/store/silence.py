"""A database server that falls silent: no answer, and the line is not cut either.

A server that is stopped in its tracks, or lies behind a line that swallows everything, is
waited for without end: a limit on a statement is kept by the very server that is silent,
and a stopped server's system goes on to acknowledge what it is sent.  So whoever has waited
for a while asks the server by another line whether it is there at all.  If it answers, a
long question or a lock is waited for as long as it takes; if not, the connection is given up.
"""

from __future__ import annotations

import socket
import struct
import threading
import time
from collections.abc import Callable, Generator
from functools import cache
from typing import TYPE_CHECKING, Any, Final

import sqlalchemy as sa

if TYPE_CHECKING:
    import psycopg

SILENT_S: Final = 5.0
"""So long an answer is waited for before the server is asked whether it is there. [s]"""

ASK_S: Final = 3.0
"""So long it has to say so. [s]"""

AGAIN_S: Final = 2.0
"""A server that was silent is tried again no sooner, and by one request at a time; the others are told at once. [s]"""

_SSL_REQUEST: Final = struct.pack("!ii", 8, 80877103)
"""The first thing that a client may send; every server answers it with one byte (PostgreSQL's manual, 'Message Flow')."""


def answers(host: str, port: int, within_s: float = ASK_S) -> bool:
    """Tell whether a database server says anything at all.

    Parameters
    ----------
    host : str
        Name or address of the server, or the folder of its socket. [unitless]
    port : int
        Its port. [unitless]
    within_s : float
        How long is waited. [s]
    """
    try:
        if host.startswith(("/", "@")):  # the folder of a socket; one that begins with @ lies in no file system
            folder = f"\0{host[1:]}" if host.startswith("@") else host
            with socket.socket(socket.AF_UNIX) as line:
                line.settimeout(within_s)
                line.connect(f"{folder}/.s.PGSQL.{port}")
                return _says_something(line)
        with socket.create_connection((host, port), within_s) as line:
            return _says_something(line)
    except OSError:
        return False


def _says_something(line: socket.socket) -> bool:
    line.sendall(_SSL_REQUEST)
    return bool(line.recv(1))


class Attention:
    """Lets the connections of one engine notice a silent server; safe for several threads.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The engine of a book on PostgreSQL; what it has connected until now is connected anew. [unitless]
    silent_s : float
        How long an answer is waited for before the server is asked whether it is there. [s]
    """

    def __init__(
        self, engine: sa.Engine, silent_s: float = SILENT_S, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self.silent_s = silent_s
        self._clock = clock
        self._trying = threading.Lock()
        self._silent = False
        self._not_before = 0.0
        sa.event.listen(engine, "do_connect", self._connect)
        engine.dispose()

    def lost(self) -> None:
        """Remember that the server was silent."""
        self._silent, self._not_before = True, self._clock() + AGAIN_S

    def _connect(self, _dialect: Any, _record: Any, given: Any, named: Any) -> Any:
        kind = _connection_class()
        if not self._silent:
            return self._made(kind, given, named)
        # Each try may take as long as a connection is waited for: all threads of a server would hang in it.
        if self._clock() < self._not_before or not self._trying.acquire(blocking=False):
            raise _unanswered("The database server was silent a moment ago and is tried again soon")
        try:
            return self._made(kind, given, named)
        finally:
            self._trying.release()

    def _made(self, kind: Any, given: Any, named: Any) -> Any:
        began = self._clock()
        try:
            made = kind.connect(*given, **named)
        except Exception:
            if self._clock() - began >= 1.0:  # a server that refuses does so at once, and may be back at once
                self.lost()
            raise
        made.attention = self
        self._silent = False
        return made


def _unanswered(said: str) -> Exception:
    import psycopg

    return psycopg.OperationalError(said)


@cache
def _connection_class() -> type[psycopg.Connection[Any]]:
    """Make the class of connections that ask whether the server is there; the driver is loaded by whoever has it."""
    import psycopg

    class AttentiveConnection(psycopg.Connection[Any]):
        attention: Attention | None = None

        def wait(self, gen: Any, *given: Any, **named: Any) -> Any:
            attended = gen if self.attention is None else _attended(gen, self, self.attention)
            return super().wait(attended, *given, **named)

    return AttentiveConnection


def _attended(gen: Any, connection: psycopg.Connection[Any], attention: Attention) -> Generator[Any, Any, Any]:
    """Hand on what the driver waits for; where nothing has come for a while, ask whether the server is there."""
    heard = time.monotonic()
    try:
        wanted = next(gen)
        while True:
            ready = yield wanted
            now = time.monotonic()
            if ready:
                heard = now
            elif now - heard >= attention.silent_s:
                if not answers(connection.info.hostaddr or connection.info.host, connection.info.port):
                    attention.lost()
                    connection.pgconn.finish()
                    raise _unanswered(f"The database server has said nothing for {time.monotonic() - heard:.0f} s")
                heard = time.monotonic()
            wanted = gen.send(ready)
    except StopIteration as done:
        return done.value
