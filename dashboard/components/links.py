"""Links to machines, the same on every page."""

from __future__ import annotations

from dashboard.components import elements as html
from dashboard.place import Place, asset_path


def machine(tag: str, place: Place) -> html.Link:
    """Put a link to the page of a machine; site and units go along."""
    return html.Link(tag, href=place.to(asset_path(tag)), className="tag")
