"""The subcommand serve: show a book in the browser."""

from __future__ import annotations

import argparse
import socket

from dashboard.console.common import opened, out, settings_of
from models.errors import DriftbookError
from models.settings import Settings


def run_serve(given: argparse.Namespace) -> int:
    """Serve a book until it is stopped."""
    from dashboard.cli import DEFAULT_PORT

    settings = settings_of(given)
    port = given.port if given.port is not None else free_port(given.host, DEFAULT_PORT)
    serve_book(settings, given.host, port)
    return 0


def free_port(host: str, wanted: int) -> int:
    """Give the wanted port, or the next free one of twenty."""
    for port in range(wanted, wanted + 20):
        with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((host, port))
            except OSError:
                continue
            return port
    return 0


def serve_book(settings: Settings, host: str, port: int, *, greeting: str = "") -> None:
    """Open a book, warm the pages up and serve them."""
    from dashboard.app import create_app
    from dashboard.desk import BookDesk
    from dashboard.server import serve
    from models.store.reader import Reader

    with opened(settings) as engine:
        app = create_app(settings, Reader(engine), desk=BookDesk(engine))

        def ready(address: str) -> None:
            if greeting:
                out.print(greeting)
            out.print(f"driftbook shows {settings.shown} at [bold]{address}[/bold]   (stop with Ctrl+C)")
            if host not in {"127.0.0.1", "localhost", "::1"}:
                out.print(
                    "It listens beyond this machine, and asks nobody who they are: keep it inside a network that you trust."
                )

        try:
            serve(app, host, port, ready)
        except OSError as fault:
            raise DriftbookError(
                f"Cannot listen on {host}:{port}: {fault.strerror}.",
                remedy="Choose another: --port 0 takes any free one.",
            ) from fault
