"""Asset: the history of one machine, for the engineer who looks into it and the person who goes to align it.

Decides from it what was left last time, which way the machine moves between
visits, and what was measured, by whom and with what.  Without a tag the page
is the list of machines.
"""

from __future__ import annotations

import dash
from dash import Input, Output, dcc, html
from dash.exceptions import PreventUpdate

from dashboard.components.chart import chart
from dashboard.components.jobs_grid import jobs_grid, jobs_on_paper
from dashboard.components.links import machine
from dashboard.components.pieces import (
    Child,
    blank,
    choices,
    empty_book,
    heading,
    limits,
    note,
    problems,
    section,
    sentence,
    waiting,
)
from dashboard.components.record_changes import amend_links, amended_part, record_link
from dashboard.components.tables import Column, table
from dashboard.context import context
from dashboard.fetch import Scene, scene
from dashboard.figures.runs import panel_figure, ratio_figure
from dashboard.ids import Shell
from dashboard.place import Place, shortened, tag_of
from dashboard.views import finder_view
from dashboard.views.asset_view import AssetView, Panel, build, missing
from dashboard.views.limits_view import limits_note
from dashboard.views.run_series import RunSeries
from dashboard.words import say
from dashboard.writing import DASH, count, counted, day, judged
from models.units import Quantity

PATH = "/asset"
NAME = "page.asset"
ORDER = 3


class Ids:
    """Ids of this page."""

    BODY = "asset-body"
    JOBS = "asset-jobs"


def layout() -> html.Div:
    """Give the skeleton; the numbers come with the callback."""
    return html.Div(waiting(), id=Ids.BODY, className="page")


def show(pathname: str | None, search: str | None, scheme: str | None) -> Child:
    """Fill the page for an address: one machine, or the list of machines."""
    if not (pathname == PATH or (pathname or "").startswith(f"{PATH}/")) or scheme is None:
        raise PreventUpdate
    seen = scene(pathname, search)
    if seen.site is None:
        return empty_book()
    tag = tag_of(pathname)
    if not tag:
        return list_body(finder_view.build(seen.history, seen.place.get("q")), seen)
    story = context().book.story(seen.site.site_id, tag)
    view = build(story, seen.display) if story else missing(shortened(tag), seen.display)
    return body(view, seen, scheme)


def register(app: dash.Dash) -> None:
    """Attach the callback."""
    app.callback(
        Output(Ids.BODY, "children"),
        Input(Shell.URL, "pathname"),
        Input(Shell.URL, "search"),
        Input(Shell.SCHEME, "data"),
    )(show)


def body(view: AssetView, seen: Scene, scheme: str) -> list[Child]:
    """Put the page of one machine together."""
    place = seen.place
    if view.state == "empty":
        back = dcc.Link(say("asset.to_list"), href=place.to(PATH))
        return [heading(view.title), problems(seen.problems), blank(say("asset.unknown.title"), view.sentence, back)]
    parts: list[Child] = [
        heading(view.title, record_link(view.tag, place)),
        problems(seen.problems),
        sentence(view.sentence),
        _facts(view),
        _versions(view),
    ]
    if view.state == "too_few":
        return [*parts, blank(say("asset.no_jobs.title"), say("asset.no_jobs.text"))]
    return [
        *parts,
        _ratio(view, scheme),
        _panels(
            say("asset.components.title"),
            view.component_note,
            view.components,
            view,
            scheme,
            about=say("about.components"),
        ),
        _panels(say("asset.flex.title"), say("asset.flex.note"), view.flex, view, scheme, about=say("about.flex"))
        if view.flex
        else None,
        _panels(say("asset.feet.title"), view.feet_note, view.feet, view, scheme, about=say("about.feet")),
        _panels(
            say("asset.soft.title"),
            say("asset.soft.note") if view.soft_foot else say("asset.soft.none"),
            view.soft_foot,
            view,
            scheme,
            about=say("about.soft"),
        ),
        _jobs(view, place),
        amended_part(view.lines, view.display, view.zone),
        limits(limits_note(seen.limit_set)),
    ]


def _facts(view: AssetView) -> html.Dl:
    pairs = [html.Div([html.Dt(name), html.Dd(value)]) for name, value in view.facts]
    return html.Dl(pairs, className="facts")


def _versions(view: AssetView) -> Child:
    if len(view.versions) < 2:
        return None
    unit = view.display.unit(Quantity.DISTANCE)
    columns = [
        Column(say("column.from")),
        Column(say("fact.coupling")),
        Column(say("fact.speed"), number=True),
        Column(say("column.feet", unit=unit), number=True),
        Column(say("column.by")),
    ]
    rows = [[one.since, one.coupling, one.speed, one.feet, one.author] for one in view.versions]
    return html.Details(
        [html.Summary(say("asset.versions", n=len(rows))), table(say("asset.versions.caption"), columns, rows)]
    )


