"""What the pages and routes ask about a request: who is signed in and what they may do, their cookies and their forms."""

from __future__ import annotations

import hashlib
import hmac
import secrets
from typing import Any, Final, cast
from urllib.parse import urlsplit

from flask import current_app, g, request
from werkzeug.wrappers import Response

from dashboard.auth.access import Access, Signed
from dashboard.context import KEY, Context
from dashboard.place import Place
from models.values.roles import Permission
from models.values.story import Site

SIGN_IN: Final = "/sign-in"
PASSWORD: Final = "/password"  # noqa: S105 - the path of the page

_SESSION: Final = "driftbook"
_FORM: Final = "driftbook-form"


def unguarded() -> Context:
    """Give the context as it was installed, unguarded."""
    return cast("Context", cast("dict[str, Any]", current_app.config)[KEY])


def access_of_app() -> Access | None:
    """Give the door of the application that answers; ``None`` where nobody is asked who they are."""
    return unguarded().access


def signed() -> Signed | None:
    """Give who is signed in; ``None`` where nobody has to be."""
    return cast("Signed | None", g.get("signed", None))


def may(permission: Permission, site_id: int) -> bool:
    """Tell whether who asks may do something at a site; anybody may where nobody has to be signed in."""
    who = signed()
    return who is None or who.may(permission, site_id)


def may_sign(site_id: int) -> bool:
    """Tell whether who asks may sign off at a site: anybody where nobody has to be signed in, in a book that can be written."""
    return unguarded().desk is not None and may(Permission.SIGN_OFF, site_id)


def may_void(site_id: int) -> bool:
    """Tell whether who asks may void a job at a site: as for amending one, in a book that can be written."""
    return unguarded().desk is not None and may(Permission.AMEND, site_id)


def may_import(site_id: int) -> bool:
    """Tell whether who asks may import files for a site, in a book that can be written."""
    return unguarded().desk is not None and may(Permission.IMPORT, site_id)


def may_set(site_id: int) -> bool:
    """Tell whether who asks may change how a site is set: who administers it, in a book that can be written."""
    return unguarded().desk is not None and may(Permission.ADMINISTER, site_id)


def lost_site(place: Place) -> Site | None:
    """Give the site of an address if who asks had a role there once and may not read it any more.

    That it is there they know already; of a site at which they never had a role they learn nothing.
    """
    who, code = signed(), place.get("site").casefold()
    if who is None or not code:
        return None
    theirs = (site for site in unguarded().book.sites() if site.site_id in who.account.sites)
    found = next((site for site in theirs if site.code.casefold() == code), None)
    return None if found is None or who.may(Permission.READ, found.site_id) else found


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
