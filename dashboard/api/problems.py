"""Problems as they are answered: RFC 9457, ``application/problem+json``, always with what, where and what to do."""

from __future__ import annotations

import json
import logging
import secrets
from collections.abc import Iterable, Mapping
from http import HTTPStatus
from typing import Any

from flask import Response
from werkzeug.exceptions import HTTPException

from dashboard.away import RETRY_SECONDS, noticed
from models.errors import AlteredBookError, DriftbookError

LOG = logging.getLogger("driftbook.interface")

PROBLEM_TYPE = "application/problem+json"

Where = dict[str, str]
"""One thing that is wrong: ``pointer``, ``parameter`` or ``header``, with ``detail`` and ``remedy``."""


class ProblemError(Exception):
    """A request that is answered with a problem."""

    def __init__(
        self,
        status: int,
        code: str,
        detail: str,
        *,
        remedy: str = "",
        errors: Iterable[Where] = (),
        headers: Mapping[str, str] | None = None,
        more: Mapping[str, Any] | None = None,
    ) -> None:
        super().__init__(detail)
        self.status, self.code, self.detail, self.remedy = status, code, detail, remedy
        self.errors, self.headers = list(errors), dict(headers or {})
        # Members of its own kind (RFC 9457, section 3.2).
        self.more = dict(more or {})


def respond(problem: ProblemError) -> Response:
    """Write a problem as an answer.

    ``type`` is ``about:blank`` and ``title`` the name of the status, as the standard has it for
    problems without a page of their own; ``code`` tells them apart.
    """
    said: dict[str, Any] = {
        "type": "about:blank",
        "title": HTTPStatus(problem.status).phrase,
        "status": problem.status,
        "code": problem.code,
        "detail": problem.detail,
    }
    if problem.remedy:
        said["remedy"] = problem.remedy
    if problem.errors:
        said["errors"] = problem.errors
    said |= problem.more
    answer = Response(json.dumps(said, ensure_ascii=False), problem.status, problem.headers, mimetype=PROBLEM_TYPE)
    answer.headers["Cache-Control"] = "no-store"
    return answer


_PLAIN: Mapping[int, tuple[str, str, str]] = {
    400: ("not-readable", "The request cannot be read.", "Look at the description: /api/v1/openapi.json."),
    403: ("refused", "This request comes from a page of another site, or may not be made.", "Send it from a program, with a token of its own."),
    404: ("not-found", "There is nothing at this address.", "The addresses are listed in /api/v1/openapi.json."),
    421: ("other-name", "This server is not known under that name.", "Start it with the name under which programs reach it."),
    405: ("no-such-method", "This cannot be done here.", "The header Allow lists what can."),
    413: ("too-large", "The body is too large.", "One request records one job: send several, or import a file of many: driftbook import FILE"),
}  # fmt: skip


def of_status(status: int, headers: Mapping[str, str] | None = None) -> ProblemError:
    """Give the problem for a status that the server itself answers with; a page, or a way to one, is nothing here."""
    known = 404 if status < 400 else status
    code, detail, remedy = _PLAIN.get(known, _PLAIN[400])
    if known >= 500:
        code, detail, remedy = "fault", "This did not work.", "Look into the log of the server."
    return ProblemError(known, code, detail, remedy=remedy, headers=headers)


def of_error(error: Exception) -> ProblemError:
    """Give the problem for whatever went wrong; a fault of the program gets a number under which it is logged."""
    if isinstance(error, ProblemError):
        return error
    away = noticed(error)
    if away is not None:
        return ProblemError(503, away.code, away.text, remedy=away.remedy, headers={"Retry-After": str(RETRY_SECONDS)})
    if isinstance(error, AlteredBookError):
        return ProblemError(500, "altered", error.message, remedy=error.remedy)
    if isinstance(error, DriftbookError):
        return ProblemError(422, "not-valid", error.message, remedy=error.remedy)
    if isinstance(error, HTTPException):
        found = error.get_response()
        allow = found.headers.get("Allow")
        return of_status(error.code or 500, {"Allow": allow} if allow else None)
    reference = secrets.token_hex(4)
    LOG.error("reference %s: %s", reference, error, exc_info=error)
    return ProblemError(
        500, "fault", f"This did not work. In the log of the server it stands under reference {reference}.",
        remedy="Send the reference to whoever looks after the book.",
    )  # fmt: skip
