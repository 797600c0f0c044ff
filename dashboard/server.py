"""Serving: warm the application up, then answer with waitress."""

from __future__ import annotations

import gc
import logging
import select
import signal
import socket
import threading
import time
from collections.abc import Callable
from types import FrameType
from typing import Any

import dash
from waitress.server import BaseWSGIServer, MultiSocketServer, create_server

from dashboard.front import Front
from dashboard.long_requests import hear_out
from dashboard.monitor import READY
from dashboard.security import MOST_OF_A_FILE
from models.errors import DriftbookError
from models.store.turns import TURNS

LOG = logging.getLogger("driftbook.server")

HEALTH = "/healthz"
THREADS = 8
READING = 2
"""So many threads never wait for a turn to write: while a long import runs, pages and health are answered."""

POLL = hasattr(select, "poll")
"""Whether the system can look at any number of connections at once; with what Windows has they are 512."""

CONNECTIONS = 500 if POLL else 400
"""So many connections are open at a time: a browser keeps several for a while, and systems give a process 1,024 files. [unitless]"""

IDLE_S = 30
"""A connection on which nothing is said for so long is closed. [s]"""

GRACE_S = 20.0
"""How long running requests may go on after the process was told to end, all in all. [s]"""

_STOPPED_S = 5.0
"""How long they may where somebody stops it at the terminal. [s]"""

_MOST_OF_HEADERS = 32 << 10
_FORWARDED = {"x-forwarded-for", "x-forwarded-proto", "x-forwarded-host"}


class NotReadyError(DriftbookError):
    """The application does not answer its own first question, so it is not served."""


def warm_up(app: dash.Dash) -> None:
    """Ask the application whether it is well and its book can be read, before anybody else does.

    Dash sets itself up at its first request, once, even if that fails:
    every page would then be dead until a restart.  So the first request is ours.

    Raises
    ------
    NotReadyError
        If it is not, or the book is not to be read. One that takes no writing is shown nevertheless.
    """
    client = app.server.test_client()
    for path, word in ((HEALTH, "well"), (READY, "book")):
        answer = client.get(path)
        said = answer.get_json(silent=True)
        if not isinstance(said, dict) or said.get(word) is not True:
            raise NotReadyError(
                f"The reader did not start: {path} answered {answer.status_code}.",
                remedy="Look at the lines above for the cause; 'driftbook upgrade' helps if the book is of an older version.",
            )


def open_server(
    app: dash.Dash, host: str, port: int, *, proxy: str | None = None, threads: int = THREADS
) -> MultiSocketServer | BaseWSGIServer:
    """Warm up and open the port, without answering yet; port 0 lets the system choose.

    Parameters
    ----------
    app : dash.Dash
        The application. [unitless]
    host : str
        Address to listen on. [unitless]
    port : int
        Port to listen on, 0 for any free one. [unitless]
    proxy : str, optional
        Address of a server in front, which is believed about who asks, by https or not, and under which name. [unitless]
    threads : int
        Requests that are answered at a time. [unitless]

    Raises
    ------
    NotReadyError
        If the application is not well.
    DriftbookError
        If the port cannot be opened.
    """
    warm_up(app)
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        # Opened here and not by waitress, which leaves a socket behind where that fails.
        opened = socket.create_server((host, port), family=family, backlog=1024)
    except OSError as error:
        raise DriftbookError(
            f"Port {port} on {host} cannot be opened: {error.strerror or error}.",
            remedy="Choose another one with --port.",
        ) from error
    TURNS.most = max(1, threads - READING)
    # It warns whenever one request waits for another, which is no event; the figures at /metrics tell it better.
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    believed: dict[str, Any] = {}
    if proxy is not None:
        believed = {"trusted_proxy": proxy, "trusted_proxy_count": 1, "trusted_proxy_headers": _FORWARDED}
    server = create_server(
        app.server, sockets=[opened], threads=threads, ident=None, clear_untrusted_proxy_headers=True,
        max_request_body_size=MOST_OF_A_FILE, max_request_header_size=_MOST_OF_HEADERS,
        connection_limit=CONNECTIONS, channel_timeout=IDLE_S, cleanup_interval=IDLE_S // 6, asyncore_use_poll=POLL, **believed,
    )  # fmt: skip
    places = list(channels_of(server).values())
    hear_out(places)
    for place in places:
        if isinstance(place, BaseWSGIServer):
            place.application = Front(place.application, proxy)
    return server


