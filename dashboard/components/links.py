"""Links to machines, the same on every page."""

from __future__ import annotations

from dash import dcc

from dashboard.place import Place, asset_path


def machine(tag: str, place: Place) -> dcc.Link:
    """Put a link to the page of a machine; site and units go along."""
    return dcc.Link(tag, href=place.to(asset_path(tag)), className="tag")
