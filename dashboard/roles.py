"""The table of what stands in front of every route, download and callback.

Nothing that is missing here is let through where sign-in is needed, and a test
walks everything that the application answers to.  What a role may do stands in
``models.values.roles``; what is written is asked for once more at the desk, for the very
site that it is written to.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Final

from dashboard.api.operations import ROUTES as INTERFACE
from dashboard.files.routes import ROUTES as FILES
from dashboard.proofs_routes import ROUTES as PROOFS
from dashboard.reports.routes import ROUTES as REPORTS
from models.values.roles import Permission

_P = Permission

ROUTES: Final[Mapping[str, Permission]] = {
    # What Dash itself answers. Its skeletons and scripts hold no data; the pages' data comes by callbacks.
    "/": _P.READ,
    "/<path:path>": _P.READ,
    "/_dash-layout": _P.READ,
    "/_dash-dependencies": _P.READ,
    "/_reload-hash": _P.READ,
    "/_favicon.ico": _P.OPEN,
    "/_dash-component-suites/<string:package_name>/<path:fingerprinted_path>": _P.OPEN,
    "_dash_assets.static": _P.OPEN,
    "static": _P.OPEN,
    "health": _P.OPEN,
    "ready": _P.OPEN,
    "metrics": _P.OPEN,  # asks for itself: this machine or the token
    # Signing in and out, and the own account
    "auth.sign_in": _P.OPEN,
    "auth.outside": _P.OPEN,
    "auth.outside_back": _P.OPEN,
    "auth.sign_out": _P.SELF,
    "auth.password": _P.SELF,
    "auth.own": _P.SELF,
    "signing.sign": _P.SIGN_OFF,
    "voiding.void": _P.AMEND,
    "setting.show": _P.READ,
    "setting.change": _P.ADMINISTER,
    "importing.start": _P.IMPORT,
    "importing.template": _P.IMPORT,
    "importing.one": _P.IMPORT,
    "importing.mend": _P.IMPORT,
    # Other people's accounts
    "accounts.every": _P.ADMINISTER,
    "accounts.add": _P.ADMINISTER,
    "accounts.one": _P.ADMINISTER,
    "accounts.change": _P.ADMINISTER,
    "accounts.reset": _P.ADMINISTER,
    "accounts.end_sessions": _P.ADMINISTER,
    "accounts.token": _P.ADMINISTER,
    "accounts.end_token": _P.ADMINISTER,
    "accounts.address": _P.ADMINISTER,
    "accounts.end_address": _P.ADMINISTER,
    **{endpoint: Permission(word) for endpoint, word in FILES.items()},
    **{endpoint: Permission(word) for endpoint, word in REPORTS.items()},
    **{endpoint: Permission(word) for endpoint, word in PROOFS.items()},
    # Programs: by token or session, which the interface looks at itself.
    **dict.fromkeys(INTERFACE, _P.TOKEN),
}
"""Endpoint: what it needs."""

OF_A_FILE: Final = frozenset({"importing.one", "importing.mend"})
"""Routes of a file that was sent for one site: they look themselves whether who asks may there, whichever the address names."""

WITHOUT_BOOK: Final = frozenset(
    {
        "health",
        "ready",
        "metrics",
        "static",
        "_dash_assets.static",
        "/_favicon.ico",
        "/_dash-component-suites/<string:package_name>/<path:fingerprinted_path>",
    }
)
"""Endpoints that are the same for everybody: nobody is looked up for them."""

UPDATE: Final = "/_dash-update-component"
"""The endpoint through which every callback comes; :data:`CALLBACKS` says what each needs."""

CALLBACKS: Final[Mapping[str, Permission]] = {
    "shell": _P.READ,
    "month": _P.READ,
    "offenders": _P.READ,
    "due": _P.READ,
    "asset": _P.READ,
    "book": _P.READ,
    "people": _P.READ,
    "limits": _P.READ,
    "record": _P.RECORD,
    "sign": _P.SIGN_OFF,
}
"""Page (the word before the first hyphen of the id that a callback fills): what its callbacks need."""

PAGES: Final[Mapping[str, Permission]] = {"/record": _P.RECORD}
"""Path of a page that needs more than reading: what it needs to be offered."""


def of_route(endpoint: str | None) -> Permission | None:
    """Give what a route needs; ``None`` where it is not in the table."""
    return ROUTES.get(endpoint or "")


def of_callback(output: object) -> frozenset[Permission] | None:
    """Give what a callback needs, by the name under which it is called; ``None`` where a part of it is not in the table.

    Parameters
    ----------
    output : object
        Key of the callback, as Dash's own endpoint is given it: ``id.property``, or several between dots. [unitless]
    """
    if not isinstance(output, str) or not output or len(output) > 4000:
        return None
    parts = output[2:-2].split("...") if output.startswith("..") and output.endswith("..") else [output]
    needed = {CALLBACKS.get(page_of(part)) for part in parts}
    return None if None in needed else frozenset(one for one in needed if one is not None)


def page_of(part: str) -> str:
    """Give the page of one output: the word before the first hyphen of its id; empty where there is none.

    The id of a pattern is a small JSON object, in which ``type`` is the id.
    """
    name, dot, _ = part.rpartition(".")
    if not dot:
        return ""
    if name.startswith("{"):
        try:
            found = json.loads(name.replace("\\.", "."))
        except (ValueError, RecursionError):
            return ""
        name = str(found.get("type", "")) if isinstance(found, dict) else ""
    page, hyphen, _ = name.partition("-")
    return page if hyphen else ""
