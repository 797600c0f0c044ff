"""What a monitor asks: whether the server is ready, and its figures; the addresses /readyz and /metrics."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Protocol

import sqlalchemy as sa
from flask import Flask, Response, jsonify

from dashboard.logs import install_access
from dashboard.looking import Looking
from dashboard.metrics import Metrics, install_metrics
from models.errors import BookCrowdedError, BookStateError, DriftbookError
from models.store.readiness import Readiness
from models.store.replica import Standing
from models.store.watch import Watch

READY: Final = "/readyz"

Probe = Callable[[], Readiness]
"""Looks whether the book can be worked with now."""


class Headed(Protocol):
    """A book that knows its last entry."""

    def head(self) -> int:
        """Give the number of the last entry."""


_AWAY: Final = Readiness(reachable=False, right_revision=False, writable=False)


@dataclass(frozen=True, slots=True)
class _Seen:
    """What one look has found: the book, its last entry, whether its heads are signed, how far the replica is, and whether no connection was to be had."""

    found: Readiness
    head: int = 0
    signed: bool | None = None
    standing: Standing | None = None
    crowded: bool = False

    def facts(self, *, with_replica: bool) -> dict[str, float]:
        """Give the figures of the book for a monitor.

        Parameters
        ----------
        with_replica : bool
            Whether the server has a replica. [unitless]
        """
        found = self.found
        told = {"driftbook_book_reachable": float(found.reachable), "driftbook_book_writable": float(found.writable)}
        if found.reachable:
            told["driftbook_book_entries"] = float(self.head)
            if self.signed is not None:
                told["driftbook_book_signs"] = float(self.signed)
        if found.free_bytes is not None:
            told["driftbook_disk_free_bytes"] = float(found.free_bytes)
        if with_replica:
            told["driftbook_replica_used"] = float(self.standing is not None)
            if self.standing is not None:
                told["driftbook_replica_entries"] = float(self.standing.head)
        return told


def install_monitor(
    server: Flask, book: Headed, probe: Probe | None, replica: Callable[[], Standing | None] | None = None,
    signs: Callable[[], bool | None] | None = None, *, watch: Watch | None = None,
) -> None:  # fmt: skip
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
    signs : callable, optional
        Looks whether new heads are signed; a server whose key is lost goes on recording. [unitless]
    watch : Watch, optional
        Is told where the book is away, and knows its connections. [unitless]
    """
    metrics = Metrics()
    install_access(server, metrics)

    def ask() -> _Seen:
        try:
            head = book.head()
            found = Readiness(reachable=True, right_revision=True, writable=True) if probe is None else probe()
            signed = None if signs is None or not found.reachable else signs()
        except (DriftbookError, sa.exc.TimeoutError) as fault:
            if watch is not None and isinstance(fault, BookStateError):
                watch.noticed(fault)
            elif watch is not None and isinstance(fault, sa.exc.TimeoutError):
                watch.turned_away()
            crowded = isinstance(fault, BookCrowdedError | sa.exc.TimeoutError)
            return _Seen(_AWAY, standing=None if replica is None else replica(), crowded=crowded)
        return _Seen(found, head, signed, None if replica is None else replica())

    looking = Looking(ask)

    def look() -> _Seen:
        return looking() or _Seen(_AWAY)

    def ready() -> tuple[Response, int]:
        seen = look()
        found = seen.found
        said = {
            "ready": found.ready, "book": found.reachable, "revision": found.right_revision, "writable": found.writable
        }  # fmt: skip
        if replica is not None:
            said["replica"] = seen.standing is not None
        # Who waits longer for a connection than a monitor for its answer has none either.
        use = None if watch is None else watch.use
        if not found.ready and (seen.crowded or (use is not None and use.full)):
            said["crowded"] = True
        return jsonify(said), 200 if found.ready else 503

    server.add_url_rule(READY, endpoint="ready", view_func=ready)

    def facts() -> dict[str, float]:
        told = look().facts(with_replica=replica is not None)
        return told if watch is None else told | watch.figures()

    install_metrics(server, metrics, facts)
