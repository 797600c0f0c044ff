"""Fields of the Record page: a label, what is typed, and a line that says how it was understood.

The browser's own script collects them by their names, so they need no callback each.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import dash_mantine_components as dmc

from dashboard.components import elements as html
from dashboard.components.aria import data
from dashboard.components.one_line import one_line
from dashboard.components.pieces import Child
from dashboard.words import say

Texts = dict[str, str]


def field_id(name: str) -> str:
    """Give the id of a field; ids may hold no points."""
    return f"rf-{name.replace('.', '-').replace('_', '-')}"


def said_id(name: str) -> str:
    """Give the id of the place where something is said of a field."""
    return field_id(name).replace("rf-", "rs-", 1)


def said_slot(name: str) -> html.Div:
    """Put the place where it is said how a field was understood, or what is wrong with it."""
    return html.Div(id=said_id(name), className="said", **data(said=name))


def typed(
    name: str, label: str, fields: Texts, *, hint: str = "", unit: str = "", keys: str = "text", choose: str = "", wide: bool = False
) -> html.Div:  # fmt: skip
    """Put a field of one line.

    Parameters
    ----------
    name : str
        Its name in the form. [unitless]
    label : str
        What it asks for. [unitless]
    fields : dict of str to str
        The texts of the form; this one's stands in it at first. [as typed]
    hint : str
        How to fill it. [unitless]
    unit : str
        Unit of a plain number. [unitless]
    keys : str
        Which keys a phone shows: 'text', or 'decimal' where neither sign nor unit is needed. [unitless]
    choose : str
        Id of a list of proposals. [unitless]
    wide : bool
        Take the whole row. [unitless]
    """
    return html.Div(
        [
            _label(name, label, hint, unit),
            one_line(field_id(name), name, fields.get(name, ""), most=200, keys=keys, choose=choose),
            said_slot(name),
        ],
        className="field wide" if wide else "field",
    )


def chosen(
    name: str, label: str, options: Sequence[tuple[str, str]], fields: Texts, *, hint: str = "", wide: bool = False
) -> html.Div:
    """Put a choice out of a list: value and text of each.

    Parameters
    ----------
    name, label, fields, hint, wide
        As for :func:`typed`.
    options : sequence of tuple of str
        Value and text of each. [unitless]
    """
    value = fields.get(name, options[0][0])
    mark: dict[str, Any] = {"selected": True}
    items = [html.Option(text, value=one, **(mark if one == value else {})) for one, text in options]
    return html.Div(
        [
            _label(name, label, hint, ""),
            html.Select(items, id=field_id(name), name=name, className="box"),
            said_slot(name),
        ],
        className="field wide" if wide else "field",
    )


def written(name: str, label: str, fields: Texts, *, hint: str = "") -> html.Div:
    """Put a field of several lines."""
    return html.Div(
        [
            _label(name, label, hint, ""),
            html.Textarea(fields.get(name, ""), id=field_id(name), name=name, rows=3, maxLength=4000, className="box"),
            said_slot(name),
        ],
        className="field wide",
    )


def ticked(name: str, label: str, fields: Texts) -> html.Div:
    """Put something to tick."""
    return html.Div(
        dmc.Checkbox(id=field_id(name), label=label, checked=fields.get(name) == "yes", size="md"),
        className="tick",
        **data(tick=name),
    )


def group(title: str, *children: Child, name: str = "", note: str = "", beside: str = "") -> html.Fieldset:
    """Put fields that belong together under a title; ``name`` is where something is said of all of them, ``beside`` of the title itself."""
    parts: list[Child] = [html.Legend([title, said_slot(beside)] if beside else title)]
    if note:
        parts.append(html.P(note, className="note"))
    parts.extend(children)
    if name:
        parts.append(said_slot(name))
    return html.Fieldset(parts, className="group")


def fields_row(*fields: Child) -> html.Div:
    """Put fields side by side, as many as the screen holds."""
    return html.Div(list(fields), className="fields")


def folded(title: str, *children: Child, open_: bool = False) -> html.Details:
    """Put fields that are seldom needed behind their title."""
    return html.Details([html.Summary(title), *children], open=open_, className="folded")


def proposals(name: str, texts: Sequence[str]) -> html.Datalist:
    """Put a list of proposals for fields."""
    return html.Datalist([html.Option(value=text) for text in texts], id=name)


def _label(name: str, label: str, hint: str, unit: str) -> html.Label:
    parts: list[Child] = [say("record.label.unit", label=label, unit=unit) if unit else label]
    if hint:
        parts.append(html.Span(hint, className="hint"))
    return html.Label(parts, htmlFor=field_id(name))