def channels_of(server: MultiSocketServer | BaseWSGIServer) -> dict[int, Any]:
    """Give what the loop of a server looks at: where it listens, and its connections."""
    found: dict[int, Any] = server.map if isinstance(server, MultiSocketServer) else server._map  # noqa: SLF001 - it has no other name
    return found


def port_of(server: MultiSocketServer | BaseWSGIServer) -> int:
    """Give the port that was opened."""
    if isinstance(server, MultiSocketServer):
        return int(server.effective_listen[0][1])
    return int(server.effective_port)


def serve(
    app: dash.Dash,
    host: str,
    port: int,
    on_ready: Callable[[str], None],
    *,
    proxy: str | None = None,
    threads: int = THREADS,
) -> None:
    """Serve until the process is stopped; on SIGTERM no more is taken in, and what is running is answered first.

    Parameters
    ----------
    app : dash.Dash
        The application. [unitless]
    host : str
        Address to listen on. [unitless]
    port : int
        Port to listen on, 0 for any free one. [unitless]
    on_ready : callable
        Called once with the address that a browser can open. [unitless]
    proxy : str, optional
        Address of a server in front that is believed. [unitless]
    threads : int
        Requests that are answered at a time. [unitless]
    """
    server = open_server(app, host, port, proxy=proxy, threads=threads)
    # What is loaded by now stays: a full collection that looks through all of it makes a page wait for more than a tenth of a second.
    gc.collect()
    gc.freeze()
    shown = f"[{host}]" if ":" in host else host
    ending = Ending(server)
    ending.listen()
    on_ready(f"http://{shown}:{port_of(server)}/")
    try:
        ending.run()
    finally:
        server.close()


class Ending:
    """Runs a server until it is told to end, and lets it end without cutting anybody off."""

    def __init__(self, server: MultiSocketServer | BaseWSGIServer, clock: Callable[[], float] = time.monotonic) -> None:
        self._server, self._clock = server, clock
        self._told = threading.Event()

    def listen(self) -> None:
        """Take SIGTERM as the word to end; only a main thread can."""
        if threading.current_thread() is threading.main_thread():
            signal.signal(signal.SIGTERM, self.tell)

    def tell(self, _signal: int = 0, _frame: FrameType | None = None) -> None:
        """Tell it to end."""
        self._told.set()

    def run(self) -> None:
        """Answer until told to end; then answer what is running, and stop; the log says what was cut off."""
        server, sockets = self._server, self._server.asyncore
        channels = channels_of(server)
        began, left = self._clock(), _STOPPED_S
        try:
            while not self._told.is_set():
                sockets.loop(timeout=0.5, use_poll=True, map=channels, count=1)
            self._refuse_more(channels)
            began = self._clock()
            LOG.info(
                "Told to end: nobody is let in any more; what runs is answered first, for %.0f s at most: %s.",
                GRACE_S, _counted(self._unanswered(channels)),
            )  # fmt: skip
            while self._unanswered(channels) and self._clock() < began + GRACE_S:
                sockets.loop(timeout=0.05, use_poll=True, map=channels, count=1)
            left = max(0.0, began + GRACE_S - self._clock())
        except (SystemExit, KeyboardInterrupt):
            began = self._clock()
        cut = self._unanswered(channels)
        # Given no time of its own, which would come on top of ours: who did not end in ours does not in five seconds more.
        server.task_dispatcher.shutdown(timeout=min(left, _STOPPED_S))
        LOG.log(
            logging.WARNING if cut else logging.INFO,
            "Ended, %.1f s after it was told to: %s cut off.", self._clock() - began, _counted(cut),
        )  # fmt: skip

    def _refuse_more(self, channels: dict[int, Any]) -> None:
        """Close the door: who comes now is told by the system that nobody listens."""
        for place in list(channels.values()):
            if isinstance(place, BaseWSGIServer):
                place.accepting = False
                place.del_channel(channels)
                place.socket.close()

    def _unanswered(self, channels: dict[int, Any]) -> int:
        """Count the requests that are being answered, wait, or have been answered and not sent."""
        return sum(
            len(getattr(place, "requests", ())) or bool(getattr(place, "total_outbufs_len", 0))
            for place in list(channels.values())
        )


def _counted(n: int) -> str:
    return "1 request" if n == 1 else f"{n} requests"
