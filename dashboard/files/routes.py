"""Addresses that give files: tables, and the calendar of a site, under the secret address of one person."""

from __future__ import annotations

from typing import Any, cast
from urllib.parse import quote

import dash
from flask import Response, current_app, request

from dashboard.away import refused_file
from dashboard.context import KEY, Context, as_read
from dashboard.files.tables import FORMS, make_table
from dashboard.kept import keep
from dashboard.place import asset_path
from models.errors import DriftbookError, UnknownNameError

TABLE, CALENDAR = "files.table", "files.calendar"

ROUTES = {TABLE: "read", CALENDAR: "open"}
"""What each address needs, by its endpoint.  The calendar's own secret stands in its address."""

ESTIMATES = "Driftbook-Estimates"
"""Header of an answer with dates that are not the last word: the entry up to which averages of classes and calibration go."""

_LONGEST_SECRET = 200


def install(app: dash.Dash) -> None:
    """Add the addresses to the application.

    Parameters
    ----------
    app : dash.Dash
        The application, with its context installed. [unitless]
    """
    add = app.server.add_url_rule
    add("/table/<name>.<any(csv,xlsx,parquet):form>", endpoint=TABLE, view_func=table, methods=["GET"])
    add("/calendar/<secret>.ics", endpoint=CALENDAR, view_func=calendar, methods=["GET"])


def table(name: str, form: str) -> Response:
    """Give a table as a file, for the same query as that of its page."""
    chosen = FORMS[form]
    try:
        made = make_table(name, request.query_string.decode("utf-8", "replace"))
        body = chosen.write(made)
    except DriftbookError as fault:
        return refused_file(fault, 404 if isinstance(fault, UnknownNameError) else 409)
    answer = _file(body, chosen.mime, attached(f"{made.stem}.{form}"))
    if made.estimates is not None:  # a CSV has no place for it, and programs fetch it
        answer.headers[ESTIMATES] = str(made.estimates)
    return answer


def calendar(secret: str) -> Response:
    """Give the calendar of a secret address; an unknown one, an ended one and one too long are told the same."""
    from dashboard.files.calendar_feed import MIME
    from dashboard.files.recheck_calendar import recheck_dates

    # Nobody is signed in here: the secret says which site may be read, so the book is asked past the gate.
    here = as_read(cast("Context", cast("dict[str, Any]", current_app.config)[KEY]))
    site_id = here.book.calendar_site(secret[:_LONGEST_SECRET])
    site = next((one for one in here.book.sites() if one.site_id == site_id), None)
    if site is None:
        return Response("There is no such calendar.\n", status=404, mimetype="text/plain")
    choices = request.args
    by = "rule" if choices.get("by") == "rule" else "risk"
    risk = int(choices["risk"]) if choices.get("risk") in {"5", "10", "20"} else 10
    base = request.url_root.rstrip("/")
    history, now = here.pictures.history(here.book, site.site_id), here.clock()
    dates = recheck_dates(
        history,
        site,
        now,
        by=by,
        risk=risk,
        address_of=lambda tag: f"{base}{asset_path(tag)}?site={quote(site.code)}",
    )
    # A program that looks twice a day must not find every event changed: they bear the moment at which this was first said.
    made_at = keep(history, ("calendar", dates.digest), lambda: now)
    answer = _file(dates.text(made_at).encode(), MIME, 'inline; filename="driftbook.ics"')
    answer.headers["Cache-Control"] = "private, no-cache"
    # A weak one: another process of the server may have said the same at another moment.
    answer.set_etag(dates.digest, weak=True)
    answer.make_conditional(request)
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


def _file(body: bytes, mime: str, disposition: str) -> Response:
    answer = Response(body, content_type=mime)
    answer.headers["Content-Disposition"] = disposition
    answer.headers["Cache-Control"] = "private, no-store"
    return answer
