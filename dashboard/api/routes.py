"""The routes of the interface: who asks, what is asked, the answer; everything that goes wrong becomes a problem."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Mapping
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from typing import Any, Final, cast
from urllib.parse import urlencode

import sqlalchemy as sa
from flask import Blueprint, Flask, Response, current_app, request

from dashboard.api import proofs, reads, writes
from dashboard.api.access import Caller, refused, who_asks
from dashboard.api.asking import Asked, body, key_of_request, parameters, tags_of_request
from dashboard.api.operations import OPERATIONS, PREFIX, Operation, document
from dashboard.api.problems import PROBLEM_TYPE, ProblemError, of_error, of_status, respond
from dashboard.api.reads import Given
from dashboard.context import KEY, Book, Context
from dashboard.views.plan_view import HOUR_US
from models.store.proofs import root_of
from models.store.tree_proofs import KeptTree
from models.values.roles import Permission
from models.values.story import Site

_ENGINE: Final = "DRIFTBOOK_INTERFACE"
_EVERY: Final = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE")

_DOES: Final[Mapping[str, Callable[[Asked], Given]]] = {
    "sites": reads.sites,
    "assets": reads.assets,
    "asset": reads.asset,
    "asset_jobs": reads.asset_jobs,
    "jobs": reads.jobs,
    "job": reads.job,
    "due": reads.due,
    "record": writes.record,
    "amend": writes.amend,
    "void": writes.void,
    "entries": proofs.entries,
    "entry": proofs.entry,
    "heads": proofs.heads,
    "head": proofs.head,
    "inclusion": proofs.inclusion,
    "consistency": proofs.consistency,
}
"""What each operation does, by its name."""


def install(server: Flask, book: Book) -> None:
    """Add the interface to a server.

    Parameters
    ----------
    server : Flask
        The server, with its context installed. [unitless]
    book : Book
        The way out of the book; one that stands on no database has no interface. [unitless]
    """
    engine = getattr(book, "engine", None)
    if engine is None:
        return
    server.config[_ENGINE] = (engine, KeptTree())
    blueprint = Blueprint("api", __name__, url_prefix=PREFIX)
    for operation in OPERATIONS:
        # A tag may hold a slash: it takes as much of the path as it can.
        rule = operation.path.replace("{tag}", "<path:tag>").replace("{", "<").replace("}", ">")
        blueprint.add_url_rule(
            rule, endpoint=operation.name, view_func=_view(operation), methods=[operation.method], provide_automatic_options=False
        )  # fmt: skip
    for rule in ("/", "/<path:rest>"):
        blueprint.add_url_rule(
            rule, endpoint="nowhere", view_func=nowhere, methods=list(_EVERY), provide_automatic_options=False
        )
    blueprint.register_error_handler(Exception, lambda error: respond(of_error(error)))
    server.register_blueprint(blueprint)
    server.after_request(_net)


def _view(operation: Operation) -> Callable[..., Response]:
    def view(**path: str) -> Response:
        return answer(operation, path)

    return view


def nowhere(rest: str = "") -> Response:
    """Say that there is nothing at an address, or not for this method."""
    allowed: set[str] = {one.method for one in OPERATIONS if _pattern(one.path).fullmatch(f"/{rest}")}
    if "GET" in allowed:
        allowed.add("HEAD")
    if not allowed or request.method in allowed:
        raise of_status(404)
    raise of_status(405, {"Allow": ", ".join(sorted(allowed))})


@cache
def _pattern(path: str) -> re.Pattern[str]:
    """Give the form of a path: a tag takes as much as it can, a number what stands between two slashes."""
    parts = (
        ".+" if part == "tag" else "[^/]+" if place % 2 else re.escape(part)
        for place, part in enumerate(re.split("[{}]", path))
    )
    return re.compile("".join(parts), re.DOTALL)


def _net(response: Response) -> Response:
    """Turn what the server itself says under our addresses into a problem: nothing here ever answers with a page."""
    ours = request.path == PREFIX or request.path.startswith(f"{PREFIX}/")
    if not ours or response.mimetype in {PROBLEM_TYPE, "application/json"}:
        return response
    allow = response.headers.get("Allow")
    told = respond(of_status(response.status_code, {"Allow": allow} if allow else None))
    for name, value in response.headers.items():
        if name not in {"Content-Type", "Content-Length", "Location"}:
            told.headers.setdefault(name, value)
    return told


@cache
def _version() -> str:
    try:
        return version("driftbook")
    except PackageNotFoundError:
        return "checkout"


@cache
def _description() -> str:
    return json.dumps(document(_version()), ensure_ascii=False)


def answer(operation: Operation, path: Mapping[str, str]) -> Response:
    """Answer one request.

    Parameters
    ----------
    operation : Operation
        What is asked for. [unitless]
    path : mapping of str to str
        What stands in the path. [as typed]
    """
    if operation.name == "description":
        parameters(operation, path)
        text = _description()
        tag = f'"{hashlib.sha256(text.encode()).hexdigest()[:32]}"'
        return _sent("", 304, tag) if _known(tag) else _sent(text, 200, tag)
    here = cast("Context", cast("dict[str, Any]", current_app.config)[KEY])  # unguarded: the token is asked for here
    engine, tree = cast("tuple[sa.Engine, KeptTree]", current_app.config[_ENGINE])
    caller = who_asks(engine)
    given = parameters(operation, path)
    # Before anything that is answered: what is newer may stand under the tag of this head, never what is older.
    head = here.book.head()
    every = here.book.sites()
    site = _site(caller, every, given.get("site"), operation.permission)
    if not caller.may(operation.permission, site.site_id):
        raise refused(caller, operation.permission)
    now = here.clock()
    if operation.writes:
        if here.desk is None:
            raise ProblemError(
                403, "only-shown", "This server shows the book and writes nothing.", remedy="Use the one that does."
            )
        asked = Asked(
            operation, caller, here, engine, tree, every, site, now, given, body(operation), key_of_request(operation),
            tags_of_request(operation),
        )  # fmt: skip
        return _answered(asked, _DOES[operation.name](asked), "")
    asked = Asked(operation, caller, here, engine, tree, every, site, now, given)
    tag = _tag(asked, head)
    if _known(tag):
        return _sent("", 304, tag)
    told = _DOES[operation.name](asked)
    if told.tag and _known(told.tag):
        return _sent("", 304, told.tag)
    return _answered(asked, told, told.tag or tag)


def _tag(asked: Asked, head: int) -> str:
    """Name everything that an answer rests on: book, site, day and version, and what may change without an entry.

    What stands on the columns of a large book may be behind the book, and estimates over all machines behind the columns; chances are
    those of the full hour.
    """
    of = asked.operation
    shown = asked.history.head if of.columns else 0
    estimates = f"{reads.estimates_head(asked.history)}-{asked.full_hour_us // HOUR_US}" if of.estimates else ""
    return (
        f'W/"{_state(asked.engine, head)}-{shown}-{estimates}-{asked.site.site_id}-{asked.today:%Y%m%d}-{_version()}"'
    )


def _state(engine: sa.Engine, head: int) -> str:
    """Name a state of the book by number and root: after a backup was put back, other entries may have the same numbers."""
    with engine.connect() as connection:
        root = root_of(connection, head)
    return f"{head}-{(root or b'')[:8].hex()}"


def _known(tag: str) -> bool:
    """Tell whether whoever asks holds this state already; here a weak tag is as good as a strong one."""
    held = request.headers.get("If-None-Match", "").split(",")
    return tag.removeprefix("W/") in [one.strip().removeprefix("W/") for one in held]


def _site(caller: Caller, every: tuple[Site, ...], code: str | None, permission: Permission) -> Site:
    """Give the site that is asked about: the token's, the one that is named, or the first that may be asked about."""
    if caller.token is not None:
        mine = next((site for site in every if site.site_id == caller.token.site_id), None)
        if mine is not None and code is not None and code.casefold() != mine.code.casefold():
            raise ProblemError(
                403, "other-site", f"The token holds for the site {mine.code} only.", remedy="Leave 'site' out."
            )
        found = mine
    else:
        may = [site for site in every if caller.may(permission, site.site_id)] or list(every)
        found = next((site for site in may if code is None or site.code.casefold() == code.casefold()), None)
    if found is None:
        raise reads.not_found("There is no such site.")
    return found


