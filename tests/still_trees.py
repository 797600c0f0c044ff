"""What a page shows, with the parts that were sent as one piece put together again."""

from __future__ import annotations

from typing import Any

from dashboard.components.still import KIND


def put_together(node: Any) -> Any:
    """Give a part of a page as if each element had been sent by itself.

    Parameters
    ----------
    node : Any
        As the page's answer holds it. [unitless]
    """
    if isinstance(node, dict) and node.get("type") == KIND:
        return _filled(node["props"]["tree"], node["props"].get("children", []))
    return node


def _filled(node: Any, holes: list[Any]) -> Any:
    if isinstance(node, list):
        return [_filled(one, holes) for one in node]
    if not isinstance(node, dict):
        return node
    if "hole" in node:
        return holes[node["hole"]]
    props = node["props"]
    return (
        node if "children" not in props else {**node, "props": {**props, "children": _filled(props["children"], holes)}}
    )
