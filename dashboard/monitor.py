"""What a monitor asks: whether the server is ready, and its figures; the addresses /readyz and /metrics."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, Protocol

from flask import Flask, Response, jsonify

from dashboard.logs import install_access
from dashboard.metrics import Metrics, install_metrics
from models.errors import DriftbookError
from models.store.readiness import Readiness
from models.store.replica import Standing

READY: Final = "/readyz"

Probe = Callable[[], Readiness]
"""Looks whether the book can be worked with now."""


class Headed(Protocol):
    """A book that knows its last entry."""

    def head(self) -> int:
        """Give the number of the last entry."""


def install_monitor(
    server: Flask, book: Headed, probe: Probe | None, replica: Callable[[], Standing | None] | None = None
) -> None:
    """Let a server answer a monitor, and log and count what it is asked.

    Parameters
    ----------
    server : flask.Flask
        The server. [unitless]
    book : Headed
        The book. [unitless]
    probe : callable, optional
        Looks at the book; without one it counts as ready when it answers. [unitless]
    replica : callable, optional
        Looks how far the replica has come; a server without its replica is ready nevertheless. [unitless]
    """
    metrics = Metrics()
    install_access(server, metrics)

    def look() -> tuple[Readiness, int]:
        try:
            head = book.head()
            found = Readiness(reachable=True, right_revision=True, writable=True) if probe is None else probe()
        except DriftbookError:
            return Readiness(reachable=False, right_revision=False, writable=False), 0
        return found, head

    def ready() -> tuple[Response, int]:
        found, _ = look()
        said = {
            "ready": found.ready, "book": found.reachable, "revision": found.right_revision, "writable": found.writable
        }  # fmt: skip
        if replica is not None:
            said["replica"] = replica() is not None
        return jsonify(said), 200 if found.ready else 503

    def facts() -> dict[str, float]:
        found, head = look()
        told = {"driftbook_book_reachable": float(found.reachable), "driftbook_book_writable": float(found.writable)}
        if found.reachable:
            told["driftbook_book_entries"] = float(head)
        if found.free_bytes is not None:
            told["driftbook_disk_free_bytes"] = float(found.free_bytes)
        if replica is not None:
            standing = replica()
            told["driftbook_replica_used"] = float(standing is not None)
            if standing is not None:
                told["driftbook_replica_entries"] = float(standing.head)
        return told

    server.add_url_rule(READY, endpoint="ready", view_func=ready)
    install_metrics(server, metrics, facts)