def _answered(asked: Asked, given: Given, tag: str) -> Response:
    said, link = given.body, ""
    if "next" in _members(asked.operation):
        link = _next(given.next)
        said = {**said, "next": link or None}
    response = _sent(json.dumps(said, ensure_ascii=False, allow_nan=False), asked.operation.status, tag)
    response.headers.update(given.headers)
    if link:
        response.headers["Link"] = f'<{link}>; rel="next"'
    return response


def _members(operation: Operation) -> Mapping[str, Any]:
    from dashboard.api.schemas import SCHEMAS

    return cast("Mapping[str, Any]", SCHEMAS[operation.answer]["properties"])


def _next(onward: Mapping[str, int | str]) -> str:
    if not onward:
        return ""
    kept = {name: value for name, value in request.args.items() if name not in onward}
    return f"{request.path}?{urlencode({**kept, **onward})}"


def _sent(text: str, status: int, tag: str) -> Response:
    response = Response(text or None, status, mimetype="application/json")
    # May be kept by whoever asked, but has to be asked for again each time: then 304 says that nothing has changed.
    response.headers["Cache-Control"] = "private, no-cache" if tag else "no-store"
    response.headers["Vary"] = "Authorization, Cookie"
    if tag:
        response.headers["ETag"] = tag
    return response
