"""The box that finds a machine: in the header, and where a job is recorded."""

from __future__ import annotations

from typing import Any

import dash
import dash_mantine_components as dmc
from dash import Input

from dashboard.browser import attach
from dashboard.words import say

ASKED = "asked"
"""Beside each machine that is offered: the text that it is an answer to."""


def machine_box(own: str, *, size: str, kind: str, **more: Any) -> dmc.Select:
    """Put the box; ``assets/finding.js`` opens the machine that is taken, whose value is an address.

    Parameters
    ----------
    own : str
        Its id, one of those that ``finding.js`` knows. [unitless]
    size : str
        As Mantine names sizes. [unitless]
    kind : str
        Its class. [unitless]
    **more
        What else the box is given. [unitless]
    """
    more["comboboxProps"] = {"withinPortal": False, "zIndex": 300} | more.get("comboboxProps", {})
    return dmc.Select(
        id=own,
        data=[],
        # Both stand here from the start: a box that gets them with its first answer is emptied by it, under somebody's fingers.
        value=None,
        searchValue="",
        searchable=True,
        clearable=False,
        placeholder=say("finder.placeholder"),
        nothingFoundMessage=say("finder.nothing"),
        filter={"function": "keepMatching"},
        withScrollArea=False,
        selectFirstOptionOnChange=True,
        size=size,
        className=kind,
        **more,
    )


def answering(found: list[dict[str, str]], typed: str) -> list[dict[str, str]]:
    """Put beside each machine the text that it answers to: Enter takes nothing out of an answer to an older text."""
    return [{**one, ASKED: typed} for one in found]


def attach_box(app: dash.Dash, own: str) -> None:
    """Attach what a box of machines needs in the browser."""
    attach(app, "machines_offered", Input(own, "data"))
    attach(app, "machine_taken", Input(own, "value"))
