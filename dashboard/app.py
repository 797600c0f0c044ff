"""Building the application: the one place where settings, book, clock, pages and headers meet."""

from __future__ import annotations

import logging
import secrets
from collections.abc import Callable, Collection
from typing import Any

import dash
from flask import Flask, Response, jsonify

from dashboard import proofs_routes, shell
from dashboard.answers import keep_answers
from dashboard.api import routes as api_routes
from dashboard.auth.access import Access
from dashboard.auth.installing import install_door
from dashboard.auth.outside import Outside
from dashboard.away import Away, fills_page, install_watch, noticed, part
from dashboard.components.pieces import failure, later
from dashboard.context import Book, Clock, Context, install, system_clock
from dashboard.copies import Copy, NotedDesk, read_again
from dashboard.desk import Desk
from dashboard.edition import edition, refuse_older
from dashboard.files import routes as file_routes
from dashboard.ids import Shell
from dashboard.long_requests import install_long
from dashboard.monitor import Probe, install_monitor
from dashboard.packed import pack_answers
from dashboard.picture import StillReadingError
from dashboard.reports import routes as report_routes
from dashboard.security import install_headers, refuse_others
from dashboard.server import HEALTH
from dashboard.theme import css_variables
from dashboard.warming import pictures_of
from dashboard.words import ENGLISH, Language, say, speaking
from models.errors import DriftbookError
from models.settings import Settings
from models.store.replica import Replica

LOG = logging.getLogger("driftbook.reader")

INDEX = """<!DOCTYPE html>
<html lang="{language}" data-edition="{edition}">
<head>
{{%metas%}}
<title>{{%title%}}</title>
<link rel="icon" type="image/svg+xml" href="/assets/mark.svg">
{{%css%}}
<style>{variables}</style>
</head>
<body>
{{%app_entry%}}
<noscript><p class="waiting">{no_script}</p></noscript>
{{%config%}}
{{%scripts%}}
{{%renderer%}}
</body>
</html>
"""


def create_app(
    settings: Settings,
    reader: Book,
    *,
    clock: Clock = system_clock,
    desk: Desk | None = None,
    language: Language = ENGLISH,
    access: Access | None = None,
    outside: Outside | None = None,
    hosts: Collection[str] | None = None,
    probe: Probe | None = None,
    replica: Replica | None = None,
    signs: Callable[[], bool | None] | None = None,
) -> dash.Dash:
    """Build the application for one book.

    Parameters
    ----------
    settings : Settings
        Where the book is. [unitless]
    reader : Book
        The way out of the book. [unitless]
    clock : callable
        Gives the present time; tests pass their own. [unitless]
    desk : Desk, optional
        The way into the book; without one the pages only show. [unitless]
    language : Language
        The table of texts in which it answers. [unitless]
    access : Access, optional
        The door; without one nobody is asked who they are. [unitless]
    outside : Outside, optional
        A provider that people may sign in through. [unitless]
    hosts : collection of str, optional
        Names under which it is reached; any name where none is given. [unitless]
    probe : callable, optional
        Looks whether the book can be worked with, for a monitor. [unitless]
    replica : Replica, optional
        A replica from which what only shows is read. [unitless]
    signs : callable, optional
        Looks whether new heads of the book are signed, for a monitor. [unitless]

    Returns
    -------
    dash.Dash
        Ready to be served; see ``dashboard.server``.
    """
    with speaking(language):
        app = dash.Dash(
            "dashboard",
            title=say("brand"),
            update_title="",
            pages_folder="",
            use_pages=False,
            serve_locally=True,
            # Layouts are skeletons whose content comes later: ids that are not there yet are meant.
            suppress_callback_exceptions=True,
            on_error=_on_error,
            index_string=INDEX.format(
                language=say("language"),
                edition=edition(),
                variables=css_variables(),
                no_script=say("shell.no_script"),
            ),
            meta_tags=[{"name": "description", "content": say("shell.description")}],
            enable_mcp=False,
        )
        app.layout = shell.layout()
    answer_in(app.server, language)
    copy = None if replica is None else Copy(replica, clock)
    if copy is not None and desk is not None:
        desk = NotedDesk(desk, copy.written)
    pictures = pictures_of(reader, clock)
    watch = install_watch(app.server, getattr(reader, "engine", None))
    install(app.server, Context(settings, reader, clock, desk, pictures=pictures, access=access, copy=copy))
    shell.register(app)
    keep_answers(app)
    pack_answers(app.server)
    install_headers(app)
    refuse_others(app, hosts)
    refuse_older(app)
    install_door(app, outside)
    install_long(app)
    file_routes.install(app)
    report_routes.install(app)
    proofs_routes.install(app)
    api_routes.install(app.server, reader)
    if copy is not None:
        read_again(app, copy)

    app.server.add_url_rule(HEALTH, endpoint="health", view_func=health)
    install_monitor(app.server, reader, probe, None if replica is None else replica.look, signs, watch=watch)
    return app


def health() -> Response:
    """Say that the server answers; that is no question to the book, which has an address of its own for it: ``/readyz``."""
    return jsonify({"well": True})


def answer_in(server: Flask, language: Language) -> None:
    """Let a server answer every request in one language, whichever thread it runs in."""
    asked = server.wsgi_app

    def answered(environ: Any, start: Any) -> Any:
        with speaking(language):
            return asked(environ, start)

    server.wsgi_app = answered  # type: ignore[method-assign, assignment]


def _on_error(error: Exception) -> Any:
    """Log what went wrong under a reference number, and show the number in place of the page."""
    if isinstance(error, StillReadingError):
        return _still_reading(error)
    away = noticed(error)
    if away is not None:
        return _away(away)
    reference = secrets.token_hex(4)
    LOG.error("reference %s: %s", reference, error, exc_info=error)
    told = str(error) if isinstance(error, DriftbookError) else ""
    outputs = dash.ctx.outputs_list
    on_page = isinstance(outputs, dict) and str(outputs.get("id", "")).endswith("-body")
    notice = told.partition("\n")[0] if on_page else told  # the page itself says the rest
    dash.set_props(Shell.NOTICE, {"children": notice or say("error.notice", reference=reference)})
    if on_page:
        return failure(reference, told)
    return None


def _away(away: Away) -> Any:
    """Say on a page that the book cannot be worked with; it is no fault of the program, and is logged once for all pages."""
    outputs = dash.ctx.outputs_list
    dash.set_props(Shell.NOTICE, {"children": away.text})
    several = isinstance(outputs, list)
    first = outputs[0] if several else outputs
    if not fills_page(str(first.get("id", ""))):
        return None
    return [part(away), *[dash.no_update] * (len(outputs) - 1)] if several else part(away)


def _still_reading(error: StillReadingError) -> Any:
    """Say on a page that its book is being read; what else was asked for stays as it is."""
    outputs = dash.ctx.outputs_list
    if not (isinstance(outputs, dict) and str(outputs.get("id", "")).endswith("-body")):
        return dash.no_update
    return later(say("picture.reading.title"), error.message, error.remedy)
