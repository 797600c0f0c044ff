"""How every page begins: its skeleton, the address that it answers for, a book without a site, its title.

A page says what it shows; that it is asked at all, and only on its own
address, is the same for each and stands here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

import dash
from dash import Input, Output
from dash.exceptions import PreventUpdate

from dashboard.auth.asking import may_import
from dashboard.components import elements as html
from dashboard.components.pieces import Child, blank, empty_book, heading, problems, waiting
from dashboard.components.still import still
from dashboard.fetch import Scene, scene
from dashboard.ids import Shell
from dashboard.place import IMPORT, SITE
from dashboard.words import say

Fill = Callable[[Scene, str], Child]
"""Gives what a page shows of a scene, in a colour scheme; the book has a site by then."""


def skeleton(body: str) -> html.Div:
    """Put what is there before the numbers are.

    Parameters
    ----------
    body : str
        Id of what the page fills. [unitless]
    """
    return html.Div(waiting(), id=body, className="page")


def attach_fill(
    app: dash.Dash,
    body: str,
    path: str,
    fill: Fill,
    *,
    below: bool = False,
    further: bool = False,
    alive: bool = False,
) -> None:
    """Let a page fill its body whenever address or colours change.

    The path comes from the frame, which puts the skeleton there with it: so an
    address that changes path and choices at once is answered once, and nothing
    that was answered, or chosen in it, goes away under the skeleton.

    Parameters
    ----------
    app : dash.Dash
        The application. [unitless]
    body : str
        Id of what is filled. [unitless]
    path : str
        The page's own path; on another it stays silent. [unitless]
    fill : callable
        Gives what is shown. [unitless]
    below : bool
        True where the page also answers for the paths below its own. [unitless]
    further : bool
        True for a further part of a page, whose first part says that a book is empty. [unitless]
    alive : bool
        True where callbacks fill elements in the body: it is then not sent as one piece. [unitless]
    """

    def show(pathname: str | None, search: str | None, scheme: str | None) -> Child:
        mine = pathname == path or (below and (pathname or "").startswith(f"{path}/"))
        if not mine or scheme is None:
            raise PreventUpdate
        seen = scene(pathname, search)
        if seen.site is None:
            return None if further else still(empty_book())
        shown = fill(seen, scheme)
        return shown if alive else still(shown)

    app.callback(
        Output(body, "children"),
        Input(Shell.PAGE, "data"),
        Input(Shell.URL, "search"),
        Input(Shell.SCHEME, "data"),
    )(show)


def begin(title: str, seen: Scene, said: Iterable[str] = (), *, beside: Child = None) -> list[Child]:
    """Put the title of a page, and what of its address could not be read.

    Parameters
    ----------
    title : str
        The title. [unitless]
    seen : Scene
        What the page stands on. [unitless]
    said : iterable of str
        Sentences about choices that could not be read; empty ones count for nothing. [unitless]
    beside : Child
        What stands beside the title. [unitless]
    """
    return [heading(title, beside), problems((*seen.said, *said))]


def no_jobs(seen: Scene) -> html.Div:
    """Put the state of a site of which the book holds no job: where a file is sent to, and what to type."""
    return blank(
        say("book.no_jobs.title"), say("book.no_jobs.text"), html.Code(say("book.empty.command")), import_way(seen)
    )


def import_way(seen: Scene) -> Child:
    """Put the way to import a file in the browser, for those who may."""
    if not may_import(seen.required.site_id):
        return None
    return html.P(html.A(say("import.link"), href=seen.place.to(IMPORT)), className="take")


def site_way(seen: Scene) -> Child:
    """Put the way to how the site is set."""
    return html.P(html.A(say("site.link"), href=seen.place.to(SITE)), className="take")
