"""The log of a running server: one line a request without what is secret, as text or as JSON.

A path is written without its query; a path that holds a secret itself is
written as the rule that it answers to.
"""

from __future__ import annotations

import json
import logging
import time
from datetime import UTC, datetime
from typing import Final

from flask import Flask, Response, g, request

from dashboard.metrics import Metrics, kind_of
from dashboard.security import UNSEEN, QuietFormatter

ACCESS: Final = "driftbook.access"
"""Name of the logger that writes a line for each request."""

LOG = logging.getLogger(ACCESS)

_FIELDS: Final = ("method", "path", "status", "ms", "bytes", "address")
_SECRET_PARTS: Final = frozenset({"secret", "token", "mark"})


class JsonFormatter(QuietFormatter):
    """Writes each record as one line of JSON: time, level, logger, message, and what a request brings with it."""

    def format(self, record: logging.LogRecord) -> str:
        """Write one record; secrets are taken out of message and traceback as in the text form."""
        told = super().format(record)
        said: dict[str, object] = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": told,
        }
        said |= {name: value for name in _FIELDS if (value := getattr(record, name, None)) is not None}
        # Letters stay letters; what a reader could take for the end of a line, or a terminal obey, is written out as JSON does.
        return UNSEEN.sub(lambda found: f"\\u{ord(found[0]):04x}", json.dumps(said, ensure_ascii=False))


def write_json() -> None:
    """Let everything that is logged be written as JSON."""
    for handler in logging.getLogger().handlers:
        handler.setFormatter(JsonFormatter("%(message)s"))


def install_access(server: Flask, metrics: Metrics) -> None:
    """Log and count every request of a server; set first, so that the time of all the others is in it.

    Parameters
    ----------
    server : flask.Flask
        The server. [unitless]
    metrics : Metrics
        Where it is counted. [unitless]
    """

    def begin() -> None:
        g.began = time.perf_counter()
        metrics.begin()

    def end(response: Response) -> Response:
        began = g.pop("began", None)
        if began is None:
            return response
        seconds = time.perf_counter() - began
        metrics.end(request.path, response.status_code, seconds)
        level = logging.DEBUG if kind_of(request.path) in {"static", "monitor"} else logging.INFO
        if LOG.isEnabledFor(level):
            path, ms = shown_path(), round(seconds * 1000, 1)
            said = {
                "method": request.method, "path": path, "status": response.status_code, "ms": ms,
                "bytes": response.content_length, "address": request.remote_addr,
            }  # fmt: skip
            LOG.log(level, "%s %s %d %.1f ms", request.method, path, response.status_code, ms, extra=said)
        return response

    server.before_request_funcs.setdefault(None, []).insert(0, begin)
    server.after_request(end)


def shown_path() -> str:
    """Give the path of the present request as it may be logged."""
    rule = request.url_rule
    if rule is not None and _SECRET_PARTS & rule.arguments:
        return str(rule.rule)
    return request.path[:200]
