"""Repeat offenders: the reliability engineer, weekly.

Decides from it which machines to look into first: those that came back over
limit often enough that chance is a poor explanation.
"""

from __future__ import annotations

import dash
from dash import Input, Output, dcc, html
from dash.exceptions import PreventUpdate

from dashboard.components.chart import chart
from dashboard.components.links import machine
from dashboard.components.pieces import (
    Child,
    blank,
    choices,
    empty_book,
    heading,
    key_number,
    key_numbers,
    limits,
    note,
    problems,
    section,
    sentence,
    two_lines,
    waiting,
)
from dashboard.components.tables import Column, table
from dashboard.fetch import Scene, scene
from dashboard.figures.shares import offender_figure
from dashboard.ids import Shell
from dashboard.place import ALL, WINDOWS, Place, class_code, read_class, read_window
from dashboard.views.offenders_view import ALL as MANY
from dashboard.views.offenders_view import MOST, PICTURED, OffendersView, build
from dashboard.words import say
from dashboard.writing import count, day, interval, judged, percent, speed_class
from models.history.columns import SPEED_BOUNDS_RPM
from models.units import Quantity

PATH = "/offenders"
NAME = "page.offenders"
ORDER = 2


class Ids:
    """Ids of this page."""

    BODY = "offenders-body"


def layout() -> html.Div:
    """Give the skeleton; the numbers come with the callback."""
    return html.Div(waiting(), id=Ids.BODY, className="page")


def show(pathname: str | None, search: str | None, scheme: str | None) -> Child:
    """Fill the page for an address."""
    if pathname != PATH or scheme is None:
        raise PreventUpdate
    seen = scene(pathname, search)
    if seen.site is None:
        return empty_book()
    window, speed = read_window(seen.place), read_class(seen.place)
    view = build(
        seen.history,
        seen.runs,
        window.value,
        speed.value,
        seen.today,
        site=seen.site,
        limit_set=seen.limit_set,
        most=MANY if seen.place.get("list") == "all" else MOST,
    )
    return body(view, seen, scheme, (*seen.problems, window.problem, speed.problem))


def register(app: dash.Dash) -> None:
    """Attach the callback."""
    app.callback(
        Output(Ids.BODY, "children"),
        Input(Shell.URL, "pathname"),
        Input(Shell.URL, "search"),
        Input(Shell.SCHEME, "data"),
    )(show)


def body(view: OffendersView, seen: Scene, scheme: str, said: tuple[str, ...]) -> list[Child]:
    """Put the page together."""
    place = seen.place
    head = [heading(say("offenders.title")), problems(said)]
    if view.state == "empty":
        return [*head, blank(say("book.no_jobs.title"), say("book.no_jobs.text"), html.Code(say("book.empty.command")))]
    head.append(_choices(view, place))
    if view.state == "too_few":
        return [*head, blank(say("offenders.too_few.title"), say("offenders.too_few.text")), limits(view.limits)]
    parts: list[Child] = [*head, sentence(view.sentence), _keys(view)]
    if view.lines:
        parts.append(html.Div([_picture(view, scheme), _ranking(view, seen)], className="columns picture-first"))
    return [*parts, limits(view.limits)]


def _choices(view: OffendersView, place: Place) -> html.Div:
    windows = [(say("offenders.months", n=n), place.here(window=n), view.window == n) for n in WINDOWS]
    if view.window is not None and view.window not in WINDOWS:
        windows.append((say("offenders.months", n=view.window), place.here(window=view.window), True))
    windows.append((say("offenders.all_time"), place.here(window=ALL), view.window is None))
    speeds = [(say("offenders.all_speeds"), place.here(**{"class": None}), view.speed_class is None)]
    speeds += [
        (speed_class(i, SPEED_BOUNDS_RPM), place.here(**{"class": class_code(i)}), view.speed_class == i)
        for i in range(len(SPEED_BOUNDS_RPM) + 1)
    ]
    return html.Div(
        [choices(say("offenders.window"), windows), choices(say("offenders.speed"), speeds)], className="filters"
    )


def _keys(view: OffendersView) -> html.Dl:
    window = say("offenders.since", day=day(view.since)) if view.since else say("offenders.whole")
    share = percent(view.returns / view.looks) if view.looks else "–"
    return key_numbers(
        key_number(
            say("offenders.key.looks"),
            count(view.looks),
            say("offenders.key.looks_below", n=count(view.machines)),
            window,
        ),
        key_number(
            say("offenders.key.returns"),
            say("key.of", count=count(view.returns), n=count(view.looks)),
            say("offenders.key.returns_below", share=share),
            window,
        ),
        key_number(
            say("offenders.key.back"),
            say("key.of", count=count(view.came_back), n=count(view.machines)),
            say("offenders.key.back_below"),
            window,
        ),
        key_number(
            say("offenders.key.repeated"),
            say("key.of", count=count(view.repeated), n=count(view.machines)),
            say("offenders.key.repeated_below"),
            window,
        ),
    )


def _picture(view: OffendersView, scheme: str) -> html.Section:
    lines = view.lines[:PICTURED]
    says = "; ".join(
        f"{line.tag}: {line.returns} / {line.looks}, {interval(line.low, line.high)}" for line in lines[:5]
    )
    picture = chart(
        offender_figure(lines, scheme),
        title=say("figure.offenders.title", n=len(lines)),
        says=say("figure.offenders.says", lines=says),
        height=24 * len(lines) + 60,
        note=say("figure.offenders.note"),
    )
    return section(say("offenders.picture.title"), picture)


def _ranking(view: OffendersView, seen: Scene) -> html.Section:
    columns = [
        Column(say("column.machine")),
        Column(say("column.returns"), number=True),
        Column(say("column.share"), number=True),
        Column(say("column.interval80"), number=True),
        Column(say("column.worst"), number=True),
        Column(say("column.since"), number=True),
        Column(say("column.last_return"), number=True),
        Column(say("column.what_where_speed")),
    ]
    rows = [
        [
            [html.Span(count(line.rank), className="rank"), machine(line.tag, seen.place)],
            say("key.of", count=count(line.returns), n=count(line.looks)),
            percent(line.share),
            interval(line.low, line.high),
            judged(line.worst_ratio),
            day(line.first),
            day(line.last),
            two_lines(
                line.description,
                " · ".join((line.area, seen.display.text(line.speed_rpm, Quantity.SPEED))).lstrip(" ·"),
            ),
        ]
        for line in view.lines
    ]
    parts: list[Child] = [table(say("offenders.ranking.caption"), columns, rows)]
    if view.came_back > len(view.lines):
        parts.append(note(say("offenders.more", shown=count(len(view.lines)), n=count(view.came_back))))
        if seen.place.get("list") != "all":
            parts.append(html.P(dcc.Link(say("offenders.show_all"), href=seen.place.here(list="all"))))
    return section(say("offenders.ranking.title"), *parts, about=say("about.offenders"))
