"""What only shows is sent as one piece, and put together again it is what was made."""

from __future__ import annotations

import json
from typing import Any

import dash
from dash import dcc
from dash._utils import to_json

from dashboard.app import create_app
from dashboard.components import elements as html
from dashboard.components.still import KIND, NAMESPACE, still
from dashboard.pages import record
from models.settings import Settings
from tests.history_maker import NOW, made_book
from tests.still_trees import put_together
from tests.test_dashboard_pages import parts_of_pages

GRAPH, FIELD = dcc.Store(id="a"), dcc.Store(id="b")


def written(part: Any) -> Any:
    return json.loads(to_json({"response": [part]}))["response"][0]


def test_components_stand_in_holes_in_their_order_and_everything_else_in_the_tree() -> None:
    parts = [html.P("before"), html.Div([GRAPH, html.Ul([html.Li("x"), html.Li(["y", [FIELD]])])]), None, "after"]
    sent = still(parts)
    assert (sent["type"], sent["namespace"]) == (KIND, NAMESPACE)
    assert sent["props"]["children"] == [GRAPH, FIELD]
    assert put_together(written(sent)) == written(parts)
    assert sent["props"]["tree"][0] is parts[0], "a part without a component is not made again"


def test_a_part_without_components_has_no_holes_and_nothing_stays_nothing() -> None:
    parts = html.Table([html.Tr(html.Td("1")), html.Tr([])])
    assert still(parts)["props"] == {"tree": parts}
    assert still(html.P())["props"]["tree"].children is None
    assert still(None) is None


def ids_of(node: Any) -> set[str]:
    inside = node if isinstance(node, list) else list(node.values()) if isinstance(node, dict) else []
    own = {node["props"]["id"]} if isinstance(node, dict) and "id" in node.get("props", {}) else set()
    return own.union(*(ids_of(one) for one in inside))


def called(app: dash.Dash) -> set[str]:
    """Give every id that a callback reads or fills."""
    outputs = [one.rpartition(".")[0] for key in app.callback_map for one in key.strip(".").split("...")]
    read = [one["id"] for given in app.callback_map.values() for part in ("inputs", "state") for one in given[part]]
    return {*outputs, *read}


def test_no_callback_speaks_of_an_element_that_is_no_component_of_its_own() -> None:
    app = create_app(Settings(book="x.book"), made_book(), clock=lambda: NOW)
    ids = called(app)
    assert {"shell-url", "month-pick"} <= ids
    for name, sent in parts_of_pages(app.server.test_client()).items():
        if name != record.Ids.BODY:
            assert sent["type"] == KIND, name
            assert ids_of(sent["props"]["tree"]) & ids == set(), name
