"""Addresses that give files: tables, and the calendar of one person."""

from __future__ import annotations

from urllib.parse import quote

import dash
from flask import Response, request

from dashboard.files.tables import FORMS, make_table
from models.errors import DriftbookError, UnknownNameError

TABLE = "files.table"

ROUTES = {TABLE: "read"}
"""What each address needs, by its endpoint."""


def install(app: dash.Dash) -> None:
    """Add the addresses to the application.

    Parameters
    ----------
    app : dash.Dash
        The application, with its context installed. [unitless]
    """
    app.server.add_url_rule(
        "/table/<name>.<any(csv,xlsx,parquet):form>", endpoint=TABLE, view_func=table, methods=["GET"]
    )


def table(name: str, form: str) -> Response:
    """Give a table as a file, for the same query as that of its page."""
    chosen = FORMS[form]
    try:
        made = make_table(name, request.query_string.decode("utf-8", "replace"))
        body = chosen.write(made)
    except DriftbookError as fault:
        return _refused(fault)
    answer = Response(body, mimetype=chosen.mime)
    answer.headers["Content-Disposition"] = attached(f"{made.stem}.{form}")
    answer.headers["Cache-Control"] = "no-store"
    return answer


def attached(name: str) -> str:
    """Write the header that makes a browser keep an answer as a file of a name (RFC 6266).

    Parameters
    ----------
    name : str
        Name of the file; letters that a header cannot hold are sent in the form of RFC 8187. [unitless]
    """
    plain = "".join(letter if letter.isascii() and (letter.isalnum() or letter in "-_.") else "-" for letter in name)
    return f"attachment; filename=\"{plain}\"; filename*=UTF-8''{quote(name, safe='')}"


def _refused(fault: DriftbookError) -> Response:
    status = 404 if isinstance(fault, UnknownNameError) else 409
    return Response(f"{fault}\n", status=status, mimetype="text/plain; charset=utf-8")
