"""The gate in front of every request: who asks, what the table says that it needs, and whether they may.

This is the one hook; routes, downloads and callbacks all pass it.
"""

from __future__ import annotations

import hashlib
import hmac
import logging
import secrets
from typing import Any, Final, cast
from urllib.parse import quote, urlsplit

import dash
from flask import abort, current_app, g, jsonify, redirect, request
from werkzeug.wrappers import Response

from dashboard import roles
from dashboard.auth.access import Access, Signed
from dashboard.auth.calls import well_formed
from dashboard.context import KEY, Context
from dashboard.place import read_place, read_site
from dashboard.words import say
from models.values.roles import Permission

LOG = logging.getLogger("driftbook.door")

SIGN_IN: Final = "/sign-in"
PASSWORD: Final = "/password"  # noqa: S105 - the path of the page

_SESSION: Final = "driftbook"
_FORM: Final = "driftbook-form"


def install_gate(app: dash.Dash) -> None:
    """Put the gate in front of the application, and behind it a look at whether a callback is called as Dash calls it."""

    def formed() -> None:
        if request.endpoint == roles.UPDATE and request.method == "POST":
            body = request.get_json(silent=True)
            if not well_formed(body, app.callback_map):
                abort(400)

    app.server.before_request(check)
    app.server.before_request(formed)


def check() -> Any:
    """Let a request through, or answer it here."""
    access = access_of_app()
    g.signed = None
    if access is None or not access.needed():
        return None
    g.signed = access.who(request.cookies.get(session_cookie()))
    if request.endpoint is None or request.method == "OPTIONS":
        return None  # Flask answers that there is no such page or method; OPTIONS tells methods and no more
    wanted = _needed()
    if wanted is None:
        return _refused(say("gate.unknown"))
    return None if wanted <= {Permission.OPEN, Permission.TOKEN} else _ask(wanted)


def _ask(wanted: frozenset[Permission]) -> Any:
    """Hold what is needed against who is signed in."""
    if g.signed is None:
        return _sign_in_first()
    if wanted <= {Permission.SELF}:
        return None
    if g.signed.must_change:
        return _away(PASSWORD)
    site_id = None if Permission.ADMINISTER in wanted else _site_asked(g.signed)
    if all(g.signed.may(one, site_id) for one in wanted):
        return None
    return _refused(say("gate.roles", needed=", ".join(say(f"permission.{one.value}") for one in sorted(wanted))))


def _needed() -> frozenset[Permission] | None:
    if request.endpoint != roles.UPDATE:
        one = roles.of_route(request.endpoint)
        return None if one is None else frozenset({one})
    body = request.get_json(silent=True)
    return roles.of_callback(body.get("output")) if isinstance(body, dict) else None


def _site_asked(who: Signed) -> int | None:
    """Give the site of a route's address, read as the routes read it; ``None`` for callbacks, whose site the book guards."""
    if request.endpoint == roles.UPDATE:
        return None
    here = _context()
    sites = tuple(site for site in here.book.sites() if who.may(Permission.READ, site.site_id))
    site = read_site(read_place(request.path, request.query_string.decode("utf-8", "replace")), sites).value
    return None if site is None else site.site_id


def _sign_in_first() -> Any:
    return _away(f"{SIGN_IN}?next={quote(_asked_for(), safe='')}" if _asked_for() != "/" else SIGN_IN)


def _asked_for() -> str:
    query = request.query_string.decode("utf-8", "replace")
    return f"{request.path}?{query}" if query else request.path


def _away(where: str) -> Any:
    """Send a person who looks at a page elsewhere, and tell a script that it has to go there."""
    if request.method in {"GET", "HEAD"} and not request.path.startswith("/_") and request.accept_mimetypes.accept_html:
        return redirect(where)
    plain = urlsplit(where).path
    return jsonify({"sign_in": plain, "notice": say("gate.signed_out")}), 401


def _refused(text: str) -> Any:
    who = signed()
    LOG.warning(
        "refused: %s %s for %s from %s",
        request.method,
        request.path[:200],
        who.account.login if who else "nobody",
        request.remote_addr,
    )
    if request.path.startswith("/_") or not request.accept_mimetypes.accept_html:
        return jsonify({"notice": text}), 403
    from dashboard.auth.forms import message_page

    return message_page(say("gate.title"), text, 403)


# -- what the pages and routes ask of the gate ---------------------------------------------------------------------


def _context() -> Context:
    """Give the context as it was installed, unguarded."""
    return cast("Context", cast("dict[str, Any]", current_app.config)[KEY])


def access_of_app() -> Access | None:
    """Give the door of the application that answers; ``None`` where nobody is asked who they are."""
    return _context().access


def signed() -> Signed | None:
    """Give who is signed in; ``None`` where nobody has to be."""
    return cast("Signed | None", g.get("signed", None))


def may(permission: Permission, site_id: int) -> bool:
    """Tell whether who asks may do something at a site; anybody may where nobody has to be signed in."""
    who = signed()
    return who is None or who.may(permission, site_id)


def may_sign(site_id: int) -> bool:
    """Tell whether who asks may sign off at a site: anybody where nobody has to be signed in, in a book that can be written."""
    return _context().desk is not None and may(Permission.SIGN_OFF, site_id)


# -- cookies and forms ---------------------------------------------------------------------------------------------


def session_cookie() -> str:
    """Give the name of the cookie of a session.

    Over https it begins with ``__Host-``: a browser then takes it from this very host only, for every path, and secure.
    """
    return f"__Host-{_SESSION}" if request.is_secure else _SESSION


def set_cookie(response: Response, name: str, value: str, *, seconds: int | None = None) -> None:
    """Set a cookie that no script can read and no other site sends along with what it posts here."""
    response.set_cookie(name, value, httponly=True, secure=request.is_secure, samesite="Lax", path="/", max_age=seconds)


def drop_cookie(response: Response, name: str) -> None:
    """Take a cookie away."""
    response.delete_cookie(name, httponly=True, secure=request.is_secure, samesite="Lax", path="/")


def form_cookie() -> str:
    """Give the name of the cookie that binds a form to the browser of somebody who is not signed in."""
    return f"__Host-{_FORM}" if request.is_secure else _FORM


def form_secret() -> str:
    """Give the secret to which the forms of this browser are bound: its session's token, or a cookie of its own."""
    held = request.cookies.get(session_cookie()) if signed() is not None else request.cookies.get(form_cookie())
    if held:
        return held[:200]
    if "form_secret" not in g:
        g.form_secret = secrets.token_urlsafe(32)
    return cast("str", g.form_secret)


def form_mark(secret: str) -> str:
    """Give what a form carries so that it is known again as ours."""
    return hmac.new(secret.encode(), b"form", hashlib.sha256).hexdigest()


def form_is_ours() -> bool:
    """Tell whether the form that was sent was made for this browser."""
    cookie = request.cookies.get(session_cookie()) if signed() is not None else request.cookies.get(form_cookie())
    given = request.form.get("mark", "")
    return bool(cookie) and hmac.compare_digest(given.encode(), form_mark(str(cookie)[:200]).encode())


def safe_next(asked: str | None) -> str:
    """Give an address of this very server to go on to after signing in; the first page for anything else."""
    text = asked or ""
    if not text.startswith("/") or text.startswith("//") or len(text) > 2000:
        return "/"
    if "\\" in text or any(ord(letter) < 33 or ord(letter) == 127 for letter in text):
        return "/"
    parts = urlsplit(text)
    if parts.scheme or parts.netloc or parts.path.startswith(("/_", SIGN_IN, "//")):
        return "/"
    return text
