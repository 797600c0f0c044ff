"""Which edition of the program a page came from: a page that was open while the program was renewed must not work with the new one.

Its elements and the answers that it asks for belong to each other.  So each page
says which edition it is of whenever it asks, and one of another edition is told to
be loaded again, before anything is done for it.
"""

from __future__ import annotations

import hashlib
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any, Final

import dash
from dash import html
from flask import Response, request
from plotly.io.json import to_json_plotly as to_json

from dashboard.roles import UPDATE
from dashboard.words import say

HEADER: Final = "X-Driftbook-Edition"

_OURS: Final = ("dashboard", "models")

_DRAWN_BY: Final = ("dash", "dash-mantine-components", "dash-ag-grid", "plotly")
"""Packages that bring scripts of their own into the page."""


@cache
def edition() -> str:
    """Give a short mark of everything that pages and answers are made of: our own files, and the versions of what draws."""
    digest = hashlib.sha256()
    for package in _DRAWN_BY:
        digest.update(f"{package} {version(package)}\n".encode())
    root = Path(__file__).resolve().parents[1]
    for path in sorted(path for package in _OURS for path in (root / package).rglob("*")):
        if path.suffix in {".py", ".js", ".css"}:
            digest.update(f"{path.relative_to(root).as_posix()}\n".encode())
            digest.update(hashlib.sha256(path.read_bytes()).digest())
    return digest.hexdigest()[:16]


def refuse_older(app: dash.Dash) -> None:
    """Let an application answer what a page of another edition asks with a line that it has to be loaded again (409).

    Who says nothing of an edition, as a program does, is answered as always.

    Parameters
    ----------
    app : dash.Dash
        The application. [unitless]
    """
    own = edition()

    def check() -> Any:
        said = request.headers.get(HEADER)
        if request.endpoint != UPDATE or said is None or said == own:
            return None
        notice = html.Span([say("line.renewed"), " ", html.A(say("line.again"), href="")])
        return Response(to_json({"notice": notice, "edition": own}), 409, mimetype="application/json")

    app.server.before_request(check)
