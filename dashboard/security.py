"""Headers that go with every answer: nothing from outside, nothing to outside."""

from __future__ import annotations

from functools import lru_cache

import dash
from flask import Response

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
