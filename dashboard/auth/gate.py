"""The gate in front of every request: who asks, what the table says that it needs, and whether they may.

This is the one hook; routes, downloads and callbacks all pass it.
"""

from __future__ import annotations

import logging
from typing import Any
from urllib.parse import quote, urlsplit

import dash
from flask import abort, g, jsonify, redirect, request

from dashboard import roles
from dashboard.auth.access import Signed
from dashboard.auth.asking import PASSWORD, SIGN_IN, access_of_app, session_cookie, signed, unguarded
from dashboard.auth.calls import well_formed
from dashboard.auth.forms import message_page, page, tag
from dashboard.logs import shown_path
from dashboard.place import read_file_place, read_site
from dashboard.words import say
from models.values.roles import Permission

LOG = logging.getLogger("driftbook.door")


def install_gate(app: dash.Dash) -> None:
    """Put the gate in front of the application, and behind it a look at whether a callback is called as Dash calls it."""

    def read() -> None:
        """Read the body of a callback once; everybody after this is given what was read."""
        if request.endpoint == roles.UPDATE:
            try:
                request.get_json(silent=True)
            except RecursionError:  # lists within lists without end: no JSON that anybody could read
                abort(400)

    def formed() -> None:
        if request.endpoint == roles.UPDATE and request.method == "POST":
            body = request.get_json(silent=True)
            if not well_formed(body, app.callback_map):
                abort(400)

    app.server.before_request(read)
    app.server.before_request(check)
    app.server.before_request(formed)


def check() -> Any:
    """Let a request through, or answer it here."""
    access = access_of_app()
    g.signed = None
    # A monitor is answered, and a script or picture given, whether the book can be asked who is signed in or not.
    if access is None or request.endpoint in roles.WITHOUT_BOOK or not access.needed():
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
    needed = say("gate.roles", needed=", ".join(say(f"permission.{one.value}") for one in sorted(wanted)))
    return _refused(f"{needed} {say('gate.remedy')}")


def _needed() -> frozenset[Permission] | None:
    if request.endpoint != roles.UPDATE:
        one = roles.of_route(request.endpoint)
        return None if one is None else frozenset({one})
    body = request.get_json(silent=True)
    return roles.of_callback(body.get("output")) if isinstance(body, dict) else None


def _site_asked(who: Signed) -> int | None:
    """Give the site of a route's address, read as the routes read it.

    ``None``, which asks for any, for callbacks, whose site the book guards, and for files, which know their site.
    """
    if request.endpoint == roles.UPDATE or request.endpoint in roles.OF_A_FILE:
        return None
    here = unguarded()
    sites = tuple(site for site in here.book.sites() if who.may(Permission.READ, site.site_id))
    site = read_site(read_file_place(request.path, request.query_string.decode("utf-8", "replace")), sites).value
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
    if _is_form() and where != PASSWORD:
        # A page that stood open too long: it comes again after signing in, and what was chosen on it has to be chosen again.
        parts = (tag("p", say("gate.form_late")), tag("a", say("door.title"), href=where))
        return page(say("door.title"), tag("div", *parts, class_="blank"), status=401)
    plain = urlsplit(where).path
    return jsonify({"sign_in": plain, "notice": say("gate.signed_out")}), 401


def _is_form() -> bool:
    """Tell whether a form of a plain page was sent."""
    on_page = not request.path.startswith("/_") and bool(request.accept_mimetypes.accept_html)
    return on_page and request.method == "POST" and not request.is_json


def _refused(text: str) -> Any:
    who = signed()
    LOG.warning(
        "refused: %s %s for %s from %s",
        request.method,
        shown_path(),
        who.account.login if who else "nobody",
        request.remote_addr,
    )
    if request.path.startswith("/_") or not request.accept_mimetypes.accept_html:
        return jsonify({"notice": text}), 403
    return message_page(say("gate.title"), text, 403)
