"""Headers that go with every answer, and a check of what comes in: nothing from outside, nothing to outside."""

from __future__ import annotations

from functools import lru_cache
from urllib.parse import urlsplit

import dash
from flask import Response, abort, request

HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
}


def install_headers(app: dash.Dash) -> None:
    """Add the headers to every answer of the application.

    The hashes of the page's own inline scripts are known only after Dash has
    set itself up, so they are asked for with the first answer, not before.
    """

    @lru_cache(maxsize=1)
    def policy() -> str:
        hashes = " ".join(dict.fromkeys(app.csp_hashes()))
        # Mantine, AG Grid and Plotly write styles into the page: without 'unsafe-inline' for styles it falls apart.
        return (
            f"default-src 'self'; script-src 'self' {hashes}; style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; "
            "font-src 'self' data:; connect-src 'self'; worker-src 'self' blob:; object-src 'none'; base-uri 'none'; "
            "frame-ancestors 'none'; form-action 'self'"
        )

    def add(response: Response) -> Response:
        for name, value in HEADERS.items():
            response.headers.setdefault(name, value)
        response.headers.setdefault("Content-Security-Policy", policy())
        if response.mimetype in {"application/json", "text/html"}:
            response.headers.setdefault("Cache-Control", "no-store")
        return response

    app.server.after_request(add)


SAFE = frozenset({"GET", "HEAD", "OPTIONS"})


def comes_from_here(method: str, fetch_site: str | None, origin: str | None, host: str) -> bool:
    """Tell whether a request was made by a page of this very server, or by no page at all.

    Parameters
    ----------
    method : str
        Method of the request. [unitless]
    fetch_site : str or None
        Header Sec-Fetch-Site, which every present browser sends and no page can forge. [unitless]
    origin : str or None
        Header Origin, for browsers without the other one. [unitless]
    host : str
        Host to which the request was sent. [unitless]

    Returns
    -------
    bool
        False for a page of another site that writes here in the name of whoever looks at it.
    """
    if method in SAFE:
        return True
    if fetch_site is not None:
        return fetch_site in {"same-origin", "none"}
    return origin is None or urlsplit(origin).netloc == host


def refuse_others(app: dash.Dash) -> None:
    """Refuse what a page of another site sends: 403."""

    def check() -> None:
        headers = request.headers
        if not comes_from_here(request.method, headers.get("Sec-Fetch-Site"), headers.get("Origin"), request.host):
            abort(403)

    app.server.before_request(check)
