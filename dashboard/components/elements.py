"""Elements of pages, made and written down quickly: a page holds a thousand of them.

A component of Dash asks for every property that its kind could have, when it is made
and again when it is sent: 15 µs each.  An element here is what is sent in the end: a
dict of its type, its namespace and the properties that were given, which the JSON
encoder takes as it is.  Which properties a kind may have is asked of Dash once, when
the application starts.  What has a life in the browser (graphs, grids, stores, fields
that callbacks read) stays a component of Dash.
"""

from __future__ import annotations

import inspect
from typing import Any, ClassVar

from dash import dcc, html
from dash.development.base_component import Component


class Element(dict[str, Any]):
    """An element as it is sent; its properties can be read as attributes, as those of a component can, and not be changed."""

    __slots__ = ()
    kind: ClassVar[str] = ""
    namespace: ClassVar[str] = ""
    names: ClassVar[frozenset[str]] = frozenset()
    beginnings: ClassVar[tuple[str, ...]] = ()

    def __init_subclass__(cls, of: Component) -> None:
        """Take type, namespace and the names of properties from a component of Dash."""
        sent: dict[str, Any] = of.to_plotly_json()  # type: ignore[no-untyped-call]
        cls.kind, cls.namespace = sent["type"], sent["namespace"]
        cls.names = frozenset(inspect.signature(type(of)).parameters) - {"children", "kwargs"}
        cls.beginnings = tuple(of.available_wildcard_properties)

    def __init__(self, children: Any = None, **props: Any) -> None:
        if not self.names.issuperset(props):
            self._refuse(props)
        props["children"] = children
        self["props"], self["type"], self["namespace"] = props, self.kind, self.namespace

    def _refuse(self, props: dict[str, Any]) -> None:
        for name in props:
            if name not in self.names and not name.startswith(self.beginnings):
                raise TypeError(f"{self.kind} has no property {name}")

    def __getattr__(self, name: str) -> Any:
        """Give a property that was given."""
        try:
            return self["props"][name]
        except KeyError:
            raise AttributeError(f"{self.kind} was given no {name}") from None

    def to_plotly_json(self) -> dict[str, Any]:
        """Give what is sent, as components do."""
        return self


class A(Element, of=html.A()):
    """A link that leaves the pages: to a file, a paper, another site."""

    __slots__ = ()


class Abbr(Element, of=html.Abbr()):
    """A short word whose title says the long one."""

    __slots__ = ()


class Article(Element, of=html.Article()):
    """A piece that stands on its own."""

    __slots__ = ()


class Button(Element, of=html.Button()):
    """A button."""

    __slots__ = ()


class Caption(Element, of=html.Caption()):
    """What a table holds."""

    __slots__ = ()


class Code(Element, of=html.Code()):
    """What is typed at a prompt."""

    __slots__ = ()


class Datalist(Element, of=html.Datalist()):
    """Values that a field offers."""

    __slots__ = ()


class Dd(Element, of=html.Dd()):
    """What a term means, or its number."""

    __slots__ = ()


class Details(Element, of=html.Details()):
    """A part that is unfolded on demand."""

    __slots__ = ()


class Div(Element, of=html.Div()):
    """A part of a page without a meaning of its own."""

    __slots__ = ()


class Dl(Element, of=html.Dl()):
    """A list of terms and what belongs to them."""

    __slots__ = ()


class Dt(Element, of=html.Dt()):
    """A term."""

    __slots__ = ()


class Fieldset(Element, of=html.Fieldset()):
    """Fields that belong together."""

    __slots__ = ()


class Figcaption(Element, of=html.Figcaption()):
    """What a picture shows."""

    __slots__ = ()


class Figure(Element, of=html.Figure()):
    """A picture with what is said about it."""

    __slots__ = ()


class Footer(Element, of=html.Footer()):
    """The foot of a part."""

    __slots__ = ()


class Form(Element, of=html.Form()):
    """Fields that are sent together."""

    __slots__ = ()


class H1(Element, of=html.H1()):
    """The title of a page."""

    __slots__ = ()


class H2(Element, of=html.H2()):
    """The title of a part."""

    __slots__ = ()


class H3(Element, of=html.H3()):
    """The title of a part of a part."""

    __slots__ = ()


class Header(Element, of=html.Header()):
    """The head of a part."""

    __slots__ = ()


class Img(Element, of=html.Img()):
    """A picture from a file."""

    __slots__ = ()


class Kbd(Element, of=html.Kbd()):
    """A key to press."""

    __slots__ = ()


class Label(Element, of=html.Label()):
    """What a field is for."""

    __slots__ = ()


class Legend(Element, of=html.Legend()):
    """What a set of fields is for."""

    __slots__ = ()


class Li(Element, of=html.Li()):
    """An item of a list."""

    __slots__ = ()


class Nav(Element, of=html.Nav()):
    """Links by which one goes on."""

    __slots__ = ()


class Option(Element, of=html.Option()):
    """One value of a choice."""

    __slots__ = ()


class P(Element, of=html.P()):
    """A paragraph."""

    __slots__ = ()


class Pre(Element, of=html.Pre()):
    """Text whose lines stay as they are."""

    __slots__ = ()


class Section(Element, of=html.Section()):
    """A part of a page under a title."""

    __slots__ = ()


class Select(Element, of=html.Select()):
    """A choice of one value."""

    __slots__ = ()


class Span(Element, of=html.Span()):
    """A piece of a line."""

    __slots__ = ()


class Strong(Element, of=html.Strong()):
    """Words that weigh more."""

    __slots__ = ()


class Summary(Element, of=html.Summary()):
    """What is seen of a part that is folded."""

    __slots__ = ()


class Table(Element, of=html.Table()):
    """A table."""

    __slots__ = ()


class Tbody(Element, of=html.Tbody()):
    """The rows of a table."""

    __slots__ = ()


class Td(Element, of=html.Td()):
    """A cell."""

    __slots__ = ()


class Textarea(Element, of=html.Textarea()):
    """A field of several lines."""

    __slots__ = ()


class Th(Element, of=html.Th()):
    """A heading of a column or a row."""

    __slots__ = ()


class Thead(Element, of=html.Thead()):
    """The headings of a table."""

    __slots__ = ()


class Tr(Element, of=html.Tr()):
    """A row of a table."""

    __slots__ = ()


class Ul(Element, of=html.Ul()):
    """A list."""

    __slots__ = ()


class Link(Element, of=dcc.Link(href="")):
    """A link from page to page, which the browser follows without loading anew."""

    __slots__ = ()
