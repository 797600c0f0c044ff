"""Headers that go with every answer, and checks of what comes in: nothing from outside, nothing to outside.

The headers are those that OWASP's list of secure headers names, as far as a browser of today knows them.
"""

from __future__ import annotations

import logging
import re
import time
from collections.abc import Collection
from functools import lru_cache
from typing import Any, Final
from urllib.parse import urlsplit

import dash
from flask import Response, abort, request

HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "X-Permitted-Cross-Domain-Policies": "none",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
}

HSTS = "max-age=31536000; includeSubDomains"
"""Said over https only: for a year a browser asks this host in no other way."""

MOST_BYTES: Final = 4 << 20
"""Longest request that is read, in bytes: a filled-in form has some kilobytes."""

MOST_OF_A_FILE: Final = 12 << 20
"""Longest request that the server takes at all, in bytes: a file that is sent to be imported, with room for saying that it is too long."""

MOST_OF_A_FORM: Final = 256 << 10
MOST_FIELDS: Final = 200


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
        if request.is_secure:
            response.headers.setdefault("Strict-Transport-Security", HSTS)
        if response.mimetype in {"application/json", "text/html"}:
            response.headers.setdefault("Cache-Control", "no-store")
        return response

    app.server.after_request(add)
    app.server.config["MAX_CONTENT_LENGTH"] = MOST_BYTES
    app.server.config["MAX_FORM_MEMORY_SIZE"] = MOST_OF_A_FORM
    app.server.config["MAX_FORM_PARTS"] = MOST_FIELDS


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


def refuse_others(app: dash.Dash, hosts: Collection[str] | None = None) -> None:
    """Refuse what a page of another site sends, 403, and what is sent to another name than ours, 421.

    The second keeps out a page of an outside name that is made to lead to this machine
    (DNS rebinding): a browser would take it for a page of this server.

    Parameters
    ----------
    app : dash.Dash
        The application. [unitless]
    hosts : collection of str, optional
        Names under which this server is reached, without a port; any name where none is given. [unitless]
    """
    known = None if hosts is None else {name.casefold() for name in hosts}

    def check() -> None:
        headers = request.headers
        if known is not None and host_of(request.host) not in known:
            abort(421)
        if not comes_from_here(request.method, headers.get("Sec-Fetch-Site"), headers.get("Origin"), request.host):
            abort(403)

    app.server.before_request(check)


def host_of(host: str) -> str:
    """Give the name of a host without its port, in small letters."""
    name = host.strip().casefold()
    if name.startswith("["):
        return name.partition("]")[0].lstrip("[")
    return name.partition(":")[0].rstrip(".")


# -- the log -------------------------------------------------------------------------------------------------------

# Each begins at one place of a word only, and looks at a letter a few times at most: a stranger writes some of what is logged.
_SECRETS: Final = (
    (re.compile(r"(?i)\b(authorization|cookie|set-cookie)(['\"]?\s*[:=]\s*['\"]?)[^\r\n]+"), r"\1\2…"),
    (re.compile(r"(?i)\b(bearer|basic)\s+[\w.~+/=-]{8,}"), r"\1 …"),
    (
        re.compile(
            r"(?i)(?<![\w-])((?>[\w-]*?(?:password|passwd|secret|token|mark|verifier))[\w-]*+)(['\"]?\s*[:=]\s*)"
            r"(?:'[^']*'|\"[^\"]*\"|[^\s&,;'\"}\])]+)"
        ),
        r"\1\2…",
    ),
    (re.compile(r"(?i)([?&](?:code|state|key)=)[^\s&\"']+"), r"\1…"),
    (re.compile(r"(://[^/\s:@]*):[^/\s@]+@"), r"\1:…@"),
    (re.compile(r"\$argon2\w*\$\S+"), "…"),
)


def without_secrets(text: str) -> str:
    """Take out of a line of the log what looks like a password, a token or a cookie."""
    for pattern, instead in _SECRETS:
        text = pattern.sub(instead, text)
    return text


UNSEEN: Final = re.compile(
    "[\x00-\x1f\x7f-\x9f"  # control characters: ESC begins colours and moves the cursor, NEL ends a line
    "\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069"  # what turns the direction of writing around
    "\u2028\u2029"  # ends of lines and paragraphs
    "\ud800-\udfff]"  # halves of a pair of surrogates, which no output takes
)
"""Characters of which none stands in the log as it is: a terminal or reader of the log would obey them."""

_SHORT: Final = {"\r": "\\r", "\n": "\\n", "\t": "\\t"}


def written_out(text: str) -> str:
    r"""Write out what is no visible character: ``\n``, ``\x1b``, ``\u2028``."""
    return UNSEEN.sub(lambda found: _SHORT.get(found[0]) or _code(ord(found[0])), text)


def _code(number: int) -> str:
    return f"\\x{number:02x}" if number < 0x100 else f"\\u{number:04x}"


class QuietFormatter(logging.Formatter):
    """Writes lines of the log without secrets, those of a traceback too, in UTC."""

    converter = time.gmtime  # type: ignore[assignment]  # typeshed leaves the seconds out

    def format(self, record: logging.LogRecord) -> str:
        """Write one record; a break of lines that came from outside cannot pretend to be another record."""
        plain = logging.makeLogRecord(record.__dict__)
        plain.msg, plain.args = written_out(record.getMessage()), ()
        if plain.exc_info:
            plain.exc_text = None  # another handler's form of it, which is not ours
        return without_secrets(super().format(plain))

    def formatException(self, ei: Any) -> str:  # noqa: N802 - the name of the standard library
        """Write a traceback, every line set in: what an error says may hold breaks of lines from outside."""
        lines = super().formatException(ei).split("\n")
        return "\n".join(f"  {written_out(line)}" for line in lines)


def install_log() -> None:
    """Send the log of the server to its standard error, without secrets; what is there already is given the same form."""
    root = logging.getLogger()
    if not root.handlers:
        root.addHandler(logging.StreamHandler())
    for handler in root.handlers:
        handler.setFormatter(QuietFormatter("%(asctime)sZ %(levelname)s %(name)s: %(message)s", "%Y-%m-%dT%H:%M:%S"))
    logging.getLogger("driftbook").setLevel(logging.INFO)