def _ratio(view: AssetView, scheme: str) -> html.Section:
    if view.ratio is None:
        return section(say("asset.ratio.title"), note(say("asset.ratio.none")))
    picture = chart(
        ratio_figure(view.ratio, view.who, view.marks, scheme),
        title=say("figure.ratio.title"),
        says=say("figure.ratio.says", text=view.sentence),
        height=320,
        note=say("figure.ratio.note"),
    )
    marks: Child = None
    if view.marks:
        marks = html.Ul(
            [
                html.Li(say("asset.break.line", day=day(one.at.date()), name=one.name, reason=one.reason or DASH))
                for one in view.marks
            ]
        )
    return section(say("asset.ratio.title"), picture, marks, note(view.limit_note), about=say("about.ratio"))


def _panels(
    title: str, text: str, panels: tuple[Panel, ...], view: AssetView, scheme: str, *, about: str
) -> html.Section:
    charts = [
        chart(
            panel_figure(panel, view.who, view.marks, scheme),
            title=say("figure.panel.title", title=panel.title, unit=panel.unit),
            says=_says(panel),
            height=190,
            small=True,
        )
        for panel in panels
    ]
    parts: list[Child] = [note(text)]
    if charts:
        parts.append(html.Div(charts, className="smalls"))
    return section(title, *parts, about=about)


def _says(panel: Panel) -> str:
    return say("figure.panel.says", title=panel.title, readings=_readings(panel.series, panel.decimals, panel.unit))


def _readings(series: RunSeries, decimals: int, unit: str) -> str:
    pieces = [
        say(
            "figure.panel.reading",
            day=str(when)[:10],
            found=f"{found:.{decimals}f}",
            left=f"{left:.{decimals}f}",
            unit=unit,
        )
        for when, found, left in zip(series.times, series.found, series.left, strict=True)
    ]
    return "; ".join(pieces[-4:]).replace("nan", DASH)


def _jobs(view: AssetView, place: Place) -> html.Section:
    typed = place.get("typed") == "1"
    switch = choices(
        say("asset.jobs.switch"),
        [
            (say("asset.jobs.shown", unit=view.display.unit(Quantity.OFFSET)), place.here(typed=None), not typed),
            (say("asset.jobs.typed"), place.here(typed=1), typed),
        ],
    )
    return section(
        say("asset.jobs.title", n=counted(len(view.who), "job")),
        switch,
        jobs_grid(Ids.JOBS, view, typed=typed),
        jobs_on_paper(view),
        note(say("asset.jobs.note")),
        amend_links(view.lines, view.zone, place),
        about=say("about.typed"),
    )


def list_body(view: finder_view.FinderView, seen: Scene) -> list[Child]:
    """Put the list of machines together."""
    if not view.machines:
        return [
            heading(say("list.title")),
            blank(say("book.no_jobs.title"), say("book.no_jobs.text"), html.Code(say("book.empty.command"))),
        ]
    asked = shortened(view.asked)
    text = (
        say("list.asked", n=counted(view.found, "machine"), of=count(view.machines), asked=asked)
        if asked
        else say("list.all", n=counted(view.machines, "machine"))
    )
    parts: list[Child] = [
        heading(say("list.title")),
        problems(seen.problems),
        sentence(text),
        _search(seen.place, asked),
    ]
    if not view.lines:
        return [*parts, blank(say("list.none.title"), say("list.none.text"))]
    columns = [
        Column(say("column.machine")),
        Column(say("column.what")),
        Column(say("column.area")),
        Column(say("column.train")),
        Column(say("column.speed", unit=seen.display.unit(Quantity.SPEED)), number=True),
        Column(say("column.jobs"), number=True),
        Column(say("column.last"), number=True),
        Column(say("column.last_left"), number=True),
    ]
    rows = [
        [
            machine(line.tag, seen.place),
            f"{line.description} ({say('list.retired')})" if line.retired else line.description,
            line.area,
            line.train,
            seen.display.text(line.speed_rpm, Quantity.SPEED, with_unit=False),
            count(line.jobs),
            day(line.last),
            judged(line.left_ratio),
        ]
        for line in view.lines
    ]
    parts.append(table(say("list.caption"), columns, rows))
    if view.found > len(view.lines):
        parts.append(note(say("list.more", shown=count(len(view.lines)), n=count(view.found))))
    return parts


def _search(place: Place, asked: str) -> Child:
    return html.P(dcc.Link(say("list.clear"), href=place.here(q=None))) if asked else note(say("list.hint"))
