"""The parts of a page that only show, sent as one piece.

Dash wraps every component of a page in one of its own that listens to the whole
page's store: with some thousand of them each answer makes a phone wait for
seconds.  What has no life of its own (text, tables, links) goes to the browser as
the tree that it is, and one small component of ours (``assets/still.js``) draws it;
graphs, grids and fields stay components of Dash and stand in its holes.
"""

from __future__ import annotations

from typing import Any

from dash.development.base_component import Component

from dashboard.components.elements import Element
from dashboard.components.pieces import Child

NAMESPACE, KIND = "driftbook", "Still"


def still(parts: Child) -> Any:
    """Put all that only shows into one piece; nothing stays nothing.

    Parameters
    ----------
    parts : Child
        What a page shows; no callback may speak of the id of an element in it, only of those of components. [unitless]
    """
    if parts is None:
        return None
    holes: list[Any] = []
    props: dict[str, Any] = {"tree": _without(parts, holes)}
    if holes:
        props["children"] = holes
    return {"props": props, "type": KIND, "namespace": NAMESPACE}


def _without(node: Any, holes: list[Any]) -> Any:
    """Give a tree with a hole for each component; a part without any is given as it is."""
    if isinstance(node, Element):
        inside = node["props"]["children"]
        if inside is None or type(inside) is str:
            return node
        now = _without(inside, holes)
        return node if now is inside else {**node, "props": {**node["props"], "children": now}}
    if isinstance(node, (list, tuple)):
        parts = [_without(one, holes) for one in node]
        return parts if any(one is not old for one, old in zip(parts, node, strict=True)) else node
    if isinstance(node, Component):
        holes.append(node)
        return {"hole": len(holes) - 1}
    return node
