"""Other people's accounts, for an administrator: plain pages with forms."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from functools import wraps
from typing import Any, Concatenate, ParamSpec

from flask import Blueprint, request
from markupsafe import Markup
from werkzeug.wrappers import Response

from dashboard.auth import asking
from dashboard.auth.access import Access, Signed
from dashboard.auth.account_forms import account_form, other_account, role_ticks, secret_part, see_secret, site_form
from dashboard.auth.delays import CAME_IN
from dashboard.auth.forms import (  # fmt: skip
    Part,
    button,
    choice,
    done,
    field,
    form,
    message_page,
    page,
    problem,
    section,
    table,
    tag,
)
from dashboard.away import hand_on
from dashboard.context import context
from dashboard.words import say, tell
from dashboard.writing import moment
from models.commands.accounts import add_account, change_account, set_password
from models.commands.accounts_passwords import made_up
from models.errors import DriftbookError
from models.store import state
from models.store.accounts import account, accounts
from models.store.calendar_addresses import make_address
from models.store.sign_ins import NOBODY, last_in, lines_around
from models.store.state import Token, Try
from models.store.tokens import ROLES as TOKEN_ROLES
from models.store.tokens import make_token
from models.values.roles import Account, AtSite, Permission, Role, roles_of
from models.values.story import Site

ACCOUNTS = Blueprint("accounts", "dashboard.auth.accounts_page", url_prefix="/accounts")

P = ParamSpec("P")

_SHOWN = 50
_LOOK_BACK = timedelta(days=90)


@dataclass(frozen=True, slots=True)
class Desk:
    """Who administers, and the sites at which they do."""

    access: Access
    who: Signed
    sites: tuple[Site, ...]

    @property
    def by(self) -> str:
        """Give the name that stands under what they write."""
        return self.who.account.person(self.sites[0].site_id if self.sites else 0)

    @property
    def everywhere(self) -> bool:
        """Tell whether they administer every site of the book."""
        return len(self.sites) == len(asking.unguarded().book.sites())

    def every(self) -> list[Account]:
        """Give the accounts that are theirs to administer."""
        with self.access.engine.connect() as connection:
            return [one for one in accounts(connection) if self.who.account.may_administer(one)]

    def one(self, account_id: int) -> Account | None:
        """Give an account, if it is theirs to administer."""
        with self.access.engine.connect() as connection:
            found = account(connection, account_id)
        return found if found is not None and self.who.account.may_administer(found) else None

    def site(self, code: str) -> Site | None:
        """Give a site that they administer, by its code."""
        return next((site for site in self.sites if site.code == code), None)


def _desk() -> Desk:
    access, who = asking.access_of_app(), asking.signed()
    if access is None or who is None:
        raise LookupError("the gate lets nobody in here who is not signed in")
    sites = tuple(site for site in context().book.sites() if who.may(Permission.ADMINISTER, site.site_id))
    return Desk(access, who, sites)


def _nobody() -> Response:
    return message_page(say("accounts.title"), say("door.not_needed"), 200)


def _when(desk: Desk, at: Any) -> str:
    return moment(at, desk.sites[0].zone if desk.sites else "UTC")


# -- all of them ---------------------------------------------------------------------------------------------------


@ACCOUNTS.route("", methods=["GET"], endpoint="every")
def every() -> Response:
    """Show the accounts."""
    return _nobody() if asking.signed() is None else _every(_desk())


def _every(desk: Desk, *said: Part, status: int = 200) -> Response:
    theirs, since = desk.every(), desk.access.clock() - _LOOK_BACK
    with desk.access.engine.connect() as connection:
        # A name of another site's person is not for them; an unknown one may be a slip of theirs or of somebody else's.
        log = (
            state.tries(connection, since=since, most=_SHOWN)
            if desk.everywhere
            else lines_around(connection, [one.login for one in theirs], came_in=CAME_IN, since=since, most=_SHOWN)
        )
        last = last_in(connection, since)
    rows = [
        (
            tag("a", one.login, href=f"/accounts/{one.account_id}"),
            one.person(desk.sites[0].site_id),
            _roles_text(desk, one),
            say("accounts.open") if one.active else say("accounts.closed"),
            _when(desk, last[one.login]) if one.login in last else say("accounts.never"),
        )
        for one in theirs
    ]
    headings = [say("accounts.login"), say("accounts.person"), say("accounts.roles"), say("accounts.state"), say("accounts.last")]  # fmt: skip
    return page(
        say("accounts.title"),
        *said,
        table(say("accounts.caption"), headings, rows),
        section(say("accounts.add"), _add_form(desk)),
        section(
            say("accounts.log"),
            *_log(desk, log, say("accounts.log.every" if desk.everywhere else "accounts.log.theirs")),
        ),
        status=status,
    )


def _roles_text(desk: Desk, one: Account) -> str:
    texts = []
    for site in desk.sites:
        at = one.sites.get(site.site_id)
        if at is not None and at.active:
            names = ", ".join(say(f"role.{role.value}") for role in at.roles)
            texts.append(names if len(desk.sites) == 1 else say("own.at", site=site.name, roles=names))
    return "; ".join(texts)


def _log(desk: Desk, lines: Sequence[Try], whose: str) -> tuple[Markup, Markup]:
    rows = [
        (
            _when(desk, line.at),
            say("accounts.log.nobody") if line.login.startswith(NOBODY) else line.login,
            line.address,
            say(f"outcome.{line.outcome}"),
        )
        for line in lines
    ]
    headings = [say("accounts.log.at"), say("accounts.login"), say("accounts.log.from"), say("accounts.log.outcome")]
    return tag("p", whose, class_="note"), table(say("accounts.log.caption"), headings, rows)


def _add_form(desk: Desk) -> Markup:
    return form(
        "/accounts/add",
        field("login", say("accounts.login"), autocomplete="off", required=True, maxlength=80),
        field("person", say("accounts.person"), about=say("accounts.person.about"), required=True, maxlength=120),
        role_ticks((Role.READER,)),
        choice("site", say("accounts.site"), [(site.code, site.name) for site in desk.sites]),
        field("mail", say("accounts.mail"), kind="email", maxlength=254),
        field("outside", say("accounts.outside"), about=say("accounts.outside.about"), maxlength=500),
        button(say("accounts.add.button")),
    )


@ACCOUNTS.route("/add", methods=["POST"], endpoint="add")
def add() -> Response:
    """Add a person; the first password is shown once."""
    if asking.signed() is None:
        return _nobody()
    desk, typed = _desk(), request.form
    site = desk.site(typed.get("site", ""))
    if not asking.form_is_ours() or site is None:
        return _every(desk, problem(say("door.form")), status=400)
    password = None if typed.get("outside", "").strip() else made_up()
    try:
        made = add_account(
            desk.access.engine, [site], typed.get("login", ""), person=typed.get("person", ""),
            roles=roles_of(typed.getlist("roles")), by=desk.by, now=context().clock(), password=password,
            mail=typed.get("mail", ""), outside=typed.get("outside") or None,
        )  # fmt: skip
    except DriftbookError as fault:
        hand_on(fault)
        return _every(desk, problem(tell(fault.message), tell(fault.remedy)), status=400)
    if password is None:
        return _every(desk, done(say("accounts.saved")))
    return _every(desk, done(say("accounts.added", login=made.login)), tag("code", password, class_="secret"))


# -- one of them ---------------------------------------------------------------------------------------------------


def _found(account_id: int) -> tuple[Desk, Account] | Response:
    """Give the desk and an account that is theirs, or the page that says why not."""
    if asking.signed() is None:
        return _nobody()
    desk = _desk()
    one = desk.one(account_id)
    if one is None:
        return message_page(say("accounts.title"), say("accounts.unknown"), 404)
    if request.method == "POST" and not asking.form_is_ours():
        return _one(desk, one, problem(say("door.form")), status=400)
    if request.method == "POST" and (other := other_account(one)):
        return _one(desk, one, problem(other, say("accounts.other.remedy")), status=409)
    return desk, one


def _of_account(make: Callable[Concatenate[Desk, Account, P], Response]) -> Callable[..., Response]:
    """Look up the account of an address first, and say on its page what was refused."""

    @wraps(make)
    def route(account_id: int, *given: P.args, **named: P.kwargs) -> Response:
        found = _found(account_id)
        if not isinstance(found, tuple):
            return found
        try:
            return make(*found, *given, **named)
        except DriftbookError as fault:
            hand_on(fault)
            return _one(*found, problem(tell(fault.message), tell(fault.remedy)), status=400)

    return route


@ACCOUNTS.route("/<int:account_id>", methods=["GET"], endpoint="one")
def show_one(account_id: int) -> Response:
    """Show one account."""
    found = _found(account_id)
    return _one(*found) if isinstance(found, tuple) else found


def _one(desk: Desk, one: Account, *said: Part, status: int = 200) -> Response:
    with desk.access.engine.connect() as connection:
        log = state.tries(connection, login=one.login, since=desk.access.clock() - _LOOK_BACK, most=_SHOWN)
        open_sessions = len(state.sessions(connection, one.account_id))
        kept, addresses = state.tokens(connection, one.account_id), state.addresses(connection, one.account_id)
    title = say("accounts.one", person=one.person(desk.sites[0].site_id), login=one.login)
    return page(
        title,
        *said,
        tag("p", tag("a", say("accounts.title"), href="/accounts")),
        *[section(say("accounts.at", site=site.name), site_form(site, one)) for site in desk.sites],
        section(
            say("accounts.secrets"),
            tag("p", say("accounts.sessions", n=open_sessions)),
            tag(
                "div",
                account_form(one, "reset", button(say("accounts.reset"), quiet=True), class_="inline"),
                account_form(one, "end-sessions", button(say("accounts.end"), quiet=True), class_="inline"),
                class_="who",
            ),
        ),
        _secrets(desk, one, "token", kept),
        _secrets(desk, one, "address", addresses),
        section(say("accounts.log"), *_log(desk, log, say("accounts.log.one"))),
        status=status,
    )


@ACCOUNTS.route("/<int:account_id>/change", methods=["POST"], endpoint="change")
@_of_account
def change(desk: Desk, one: Account) -> Response:
    """Write what an account is at a site from now on."""
    typed, site = request.form, desk.site(request.form.get("site", ""))
    if site is None:
        return _one(desk, one, problem(say("accounts.unknown")), status=400)
    person, mail, outside, why = (typed.get(f"{name}-{site.site_id}", "") for name in ("person", "mail", "outside", "why"))  # fmt: skip
    at = AtSite(site.site_id, person, mail, roles_of(typed.getlist("roles")), typed.get("active") == "yes", outside or None)  # fmt: skip
    new = change_account(desk.access.engine, site, one.login, at, by=desk.by, now=context().clock(), why=why[:400])
    return _one(desk, new, done(say("accounts.saved")))


@ACCOUNTS.route("/<int:account_id>/reset", methods=["POST"], endpoint="reset")
@_of_account
def reset(desk: Desk, one: Account) -> Response:
    """Give a new password, shown once."""
    password = made_up()
    set_password(desk.access.engine, one.login, password, by=desk.by, now=context().clock(), must_change=True)
    return _one(desk, one, done(say("accounts.reset.done")), tag("code", password, class_="secret"))


@ACCOUNTS.route("/<int:account_id>/end-sessions", methods=["POST"], endpoint="end_sessions")
@_of_account
def end_sessions(desk: Desk, one: Account) -> Response:
    """End every session of an account."""
    with state.changing(desk.access.engine) as connection:
        state.end_sessions(connection, one.account_id)
    return _one(desk, one, done(say("accounts.ended")))


# -- tokens and secret addresses -----------------------------------------------------------------------------------


def _secrets(desk: Desk, one: Account, kind: str, kept: Sequence[Token]) -> Markup:
    names = {site.site_id: site.name for site in desk.sites}
    rows = [
        (
            line.name,
            names.get(line.site_id, ""),
            ", ".join(say(f"role.{role}") for role in line.roles) or None,
            _when(desk, line.made),
            say("accounts.token.ended", at=_when(desk, line.ended))
            if line.ended is not None
            else account_form(
                one,
                f"{kind}/{line.number}/end",
                secret_part(line),
                button(say("accounts.token.end"), quiet=True),
                class_="inline",
            ),
        )
        for line in kept
        if line.site_id in names
    ]
    headings = [say("accounts.token.name"), say("accounts.site"), say("accounts.roles"), say("accounts.made"), say("accounts.token.state")]  # fmt: skip
    sites = [(site.code, site.name) for site in desk.sites if one.permissions(site.site_id)]
    label = say("accounts.token.make") if kind == "token" else say("accounts.address.make")
    title = say("accounts.tokens") if kind == "token" else say("accounts.addresses")
    caption = say("accounts.tokens.caption") if kind == "token" else say("accounts.addresses.caption")
    made = account_form(
        one,
        kind,
        field(f"{kind}-name", say("accounts.token.name"), required=True, maxlength=80) if kind == "token" else None,
        role_ticks((Role.READER,), TOKEN_ROLES) if kind == "token" else None,
        choice("site", say("accounts.site"), sites),
        button(label),
    )
    return section(
        title, table(caption, headings, rows) if rows else tag("p", say("accounts.token.none")), made if sites else None
    )


@ACCOUNTS.route("/<int:account_id>/token", methods=["POST"], endpoint="token")
@_of_account
def token(desk: Desk, one: Account) -> Response:
    """Make a token of the interface, shown once; it may never do more than its account."""
    site, name = desk.site(request.form.get("site", "")), request.form.get("token-name", "")
    if site is None:
        return _one(desk, one, problem(say("accounts.unknown")), status=400)
    asked = [role for role in roles_of(request.form.getlist("roles")) if role in TOKEN_ROLES]
    secret, _ = make_token(
        desk.access.engine, site.site_id, login=one.login, name=name, roles=asked, now=context().clock()
    )
    return _one(desk, one, done(say("accounts.token.made")), tag("code", secret, class_="secret"))


@ACCOUNTS.route("/<int:account_id>/token/<int:number>/end", methods=["POST"], endpoint="end_token")
@_of_account
def end_token(desk: Desk, one: Account, number: int) -> Response:
    """End a token."""
    with state.changing(desk.access.engine) as connection:
        see_secret(state.tokens(connection, one.account_id), number)
        state.end_token(connection, number, context().clock(), account_id=one.account_id)
    return _one(desk, one, done(say("accounts.saved")))


@ACCOUNTS.route("/<int:account_id>/address", methods=["POST"], endpoint="address")
@_of_account
def address(desk: Desk, one: Account) -> Response:
    """Make a secret address of the calendar, shown once."""
    site = desk.site(request.form.get("site", ""))
    if site is None:
        return _one(desk, one, problem(say("accounts.unknown")), status=400)
    secret, _ = make_address(desk.access.engine, site.site_id, one.login, context().clock())
    shown = f"{request.host_url}calendar/{secret}.ics"
    return _one(desk, one, done(say("accounts.address.made")), tag("code", shown, class_="secret"))


@ACCOUNTS.route("/<int:account_id>/address/<int:number>/end", methods=["POST"], endpoint="end_address")
@_of_account
def end_address(desk: Desk, one: Account, number: int) -> Response:
    """End a secret address."""
    with state.changing(desk.access.engine) as connection:
        see_secret(state.addresses(connection, one.account_id), number)
        state.end_address(connection, number, context().clock(), account_id=one.account_id)
    return _one(desk, one, done(say("accounts.saved")))
