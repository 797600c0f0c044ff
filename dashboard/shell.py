"""The frame around the pages: name, pages, finder, light or dark, cautions, and which page is shown."""

from __future__ import annotations

from types import ModuleType
from typing import Any

import dash
import dash_mantine_components as dmc
from dash import Input, Output, State, dcc, html
from dash.exceptions import PreventUpdate

from dashboard import roles
from dashboard.auth.asking import PASSWORD, signed
from dashboard.browser import attach
from dashboard.components.aria import aria
from dashboard.components.machine_box import answering, attach_box, machine_box
from dashboard.components.pieces import Child, nothing
from dashboard.context import context
from dashboard.fetch import scene
from dashboard.ids import RecordIds, Shell
from dashboard.pages import asset, book, due, limits, month, offenders, people, record
from dashboard.place import SITE, UNITS, asset_path
from dashboard.theme import MANTINE
from dashboard.views.finder_view import offers
from dashboard.words import say
from dashboard.writing import count
from models.values.roles import Permission

PAGES: tuple[ModuleType, ...] = tuple(
    sorted((month, offenders, due, asset, record, book, people, limits), key=lambda page: int(page.ORDER))
)
"""The pages, in the order of the header."""


def page_of(pathname: str | None) -> ModuleType | None:
    """Give the page of a path; a page also answers for the paths below its own, the first page does not."""
    path = pathname or "/"
    for page in PAGES:
        if path == page.PATH or (page.PATH != "/" and path.startswith(f"{page.PATH}/")):
            return page
    return None


def layout() -> dmc.MantineProvider:
    """Give the frame; what is in it comes with callbacks."""
    return dmc.MantineProvider(
        [
            dcc.Location(id=Shell.URL, refresh=False),
            dcc.Store(id=Shell.PAGE),
            dcc.Store(id=Shell.SCHEME),
            dcc.Store(id=RecordIds.HANDED),
            html.A(say("shell.skip"), href=f"#{Shell.CONTENT}", className="skip"),
            html.Header([_brand(), html.Div(id=Shell.NAV, className="nav-slot"), _tools()], className="head"),
            _notice(),
            html.Main(id=Shell.CONTENT, className="content", tabIndex=-1),
            _footer(),
        ],
        id=Shell.PROVIDER,
        theme=MANTINE,
        defaultColorScheme="auto",
    )


def _notice() -> html.Div:
    """Give the line for what has to be told, with the texts that only the browser can put there (``assets/line.js``)."""
    texts: dict[str, Any] = {
        "data-away": say("line.away"),
        "data-failed": say("line.failed"),
        "data-unsaved": say("line.unsaved"),
        "data-unasked": say("line.unasked"),
    }
    return html.Div(id=Shell.NOTICE, role="status", className="notice", **aria(live="polite"), **texts)


def _brand() -> html.Div:
    return html.Div(
        dcc.Link([html.Img(src="/assets/mark.svg", alt="", width=30, height=22), html.Span(say("brand"))], href="/"),
        className="brand",
    )


def _tools() -> html.Div:
    return html.Div(
        [
            machine_box(
                Shell.FINDER,
                size="sm",
                kind="finder",
                rightSection=html.Kbd("/", **aria(hidden="true")),
                rightSectionPointerEvents="none",
                # Wider than the box: on a phone that is too narrow for the name of a machine.
                comboboxProps={"position": "bottom-end", "width": "min(30rem, calc(100vw - 2rem))"},
                **aria(label=say("finder.label")),
            ),
            html.Button(
                id=Shell.TOGGLE,
                className="toggle",
                type="button",
                title=say("shell.scheme"),
                **aria(label=say("shell.scheme")),
            ),
        ],
        className="tools",
    )


def _footer() -> html.Footer:
    return html.Footer(
        [
            html.Div([html.Strong(say("caution.title")), html.Span(say("caution.text"))], className="cautions"),
            html.Div(id=Shell.HEAD, className="book-head"),
        ],
        className="foot",
    )


def route(pathname: str | None) -> tuple[Child, str]:
    """Give the skeleton of the page of a path, and that path: what fills the page waits for both."""
    return _skeleton(pathname), pathname or "/"


