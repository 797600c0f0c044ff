"""Attaching what runs in the browser itself; the functions stand in ``assets/driftbook.js``."""

from __future__ import annotations

from typing import Any

import dash
from dash import ClientsideFunction


def attach(app: dash.Dash, function: str, *given: Any) -> None:
    """Attach a function of the browser's script.

    Parameters
    ----------
    app : dash.Dash
        The application. [unitless]
    function : str
        Its name in the script. [unitless]
    *given : Output, Input, State
        What it gives and what it takes; without an output it does not run at the start. [unitless]
    """
    without_output = not any(isinstance(one, dash.Output) for one in given)
    register: Any = app.clientside_callback  # Dash gives it no types
    register(ClientsideFunction("driftbook", function), *given, prevent_initial_call=without_output)
