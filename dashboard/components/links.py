"""Links to machines, the same on every page."""

from __future__ import annotations

from dashboard.components import elements as html
from dashboard.place import Place, asset_path


def machine(tag: str, place: Place) -> html.Link:
    """Put a link to the page of a machine; site and units go along."""
    return html.Link(tag, href=place.to(asset_path(tag)), className="tag")


def left_at(judged: str, mark: str, place: Place) -> html.Div | str:
    """Put how something was left, with the mark of an instrument that reads off below it: a link to what it reads."""
    if not mark:
        return judged
    return html.Div(
        [html.Div(judged), html.Div(html.Link(mark, href=place.to("/people")), className="off-mark")],
        className="two-lines",
    )