def _skeleton(pathname: str | None) -> Child:
    page = page_of(pathname)
    if page is None:
        return nothing(
            say("page.unknown.title"), say("page.unknown.text"), dcc.Link(say("page.unknown.back"), href=month.PATH)
        )
    if not offered(page.PATH):
        return nothing(say("gate.page.title"), say("gate.remedy"), dcc.Link(say("page.unknown.back"), href=month.PATH))
    return page.layout()


def offered(path: str, site_id: int | None = None) -> bool:
    """Tell whether a page is for the roles of who is signed in; where nobody has to be, every page is."""
    who, needed = signed(), roles.PAGES.get(path)
    return who is None or needed is None or who.may(needed, site_id)


def frame(pathname: str | None, search: str | None) -> tuple[Child, Child]:
    """Fill header and footer for an address: links that keep site and units, and the number of the last entry."""
    seen = scene(pathname, search)
    place, here = seen.place, page_of(pathname)
    links = []
    for page in PAGES:
        if not offered(page.PATH, None if seen.site is None else seen.site.site_id):
            continue
        text = say(page.NAME)
        # dcc.Link takes no aria attributes, so the sign stands on its list item.
        current = aria(current="page" if pathname == page.PATH else "true") if page is here else {}
        links.append(
            html.Li(dcc.Link(text, href=place.to(page.PATH)), className="here" if page is here else "", **current)
        )
    parts: list[Child] = [html.Nav(html.Ul(links), className="pages", **aria(label=say("shell.pages")))]
    if seen.site is not None:
        if len(seen.sites) > 1:
            parts.append(
                _switch(
                    say("shell.site"),
                    [(one.code, place.to("/", site=one.code), one is seen.site) for one in seen.sites],
                )
            )
        parts.append(
            _switch(say("shell.units"), [(unit, place.here(units=unit), unit == seen.display.length) for unit in UNITS])
        )
    site: Child = say("foot.no_site")
    if seen.site is not None:
        site = html.A(say("foot.site", name=seen.site.name, zone=seen.site.zone), href=place.to(SITE))
    foot = say("foot.head", head=count(context().book.head()))
    return parts, [html.Span(site), html.Span(foot), _door()]


def _door() -> html.Span:
    """Say who is signed in, or that nobody has to be."""
    who = signed()
    if who is None:
        return html.Span(say("foot.nobody"))
    own = html.A(say("foot.account", person=who.account.person(0)), href=PASSWORD)
    accounts = html.A(say("foot.accounts"), href="/accounts") if who.may(Permission.ADMINISTER) else None
    return html.Span([own, " ", accounts] if accounts else [own], className="who")


def _switch(label: str, options: list[tuple[str, str, bool]]) -> html.Nav:
    links = [
        html.Li(html.Span(text, **aria(current="true")) if chosen else dcc.Link(text, href=href))
        for text, href, chosen in options
    ]
    return html.Nav(html.Ul(links), className="switch", **aria(label=label))


def offer(typed: str | None, pathname: str | None, search: str | None) -> list[dict[str, Any]]:
    """Offer the machines that answer to what is typed in the finder."""
    if not (typed or "").strip():
        return []
    seen = scene(pathname, search)
    if seen.site is None:
        return []
    return answering(offers(seen.history, str(typed), lambda tag: seen.place.to(asset_path(tag))), str(typed))


def say_nothing(pathname: str | None) -> Child:
    """Take an old notice away when another page is opened."""
    if pathname is None:
        raise PreventUpdate
    return None


def register(app: dash.Dash) -> None:
    """Attach the callbacks of the frame and of each page."""
    url, query = Input(Shell.URL, "pathname"), Input(Shell.URL, "search")
    app.callback(Output(Shell.CONTENT, "children"), Output(Shell.PAGE, "data"), url)(route)
    app.callback(Output(Shell.NAV, "children"), Output(Shell.HEAD, "children"), url, query)(frame)
    app.callback(Output(Shell.NOTICE, "children"), url)(say_nothing)
    app.callback(
        Output(Shell.FINDER, "data"), Input(Shell.FINDER, "searchValue"), State(Shell.URL, "pathname"), State(Shell.URL, "search"),
        prevent_initial_call=True,
    )(offer)  # fmt: skip
    attach_box(app, Shell.FINDER)
    attach(app, "scheme", Output(Shell.SCHEME, "data"), Input(Shell.TOGGLE, "n_clicks"))
    attach(app, "show_scheme", Output(Shell.PROVIDER, "forceColorScheme"), Input(Shell.SCHEME, "data"))
    for page in PAGES:
        page.register(app)
