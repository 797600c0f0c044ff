"""What the forms of an account carry: of whom they are, and which token or secret address they end.

The numbers of accounts, tokens and addresses are given anew where an older state of the book is put back; logins, and the moment at which a
secret was made, are not.
"""

from __future__ import annotations

from collections.abc import Sequence

from flask import request
from markupsafe import Markup

from dashboard.auth.forms import Part, button, field, form, tag, tick
from dashboard.words import say
from models.errors import OtherVersionError
from models.store.state import Token
from models.values.roles import Account, AtSite, Role
from models.values.story import Site


def account_form(one: Account, does: str, *parts: Part, class_: str = "stack") -> Markup:
    """Write a form that does something with an account, and says of whom it is."""
    of = tag("input", type="hidden", name="account", value=one.login)
    return form(f"/accounts/{one.account_id}/{does}", of, *parts, class_=class_)


def role_ticks(held: Sequence[Role], offered: Sequence[Role] = tuple(Role)) -> Markup:
    """Write the boxes for roles."""
    boxes = [tick("roles", role.value, say(f"role.{role.value}"), on=role in held) for role in offered]
    return tag("fieldset", tag("legend", say("accounts.roles")), *boxes, class_="ticks")


def site_form(site: Site, one: Account) -> Markup:
    """Write the form for what an account is at a site."""
    held = one.sites.get(site.site_id) or AtSite(site.site_id, one.person(site.site_id), active=False)
    named = f"-{site.site_id}"
    return account_form(
        one,
        "change",
        tag("input", type="hidden", name="site", value=site.code),
        field(f"person{named}", say("accounts.person"), held.person, required=True, maxlength=120),
        role_ticks(held.roles),
        tick("active", "yes", say("accounts.active"), on=held.active),
        field(f"mail{named}", say("accounts.mail"), held.mail, kind="email", maxlength=254),
        field(f"outside{named}", say("accounts.outside"), held.outside or "", maxlength=500),
        field(f"why{named}", say("accounts.why"), maxlength=400),
        button(say("accounts.save")),
    )


def other_account(one: Account) -> str:
    """Say that the form that was sent is of somebody else than the account has now; empty where it is not."""
    sent = request.form.get("account", "")[:80]
    return "" if sent == one.login else say("accounts.other", asked=sent or "–", login=one.login)


def secret_part(line: Token) -> Markup:
    """Write into a form which token or secret address it ends: the moment at which that was made."""
    return tag("input", type="hidden", name="made", value=line.made.isoformat())


def see_secret(kept: Sequence[Token], number: int) -> None:
    """See that a number is still that of the token or secret address that the form that was sent ends.

    Raises
    ------
    OtherVersionError
        If it is another one's.
    """
    sent = request.form.get("made", "")
    if not any(line.number == number and line.made.isoformat() == sent for line in kept):
        raise OtherVersionError(say("accounts.secret.other"), remedy=say("accounts.other.remedy"))
