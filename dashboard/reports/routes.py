"""Addresses that give papers: the monthly review, the history of a machine, its field sheet, labels."""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import date

import dash
from flask import Response, request

from dashboard.auth.asking import signed
from dashboard.away import refused_file
from dashboard.context import context
from dashboard.fetch import Scene, file_scene
from dashboard.files.routes import attached
from dashboard.place import Place, read_month, shortened
from dashboard.reports import makers
from dashboard.reports.codes import base_address
from dashboard.reports.press import PAPERS, Paper, print_pdf
from dashboard.words import say
from models.errors import DriftbookError, InvalidValueError, UnknownNameError
from models.values.draft import Way

MONTH, ASSET, SHEET, LABELS = "reports.month", "reports.asset", "reports.sheet", "reports.labels"

ROUTES = {MONTH: "read", ASSET: "read", SHEET: "read", LABELS: "read"}
"""What each address needs, by its endpoint."""

MIME = "application/pdf"
MOST_LABELS = 500
"""More labels than this are made by the command, not while a browser waits."""


def install(app: dash.Dash) -> None:
    """Add the addresses to the application.

    Parameters
    ----------
    app : dash.Dash
        The application, with its context installed. [unitless]
    """
    add = app.server.add_url_rule
    add("/report/month/<month>.pdf", endpoint=MONTH, view_func=month_review, methods=["GET"])
    # A tag may hold a slash.
    add("/report/asset/<path:tag>.pdf", endpoint=ASSET, view_func=asset_history, methods=["GET"])
    add("/report/sheet/<path:tag>.pdf", endpoint=SHEET, view_func=field_sheet, methods=["GET"])
    add("/report/labels.pdf", endpoint=LABELS, view_func=labels, methods=["GET"])


def month_review(month: str) -> Response:
    """Give the monthly review."""

    def make(seen: Scene) -> tuple[Paper, str]:
        asked = read_month(Place("/", {"month": month}))
        if asked.value is None:
            raise UnknownNameError(say("report.unknown.month", asked=shortened(month)))
        return makers.month_review(_asking(seen), asked.value), f"review-{month}"

    return _answer(make)


def asset_history(tag: str) -> Response:
    """Give the history of a machine."""
    return _answer(lambda seen: (makers.asset_history(_asking(seen), tag), f"history-{tag}"))


def field_sheet(tag: str) -> Response:
    """Give the field sheet of a machine; ``fill=1`` gives the variant to be filled in on a screen."""
    fill = request.args.get("fill") == "1"

    def make(seen: Scene) -> tuple[Paper, str]:
        asking = _asking(seen)
        on, way = read_day(seen.place.get("date")), read_way(seen.place.get("method"))
        return makers.field_sheet(asking, tag, on, way, fillable=fill), f"sheet-{tag}"

    if not fill:
        return _answer(make)
    from dashboard.reports.forms import fillable_pdf

    return _answer(make, fillable_pdf)


def labels() -> Response:
    """Give labels of the machines that are named (``tag`` once or more), of an ``area``, or of all in service."""
    tags = [tag.strip() for tag in request.args.getlist("tag")[:MOST_LABELS] if tag.strip()]
    return _answer(
        lambda seen: (makers.labels(_asking(seen), tags, seen.place.get("area"), most=MOST_LABELS), "labels")
    )


def read_day(text: str) -> date | None:
    """Read the day of a sheet; ``None`` where none was asked for.

    Raises
    ------
    InvalidValueError
        If it is no day.
    """
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InvalidValueError(say("report.unknown.date", asked=shortened(text))) from None


def read_way(text: str) -> Way | None:
    """Read how will be measured, e.g. ``rim-and-face``; ``None`` where nothing was asked for.

    Raises
    ------
    InvalidValueError
        If the sheet has no room for it.
    """
    if not text:
        return None
    for way in Way:
        if text == way_code(way):
            return way
    raise InvalidValueError(say("report.unknown.method", asked=shortened(text)))


def way_code(way: Way) -> str:
    """Write a way of measuring as it stands in an address and behind an option."""
    return str(way.value).replace(" ", "-")


def read_size(text: str) -> str:
    """Read the size of the paper; A4 where none was asked for.

    Raises
    ------
    InvalidValueError
        If it is none that is known.
    """
    if text and text not in PAPERS:
        raise InvalidValueError(say("report.unknown.paper", asked=shortened(text)))
    return text or "a4"


def _asking(seen: Scene) -> makers.Asking:
    here = context()
    base = base_address(None, os.environ, request.url_root)
    return makers.Asking(
        here.book, seen.required, seen.display, here.clock(), read_size(seen.place.get("paper")), base, seen,
        printed_for(seen.required.site_id),
    )  # fmt: skip


def printed_for(site_id: int) -> str:
    """Say for whom a paper of a site is made: who is signed in, or that nobody was asked.

    Parameters
    ----------
    site_id : int
        The site. [unitless]
    """
    who = signed()
    if who is None:
        return say("report.maker.anybody")
    return say("report.maker.person", person=who.account.person(site_id))


def _answer(make: Callable[[Scene], tuple[Paper, str]], press: Callable[[Paper], bytes] = print_pdf) -> Response:
    try:
        seen = file_scene(request.path, request.query_string.decode("utf-8", "replace"))
        if seen.site is None:
            raise UnknownNameError(say("report.no_site"))
        paper, name = make(seen)
        body = press(paper)
    except DriftbookError as fault:
        status = 404 if isinstance(fault, UnknownNameError) else 400 if isinstance(fault, InvalidValueError) else 409
        return refused_file(fault, status)
    answer = Response(body, content_type=MIME)
    answer.headers["Content-Disposition"] = attached(f"{name}.pdf").replace("attachment", "inline", 1)
    answer.headers["Cache-Control"] = "private, no-store"
    return answer
