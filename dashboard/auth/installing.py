"""Putting the door into an application: its pages, the gate, and what is said where something is refused."""

from __future__ import annotations

import logging
import secrets

import dash
import sqlalchemy as sa
from dash.exceptions import DependencyException
from flask import Flask, Response, jsonify, request
from werkzeug.exceptions import InternalServerError

import dashboard.auth.outside_pages  # noqa: F401 - adds its pages to those of the door
from dashboard import roles
from dashboard.auth.access import NotAllowedError
from dashboard.auth.accounts_page import ACCOUNTS
from dashboard.auth.asking import safe_next
from dashboard.auth.door_page import DOOR
from dashboard.auth.forms import message_page
from dashboard.auth.gate import install_gate
from dashboard.auth.outside import Outside, install_outside
from dashboard.auth.signing_page import SIGNING
from dashboard.auth.site_page import SETTING
from dashboard.auth.voiding_page import VOIDING
from dashboard.away import Away, answered, callback_answer, noticed
from dashboard.importing.import_page import IMPORTING
from dashboard.logs import quiet_faults
from dashboard.words import say, tell
from models.errors import DriftbookError

LOG = logging.getLogger("driftbook.door")


def install_door(app: dash.Dash, outside: Outside | None = None) -> None:
    """Put the gate in front of everything, and add the pages for signing in and for accounts.

    Parameters
    ----------
    app : dash.Dash
        The application, with its context installed. [unitless]
    outside : Outside, optional
        A provider that people may sign in through. [unitless]
    """
    server: Flask = app.server
    install_outside(server, outside)
    server.register_blueprint(DOOR)
    server.register_blueprint(ACCOUNTS)
    server.register_blueprint(SIGNING)
    server.register_blueprint(VOIDING)
    server.register_blueprint(SETTING)
    server.register_blueprint(IMPORTING)
    server.register_error_handler(DriftbookError, _said)
    server.register_error_handler(sa.exc.TimeoutError, _said)
    server.register_error_handler(DependencyException, _no_such_file)
    server.register_error_handler(InternalServerError, _unexpected)
    quiet_faults(server)
    install_gate(app)


def _no_such_file(fault: Exception) -> tuple[str, int]:
    """Say that there is no such script, where Dash would call it a fault of the program."""
    del fault
    return "", 404


def _unexpected(fault: InternalServerError) -> Response:
    """Say under which number a fault of the program stands in the log, and nothing else of it; Flask has logged its cause by then."""
    reference = secrets.token_hex(4)
    LOG.error("reference %s: %s", reference, fault.original_exception or fault)
    text = say("error.text", reference=reference)
    if request.path.startswith("/_") or not request.accept_mimetypes.accept_html:
        answer = jsonify({"notice": text})
        answer.status_code = 500
        return answer
    return message_page(say("error.title"), text, 500)


def _said(fault: DriftbookError | sa.exc.TimeoutError) -> Response:
    """Say in words what a person can mend; it is no fault of the program."""
    away = noticed(fault)
    if away is not None:
        return _later(away)
    assert isinstance(fault, DriftbookError)  # noqa: S101 - the other is always one of the book
    said = " ".join(tell(part) for part in (fault.message, fault.remedy) if part)
    if isinstance(fault, NotAllowedError):
        return message_page(say("gate.title"), said, 403)
    return message_page(say("door.not_done"), said, 400)


def _later(away: Away) -> Response:
    """Say that the book cannot be worked with now, as whoever asks can read it."""
    if request.endpoint == roles.UPDATE:
        body = request.get_json(silent=True)
        return callback_answer(away, body.get("output") if isinstance(body, dict) else "")
    if request.path.startswith("/_") or not request.accept_mimetypes.accept_html:
        return answered(jsonify({"notice": away.text}))
    again = safe_next(request.full_path.rstrip("?")) if request.method in {"GET", "HEAD"} else None
    return answered(message_page(say("away.title"), f"{away.text} {away.remedy}", 503, again=again))
