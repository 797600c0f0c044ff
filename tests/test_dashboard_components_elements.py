"""Elements against Dash's own components: the same question answered by another hand, kind by kind."""

import json
from typing import Any

import pytest
from dash import dcc, html
from dash._utils import to_json

from dashboard.app import create_app
from dashboard.components import elements
from dashboard.components.elements import Element
from models.settings import Settings
from tests.history_maker import NOW, made_book
from tests.still_trees import put_together
from tests.test_dashboard_pages import parts_of_pages

KINDS = sorted(
    (
        one
        for one in vars(elements).values()
        if isinstance(one, type) and issubclass(one, Element) and one is not Element
    ),
    key=lambda one: one.__name__,
)
GIVEN: dict[str, Any] = {"id": "here", "className": "soft < & 'told'", "title": "µ – „ü“", "style": {"height": "3px"}}


def written(component: Any) -> Any:
    return json.loads(to_json({"response": [component]}))


def dash_kind(kind: type[Element]) -> Any:
    return dcc.Link if kind is elements.Link else getattr(html, kind.__name__)


def needed(kind: type[Element]) -> dict[str, Any]:
    return {"href": "/due?risk=5"} if kind is elements.Link else {}


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
def test_an_element_is_sent_as_dash_sends_its_component(kind: type[Element]) -> None:
    wild = {} if kind is elements.Link else {"aria-label": "all", "data-place": "7"}
    for children in (None, "", "text", 3, ["a", None, html.Span("b"), elements.Span("c")]):
        props = {**GIVEN, **needed(kind), **wild}
        assert written(kind(children, **props)) == written(dash_kind(kind)(children, **props))
        assert written(kind(children, **needed(kind))) == written(dash_kind(kind)(children, **needed(kind)))
    assert written(kind(**needed(kind))) == written(dash_kind(kind)(**needed(kind)))


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
def test_an_element_takes_the_properties_of_its_component_and_no_others(kind: type[Element]) -> None:
    takes = set(dash_kind(kind)(**needed(kind)).available_properties)
    assert kind.names == {name for name in takes if not name.endswith("-*")} - {"children"}
    for wrong in ("klass", "aria", "onclick", "on-click"):
        with pytest.raises(TypeError, match=wrong):
            kind("text", **needed(kind), **{wrong: "x"})
        with pytest.raises(TypeError, match=wrong):
            dash_kind(kind)("text", **needed(kind), **{wrong: "x"})


def test_elements_and_components_stand_in_one_another() -> None:
    def tree(of: Any, link: Any) -> Any:
        return of.Div([of.P(["see ", link("it", href="/due")]), dcc.Store(id="s", data=[of.Td("x")]), None], id="t")

    assert written(tree(elements, elements.Link)) == written(tree(html, dcc.Link))
    assert written(html.Div(elements.P("a"))) == written(elements.Div(html.P("a"))) == written(html.Div(html.P("a")))


def test_properties_can_be_read_and_not_be_changed() -> None:
    cell = elements.Td("7", className="number", **{"data-row": "3"})
    assert (cell.children, cell.className, getattr(cell, "data-row")) == ("7", "number", "3")
    assert not hasattr(cell, "title")
    assert cell.to_plotly_json() == cell
    with pytest.raises(AttributeError):
        cell.className = "other"


def test_what_was_given_to_one_element_stays_its_own() -> None:
    given = {"className": "soft"}
    one, other = elements.P("a", **given), elements.P("b", **given)
    assert (one.children, other.children, given) == ("a", "b", {"className": "soft"})


SPACES = {"dash_html_components": html, "dash_core_components": dcc}


def by_dash(node: Any, made: list[str]) -> Any:
    """Make everything on a page again out of Dash's own components, which look at every property that they are given."""
    if isinstance(node, list):
        return [by_dash(one, made) for one in node]
    if not (isinstance(node, dict) and node.get("namespace") in SPACES):
        return node
    made.append(node["type"])
    children = by_dash(node["props"].get("children"), made)
    given = {name: value for name, value in node["props"].items() if name != "children"}
    return getattr(SPACES[node["namespace"]], node["type"])(
        **({"children": children} if "children" in node["props"] else {}), **given
    )


def test_every_page_is_one_that_dash_itself_would_have_made() -> None:
    client = create_app(Settings(book="x.book"), made_book(), clock=lambda: NOW).server.test_client()
    made: list[str] = []
    for part in parts_of_pages(client, "?window=all&list=all").values():
        page = put_together(part)
        assert written(by_dash(page, made)) == written(page)
    assert len(made) > 1000
    assert len(set(made)) > 25
