"""The address that gives the auditor's package of a machine."""

from __future__ import annotations

import dash
from flask import Response, request

from dashboard.auth.asking import may
from dashboard.away import refused_file
from dashboard.context import context
from dashboard.fetch import file_scene
from dashboard.files.routes import attached
from dashboard.proofs import package_of
from dashboard.reports.routes import printed_for
from dashboard.words import say
from models.errors import DriftbookError, UnknownNameError
from models.values.roles import Permission

PACKAGE = "proofs.package"

ROUTES = {PACKAGE: "audit"}
"""What each address needs, by its endpoint."""

MIME = "application/zip"


def install(app: dash.Dash) -> None:
    """Add the address to the application.

    Parameters
    ----------
    app : dash.Dash
        The application, with its context installed. [unitless]
    """
    # A tag may hold a slash.
    app.server.add_url_rule("/package/<path:tag>.zip", endpoint=PACKAGE, view_func=package, methods=["GET"])


def may_audit(site_id: int) -> bool:
    """Tell whether who is signed in may have packages of a site; everybody may where nobody is asked who they are."""
    return may(Permission.AUDIT, site_id)


def package(tag: str) -> Response:
    """Give the package of a machine."""
    try:
        seen = file_scene(request.path, request.query_string.decode("utf-8", "replace"))
        if seen.site is None:
            raise UnknownNameError(say("report.no_site"))
        here = context()
        made = package_of(here.book, seen.site, tag, here.clock(), by=printed_for(seen.site.site_id))
    except DriftbookError as fault:
        return refused_file(fault, 404 if isinstance(fault, UnknownNameError) else 409)
    answer = Response(made, content_type=MIME)
    answer.headers["Content-Disposition"] = attached(f"history-{tag}.zip")
    answer.headers["Cache-Control"] = "private, no-store"
    return answer
