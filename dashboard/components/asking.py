"""A form that asks a page: what is typed goes into the address, so that the answer can be sent and gone back from.

It is a plain form of the web: it works with Enter and without a mouse; the
page's own script only spares the reloading (``assets/asking.js``).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import dcc

from dashboard.components import elements as html
from dashboard.components.aria import aria, data
from dashboard.components.one_line import one_line
from dashboard.components.pieces import Child
from dashboard.place import KEPT, Place


def ask_form(
    place: Place,
    *fields: Child,
    button: str,
    label: str,
    drops: Sequence[str] = (),
    clear: Child = None,
    along: Mapping[str, str] | None = None,
) -> html.Form:
    """Put a form whose fields become choices of this page's address.

    Parameters
    ----------
    place : Place
        Where the reader stands. [unitless]
    *fields : component
        Made by :func:`ask_text` and :func:`ask_choice`. [unitless]
    button : str
        What the button says. [unitless]
    label : str
        Name of the form, for those who do not see it. [unitless]
    drops : sequence of str
        Choices that do not outlive a new question, e.g. the page of a list. [unitless]
    clear : component, optional
        Stands beside the button. [unitless]
    along : mapping of str to str, optional
        Further choices that go along unseen; blank ones are taken out. [unitless]
    """
    unseen = {name: place.choices[name] for name in KEPT if place.choices.get(name)} | dict(along or {})
    hidden = [dcc.Input(type="hidden", name=name, value=value) for name, value in unseen.items()]
    return html.Form(
        [*hidden, *fields, html.Div([html.Button(button, type="submit", className="button"), clear], className="send")],
        action=place.path,
        method="GET",
        className="asking",
        **data(ask=place.path, drops=" ".join(drops)),
        **aria(label=label),
    )


def ask_text(
    name: str, label: str, value: str, *, page: str, offers: Sequence[str] = (), hint: str = "", most: int = 120
) -> html.Div:
    """Put a field of one line.

    Parameters
    ----------
    name : str
        The choice in the address. [unitless]
    label : str
        What it asks for. [unitless]
    value : str
        What stands in it at first. [as typed]
    page : str
        Beginning of its id. [unitless]
    offers : sequence of str
        Proposals; the first five hundred are offered. [unitless]
    hint : str
        How to fill it. [unitless]
    most : int
        Longest text. [character]
    """
    own = f"{page}-ask-{name}"
    offered = f"{own}-offers"
    return html.Div(
        [
            _label(own, label, hint),
            one_line(own, name, value, most=most, choose=offered if offers else ""),
            html.Datalist([html.Option(value=one) for one in offers[:500]], id=offered) if offers else None,
        ],
        className="asked",
    )


def ask_choice(name: str, label: str, value: str, options: Mapping[str, str], *, page: str, hint: str = "") -> html.Div:
    """Put a choice out of a list, by value and text.

    Parameters
    ----------
    name, label, value, page, hint
        As for :func:`ask_text`.
    options : mapping of str to str
        Text of each value; the blank value asks for nothing. [unitless]
    """
    own = f"{page}-ask-{name}"
    mark: dict[str, Any] = {"selected": True}
    items = [html.Option(text, value=one, **(mark if one == value else {})) for one, text in options.items()]
    return html.Div(
        [_label(own, label, hint), html.Select(items, id=own, name=name, className="box", **data(value=value))],
        className="asked",
    )


def _label(own: str, label: str, hint: str) -> html.Label:
    return html.Label([label, html.Span(hint, className="hint")] if hint else label, htmlFor=own)
