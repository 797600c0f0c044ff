"""The log of a running server: one line a request without what is secret, as text or as JSON.

A path is written without its query; a path that holds a secret itself is
written as the rule that it answers to.  A path that answers to none of the
fixed rules may be such a one that was typed or sent on not quite right: what
stands behind the first words of a rule with a secret is left out of it, and
whatever looks like a secret wherever it stands.
"""

from __future__ import annotations

import json
import logging
import re
import time
from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any, Final

from flask import Flask, Response, current_app, g, request

from dashboard.metrics import Metrics, kind_of
from dashboard.security import UNSEEN, QuietFormatter

ACCESS: Final = "driftbook.access"
"""Name of the logger that writes a line for each request."""

LOG = logging.getLogger(ACCESS)

HIDDEN: Final = "<secret>"
"""Stands in the place of what may be a secret."""

_FIELDS: Final = ("method", "path", "status", "ms", "bytes", "address")
_SECRET_PARTS: Final = frozenset({"secret", "token", "mark"})
_RANDOM: Final = re.compile(r"(?<![0-9A-Za-z_-])(?=[0-9A-Z_-]*[a-z])(?=[0-9a-z_-]*[A-Z])[0-9A-Za-z_-]{20,}")
"""What looks like random letters: our secrets have 22 and 43 of these, and no name of a page or file of ours is like that."""


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
    if rule is not None and not rule.arguments:
        return request.path[:200]
    rules = current_app.url_map.iter_rules()
    return _hidden(request.path, {str(one.rule).partition("<")[0] for one in rules if _SECRET_PARTS & one.arguments})[
        :200
    ]


def quiet_faults(server: Flask) -> None:
    """Let a fault of the program be logged with the path as it may be logged.

    Parameters
    ----------
    server : flask.Flask
        The server. [unitless]
    """

    def log_exception(exc_info: Any) -> None:
        server.logger.error("Exception on %s [%s]", shown_path(), request.method, exc_info=exc_info)

    server.log_exception = log_exception  # type: ignore[method-assign]


def _hidden(path: str, before: Iterable[str]) -> str:
    """Write a path without what may be a secret: what stands behind the beginnings that come before one, and what looks like one."""
    for start in before:
        words = [re.escape(word) for word in start.split("/") if word]
        found = re.search(f"(?i)(^|/){'/+'.join(words)}/+(?=.)", path) if words else None
        if found:
            return f"{_RANDOM.sub(HIDDEN, path[: found.end()])}{HIDDEN}"
    return _RANDOM.sub(HIDDEN, path)
