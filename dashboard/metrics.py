"""Figures of the running server for a monitor, in the text format of Prometheus (version 0.0.4): few, and without a record.

The format is forty lines to write, so no library is asked for it.  A monitor
on this machine may ask; from elsewhere only with the token that the
environment variable ``DRIFTBOOK_METRICS_TOKEN`` holds.
"""

from __future__ import annotations

import hmac
import os
import threading
import time
from collections.abc import Callable, Iterable, Mapping
from typing import Final

from flask import Flask, Request, Response, abort, request

from dashboard.front import through_front

TOKEN_VARIABLE: Final = "DRIFTBOOK_METRICS_TOKEN"  # noqa: S105 - a name, not a token
PATH: Final = "/metrics"
BOUNDS_S: Final = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 10.0)
"""Upper bounds of the classes of time, in seconds."""

_HERE: Final = frozenset({"127.0.0.1", "::1"})

Facts = Callable[[], Mapping[str, float]]
"""Gives what is known of the book now, by the name of its series."""

FACTS: Final[Mapping[str, str]] = {
    "driftbook_book_entries": "Number of the last entry of the book.",
    "driftbook_book_reachable": "1 if the book answers, 0 if not.",
    "driftbook_book_writable": "1 if the book could be written to, 0 if not.",
    "driftbook_book_signs": "1 if new heads are signed, 0 if the key file is away, cannot be read or is another one.",
    "driftbook_pool_connections": "Connections to the book that this process may have.",
    "driftbook_pool_connections_used": "Connections to the book that are in use.",
    "driftbook_pool_turned_away_total": "Requests that waited for a connection in vain.",
    "driftbook_disk_free_bytes": "Room on the disk of a SQLite book.",
    "driftbook_replica_used": "1 if pages are read from the replica, 0 if it cannot be used.",
    "driftbook_replica_entries": "Number of the last entry that the replica has.",
}
"""What a book and its connections tell, and the help of each."""


def kind_of(path: str) -> str:
    """Give what kind of thing a path asks for; a handful, so that the series stay few.

    Parameters
    ----------
    path : str
        Path of a request. [unitless]
    """
    if path == "/_dash-update-component":
        return "callback"
    if path.startswith(("/_dash", "/assets/", "/_favicon", "/_reload")):
        return "static"
    if path.startswith("/api/"):
        return "interface"
    if path in {"/healthz", "/readyz", PATH}:
        return "monitor"
    return "file" if "." in path.rpartition("/")[2] else "page"


class Metrics:
    """Counts requests; safe for several threads."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._began = time.time()
        self._requests: dict[tuple[str, str], int] = {}
        self._times: dict[str, list[int]] = {}
        self._seconds: dict[str, float] = {}
        self._running = 0

    def begin(self) -> None:
        """Count a request that has come in."""
        with self._lock:
            self._running += 1

    def end(self, path: str, status: int, seconds: float) -> None:
        """Count a request that was answered.

        Parameters
        ----------
        path : str
            Its path. [unitless]
        status : int
            Status of the answer. [unitless]
        seconds : float
            How long it took. [s]
        """
        kind, family = kind_of(path), f"{status // 100}xx"
        place = next((n for n, bound in enumerate(BOUNDS_S) if seconds <= bound), len(BOUNDS_S))
        with self._lock:
            self._running -= 1
            self._requests[kind, family] = self._requests.get((kind, family), 0) + 1
            self._times.setdefault(kind, [0] * (len(BOUNDS_S) + 1))[place] += 1
            self._seconds[kind] = self._seconds.get(kind, 0.0) + seconds

    def text(self, facts: Mapping[str, float]) -> str:
        """Write everything in the text format.

        Parameters
        ----------
        facts : mapping of str to float
            What is known of the book. [unitless]
        """
        with self._lock:
            requests, running = dict(self._requests), self._running
            times = {kind: list(counts) for kind, counts in self._times.items()}
            seconds = dict(self._seconds)
        lines = [
            *_series(
                "driftbook_start_time_seconds", "gauge", "When this process began, since 1970.", [("", self._began)]
            ),
            *_series("driftbook_requests_in_progress", "gauge", "Requests that are being answered.", [("", running)]),
            *_series(
                "driftbook_requests_total",
                "counter",
                "Requests that were answered, by kind and family of status.",
                [(f'{{kind="{kind}",status="{family}"}}', n) for (kind, family), n in sorted(requests.items())],
            ),
            *_series("driftbook_request_seconds", "histogram", "Time to answer, by kind.", _histogram(times, seconds)),
        ]
        for name, value in facts.items():
            lines += _series(name, "counter" if name.endswith("_total") else "gauge", FACTS[name], [("", value)])
        times_used = os.times()
        used = times_used.user + times_used.system
        lines += _series("process_cpu_seconds_total", "counter", "Processor time of this process.", [("", used)])
        return "\n".join(lines) + "\n"


def _histogram(times: Mapping[str, list[int]], seconds: Mapping[str, float]) -> Iterable[tuple[str, float]]:
    for kind, counts in sorted(times.items()):
        total = 0
        for bound, count in zip((*map(str, BOUNDS_S), "+Inf"), counts, strict=True):
            total += count
            yield f'_bucket{{kind="{kind}",le="{bound}"}}', total
        yield f'_sum{{kind="{kind}"}}', seconds[kind]
        yield f'_count{{kind="{kind}"}}', total


def _series(name: str, kind: str, about: str, values: Iterable[tuple[str, float]]) -> list[str]:
    lines = [f"{name}{labels} {value:.17g}" for labels, value in values]
    return [f"# HELP {name} {about}", f"# TYPE {name} {kind}", *lines] if lines else []


def may_ask(asked: Request, token: str) -> bool:
    """Tell whether somebody may have the figures: from this machine without a server between, or with the token where one is set.

    Parameters
    ----------
    asked : flask.Request
        The request. [unitless]
    token : str
        The token that is set; empty for none. [unitless]
    """
    if token:
        given = asked.headers.get("Authorization", "")
        return hmac.compare_digest(given.encode(), f"Bearer {token}".encode())
    # Whatever a server in front leaves out of what it says, who asks through it does not ask on this machine.
    return asked.remote_addr in _HERE and not through_front(asked)


def install_metrics(server: Flask, metrics: Metrics, facts: Facts, environ: Mapping[str, str] = os.environ) -> None:
    """Let a server answer a monitor."""

    def figures() -> Response:
        if not may_ask(request, environ.get(TOKEN_VARIABLE, "").strip()):
            abort(404)
        return Response(metrics.text(facts()), content_type="text/plain; version=0.0.4; charset=utf-8")

    server.add_url_rule(PATH, endpoint="metrics", view_func=figures)
