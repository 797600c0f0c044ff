"""Signing in and out, and the own account: plain pages with forms."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from urllib.parse import quote

from flask import Blueprint, redirect, request
from werkzeug.wrappers import Response

from dashboard.auth import asking
from dashboard.auth.access import Access, Signed, address_of
from dashboard.auth.forms import button, done, field, form, message_page, page, problem, section, tag
from dashboard.auth.outside import outside_of_app
from dashboard.away import answered, hand_on
from dashboard.context import context
from dashboard.words import say, tell
from dashboard.writing import counted
from models.commands.accounts import set_password
from models.commands.accounts_passwords import GOOD, LONGEST, SHORTEST
from models.errors import DriftbookError
from models.store import state

DOOR = Blueprint("auth", "dashboard.auth.door_page")


def here() -> str:
    """Give the address from which this request comes, as tries are counted by it."""
    return address_of(request.remote_addr)


def waited(wait: timedelta) -> str:
    """Write how long somebody has to wait."""
    seconds = max(1, round(wait.total_seconds()))
    return counted(seconds, "second") if seconds < 90 else counted(-(-seconds // 60), "minute")


@DOOR.route(asking.SIGN_IN, methods=["GET", "POST"], endpoint="sign_in")
def sign_in() -> Any:
    """Show the form, and look at what was typed."""
    access = asking.access_of_app()
    if access is None or not access.needed():
        return message_page(say("door.title"), say("door.not_needed"), 200)
    onward = asking.safe_next(request.values.get("next"))
    if request.method == "GET":
        return redirect(onward) if asking.signed() is not None else _form(onward)
    return _tried(access, onward) if asking.form_is_ours() else _form(onward, say("door.form"), status=400)


def _tried(access: Access, onward: str) -> Response:
    """Look at what was typed; an unknown name, a wrong password and a closed account get the same answer."""
    login, password = request.form.get("login", "")[:200], request.form.get("password", "")[: LONGEST + 1]
    try:
        answer = access.sign_in(login, password, here(), request.cookies.get(asking.session_cookie()))
    except DriftbookError as fault:
        hand_on(fault)
        return answered(_form(onward, tell(fault.message), status=503))
    if answer.wait is not None:
        late = _form(onward, say("door.wait", n=waited(answer.wait)), status=429)
        late.headers["Retry-After"] = str(max(1, round(answer.wait.total_seconds())))
        return late
    if not answer.came_in:
        return _form(onward, say("door.wrong"), status=401)
    return entered(answer.token, onward)


def entered(token: str, onward: str) -> Response:
    """Send somebody who has just signed in where they wanted to go, with a new session and no old form."""
    response = redirect(onward, code=303)
    asking.set_cookie(response, asking.session_cookie(), token)
    asking.drop_cookie(response, asking.form_cookie())
    return response


def _form(onward: str, said: str = "", *, status: int = 200) -> Response:
    provider = outside_of_app()
    other = (
        None
        if provider is None
        else tag(
            "p",
            tag("a", say("door.outside", name=provider.name), href=f"/sign-in/outside?next={quote(onward, safe='')}"),
        )
    )
    return page(
        say("door.title"),
        problem(said),
        form(
            asking.SIGN_IN,
            tag("input", type="hidden", name="next", value=onward),
            field("login", say("door.login"), request.form.get("login", "")[:200], autocomplete="username", autocapitalize="none", spellcheck="false", required=True, maxlength=200),
            field("password", say("door.password"), kind="password", autocomplete="current-password", required=True, maxlength=LONGEST),
            button(say("door.enter")),
        ),
        other,
        tag("p", say("door.first"), class_="note"),
        status=status,
    )  # fmt: skip


@DOOR.route("/sign-out", methods=["POST"], endpoint="sign_out")
def sign_out() -> Any:
    """End this session."""
    return _out(everywhere=False)


@DOOR.route("/sign-out-everywhere", methods=["POST"], endpoint="own")
def sign_out_everywhere() -> Any:
    """End every session of the account."""
    return _out(everywhere=True)


def _out(*, everywhere: bool) -> Any:
    access, who = asking.access_of_app(), asking.signed()
    if access is None or who is None:
        return redirect("/")
    if not asking.form_is_ours():
        return message_page(say("door.sign_out"), say("door.form"), 400)
    access.sign_out(who, here(), everywhere=everywhere)
    response = redirect(asking.SIGN_IN, code=303)
    asking.drop_cookie(response, asking.session_cookie())
    # What this browser keeps of the pages goes; drafts that were typed stay, they are the person's own.
    response.headers["Clear-Site-Data"] = '"cache"'
    return response


@DOOR.route(asking.PASSWORD, methods=["GET", "POST"], endpoint="password")
def password() -> Any:
    """Show the own account, and change its password."""
    access, who = asking.access_of_app(), asking.signed()
    if access is None or who is None:
        return message_page(say("own.title"), say("door.not_needed"), 200)
    if request.method == "GET":
        return _own(access, who)
    if not asking.form_is_ours():
        return _own(access, who, say("door.form"), status=400)
    if not access.has_password(who):  # whom the provider lets in gets no second way around it
        return _own(access, who, say("own.no_password"), status=400)
    return _changed(access, who)


def _changed(access: Access, who: Signed) -> Response:
    old, new, again = (request.form.get(name, "")[: LONGEST + 1] for name in ("old", "new", "again"))
    answer = access.confirm(who, old, here())
    if answer.wait is not None:
        return _own(access, who, say("door.wait", n=waited(answer.wait)), status=429)
    if not answer.came_in:
        return _own(access, who, say("door.wrong"), status=401)
    if new != again:
        return _own(access, who, say("own.different"), status=400)
    if new == old:
        return _own(access, who, say("own.same"), status=400)
    try:
        set_password(
            access.engine, who.account.login, new, by=who.account.person(0), now=context().clock(), must_change=False
        )
    except DriftbookError as fault:
        hand_on(fault)
        return _own(access, who, tell(fault.message), tell(fault.remedy), status=400)
    # Every session has ended, this one too: a new one begins, so that a stolen token is worth nothing any more.
    response = page(say("own.title"), done(say("own.saved")), tag("p", tag("a", say("door.to_book"), href="/")))
    asking.set_cookie(response, asking.session_cookie(), access.open(who.account, here(), "in after a new password"))
    return response


def _own(access: Access, who: Signed, *said: str, status: int = 200) -> Response:
    with access.engine.connect() as connection:
        kept = state.credential(connection, who.account.account_id)
        count = len(state.sessions(connection, who.account.account_id))
    at = [
        tag("li", say("own.at", site=site.name, roles=", ".join(say(f"role.{role.value}") for role in held.roles)))
        for site in context().book.sites()
        if (held := who.account.sites.get(site.site_id)) is not None
    ]
    change = (
        tag("p", say("own.no_password"))
        if kept is None
        else form(
            asking.PASSWORD,
            field("old", say("own.old"), kind="password", autocomplete="current-password", required=True, maxlength=LONGEST),
            field("new", say("own.new"), kind="password", autocomplete="new-password", required=True, maxlength=LONGEST,
                  about=say("own.about", least=SHORTEST, good=GOOD)),
            field("again", say("own.again"), kind="password", autocomplete="new-password", required=True, maxlength=LONGEST),
            button(say("own.save")),
        )
    )  # fmt: skip
    return page(
        say("own.title"),
        problem(say("own.must") if who.must_change else "", *said),
        tag("p", say("own.you", person=who.account.person(0), login=who.account.login)),
        tag("ul", *at),
        section(say("own.change"), change),
        section(
            say("own.sessions"),
            tag("p", say("accounts.sessions", n=count)),
            form("/sign-out-everywhere", button(say("own.everywhere"), quiet=True)),
        ),
        status=status,
    )
