"""Serving: warm the application up, then answer with waitress."""

from __future__ import annotations

import socket
from collections.abc import Callable
from typing import Any

import dash
from waitress.server import BaseWSGIServer, MultiSocketServer, create_server

from dashboard.security import MOST_BYTES
from models.errors import DriftbookError

HEALTH = "/healthz"
THREADS = 8
_MOST_OF_HEADERS = 32 << 10
_FORWARDED = {"x-forwarded-for", "x-forwarded-proto", "x-forwarded-host"}


class NotReadyError(DriftbookError):
    """The application does not answer its own first question, so it is not served."""


def warm_up(app: dash.Dash) -> None:
    """Ask the application whether it is well, before anybody else does.

    Dash sets itself up at its first request, once, even if that fails:
    every page would then be dead until a restart.  So the first request is ours.

    Raises
    ------
    NotReadyError
        If the answer is not 200.
    """
    answer = app.server.test_client().get(HEALTH)
    if answer.status_code != 200:
        raise NotReadyError(
            f"The reader did not start: {HEALTH} answered {answer.status_code}.",
            remedy="Look at the lines above for the cause; 'driftbook upgrade' helps if the book is of an older version.",
        )


def open_server(
    app: dash.Dash, host: str, port: int, *, proxy: str | None = None
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
    believed: dict[str, Any] = {}
    if proxy is not None:
        believed = {"trusted_proxy": proxy, "trusted_proxy_count": 1, "trusted_proxy_headers": _FORWARDED}
    return create_server(
        app.server, sockets=[opened], threads=THREADS, ident=None, clear_untrusted_proxy_headers=True,
        max_request_body_size=MOST_BYTES, max_request_header_size=_MOST_OF_HEADERS, **believed,
    )  # fmt: skip


def port_of(server: MultiSocketServer | BaseWSGIServer) -> int:
    """Give the port that was opened."""
    if isinstance(server, MultiSocketServer):
        return int(server.effective_listen[0][1])
    return int(server.effective_port)


def serve(app: dash.Dash, host: str, port: int, on_ready: Callable[[str], None], *, proxy: str | None = None) -> None:
    """Serve until the process is stopped.

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
    """
    server = open_server(app, host, port, proxy=proxy)
    shown = f"[{host}]" if ":" in host else host
    on_ready(f"http://{shown}:{port_of(server)}/")
    try:
        server.run()
    finally:
        server.close()
