"""Plain pages with forms, made here on the server: they work without any script.

Texts are escaped where they are put in; only what this module itself made is taken as it is.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from flask import Response, make_response, request
from markupsafe import Markup, escape

from dashboard.auth import asking
from dashboard.theme import css_variables
from dashboard.words import say
from models.values.roles import Permission

Part = Markup | str | None
"""A piece of a page: a text is escaped, ``None`` is left out."""

_VOID = frozenset({"input", "link", "meta", "img", "br"})


def tag(name: str, /, *children: Part, **attributes: str | int | bool | None) -> Markup:
    """Write an element; an attribute that is a word of Python ends with an underscore, others have hyphens for theirs."""
    text = f"<{name}"
    for key, value in attributes.items():
        if value is None or value is False:
            continue
        shown = key.rstrip("_").replace("_", "-")
        text += f" {shown}" if value is True else f' {shown}="{escape(value)}"'
    inner = "".join(escape(child) for child in children if child is not None)
    return Markup(f"{text}>" if name in _VOID else f"{text}>{inner}</{name}>")  # noqa: S704 - every part is escaped above


def page(title: str, *parts: Part, status: int = 200) -> Response:
    """Write a whole page in the look of the others."""
    who = asking.signed()
    head = tag(
        "head",
        tag("meta", charset="utf-8"),
        tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
        tag("title", f"{title} · {say('brand')}"),
        tag("link", rel="icon", type="image/svg+xml", href="/assets/mark.svg"),
        tag("link", rel="stylesheet", href="/assets/driftbook.css"),
        tag("link", rel="stylesheet", href="/assets/accounts.css"),
        tag("style", Markup(css_variables())),  # noqa: S704 - our own colours
        tag("script", src="/assets/plain.js", defer=True),
    )
    brand = tag("div", tag("a", tag("img", src="/assets/mark.svg", alt="", width=30, height=22), tag("span", say("brand")), href="/"), class_="brand")  # fmt: skip
    own = None
    if who is not None:
        own = tag(
            "div",
            tag("a", say("door.to_book"), href="/"),
            tag("a", who.account.person(0), href=asking.PASSWORD),
            tag("a", say("accounts.title"), href="/accounts") if who.may(Permission.ADMINISTER) else None,
            form("/sign-out", button(say("door.sign_out"), quiet=True), class_="inline"),
            class_="door-tools",
        )
    body = tag(
        "body",
        tag("a", say("shell.skip"), href="#content", class_="skip"),
        tag("header", brand, own, class_="head"),
        tag(
            "main",
            tag("div", tag("h1", title), *parts, class_="page door"),
            id="content",
            class_="content",
            tabindex=-1,
        ),
    )
    whole = Markup("<!DOCTYPE html>\n") + tag("html", head, body, lang=say("language"))
    response = make_response(str(whole), status)
    if who is None and not request.cookies.get(asking.form_cookie()):
        asking.set_cookie(response, asking.form_cookie(), asking.form_secret())
    return response


def message_page(title: str, text: str, status: int, *, again: str | None = None) -> Response:
    """Write a page that says one thing; ``again`` is the address at which the same can be asked for once more."""
    onward = tag("a", say("door.to_book"), href="/") if again is None else tag("a", say("page.later.again"), href=again)
    return page(title, tag("div", tag("p", text), onward, class_="blank"), status=status)


def form(action: str, *parts: Part, class_: str = "stack", with_file: bool = False) -> Markup:
    """Write a form that is bound to this browser."""
    mark = tag("input", type="hidden", name="mark", value=asking.form_mark(asking.form_secret()))
    kind = "multipart/form-data" if with_file else None
    return tag("form", mark, *parts, action=action, method="post", class_=class_, enctype=kind)


def field(name: str, label: str, value: str = "", *, kind: str = "text", about: str = "", **more: Any) -> Markup:
    """Write a field under its label, with what has to be known beside it."""
    said = f"{name}-about" if about else None
    return tag(
        "div",
        tag("label", label, for_=name),
        tag("input", id=name, name=name, type=kind, value=value or None, aria_describedby=said, **more),
        tag("span", about, id=said, class_="soft") if about else None,
        class_="field",
    )


def tick(name: str, value: str, label: str, *, on: bool = False) -> Markup:
    """Write a box to tick."""
    return tag(
        "label", tag("input", type="checkbox", name=name, value=value, checked=on), tag("span", label), class_="tick"
    )


def choice(
    name: str,
    label: str,
    options: Iterable[tuple[str, str]],
    chosen: str = "",
    *,
    about: str = "",
    required: bool = False,
) -> Markup:
    """Write a list of which one is chosen, with what has to be known beside it; ``required`` bars an empty first option."""
    inner = [tag("option", text, value=value, selected=value == chosen) for value, text in options]
    said = f"{name}-about" if about else None
    return tag(
        "div",
        tag("label", label, for_=name),
        tag("select", *inner, id=name, name=name, aria_describedby=said, required=required),
        tag("span", about, id=said, class_="soft") if about else None,
        class_="field",
    )


def button(text: str, *, quiet: bool = False) -> Markup:
    """Write the button that sends a form."""
    return tag("button", text, type="submit", class_="quiet" if quiet else "main")


def problem(*texts: str) -> Markup | None:
    """Say what went wrong."""
    said = [tag("p", text) for text in texts if text]
    return tag("div", *said, class_="problems", role="alert") if said else None


def done(text: str) -> Markup:
    """Say what was done."""
    return tag("p", text, class_="done", role="status")


def section(title: str, *parts: Part) -> Markup:
    """Write a part of a page under its title."""
    return tag("section", tag("h2", title), *parts, class_="part")


def table(caption: str, headings: Sequence[str], rows: Iterable[Iterable[Part]], *, stacked: bool = False) -> Markup:
    """Write a table; a stacked one shows each row as a list on a phone."""
    head = tag("thead", tag("tr", *[tag("th", text, scope="col") for text in headings]))
    cells = (
        [tag("td", cell, data_is=name if stacked else None) for name, cell in zip(headings, row, strict=True)]
        for row in rows
    )
    body = tag("tbody", *[tag("tr", *row) for row in cells])
    kind = "table stacked" if stacked else "table"
    return tag("div", tag("table", tag("caption", caption), head, body), class_=kind, tabindex=0)
