"""Month: the maintenance manager, once a month, ten minutes.

Decides from it whether things get better or worse, which machines were left
over limit, and what has to be put on the plan.
"""

from __future__ import annotations

from datetime import date

import dash
import dash_mantine_components as dmc
from dash import Input, Output, State, dcc, html
from dash.exceptions import PreventUpdate

from dashboard.browser import attach
from dashboard.components.aria import aria, data
from dashboard.components.chart import chart
from dashboard.components.links import machine
from dashboard.components.pieces import (
    Child,
    blank,
    empty_book,
    heading,
    key_number,
    key_numbers,
    key_share,
    limits,
    note,
    problems,
    section,
    sentence,
    two_lines,
    waiting,
)
from dashboard.components.tables import Column, table
from dashboard.context import context
from dashboard.fetch import Scene, scene
from dashboard.figures.shares import class_figure, month_figure, month_text
from dashboard.ids import Shell
from dashboard.place import Place, read_month
from dashboard.views.month_view import MonthView, Visit, build
from dashboard.views.shares import Change, Share
from dashboard.words import say
from dashboard.writing import DASH, count, counted, day, interval, judged, month_short, percent
from dashboard.writing import month as month_name

PATH = "/"
NAME = "page.month"
ORDER = 1


class Ids:
    """Ids of this page."""

    BODY = "month-body"
    PICK = "month-pick"


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
    month = read_month(seen.place)
    view = build(
        seen.history,
        seen.runs,
        month.value,
        seen.today,
        site=seen.site,
        instruments=context().book.instruments(seen.site.site_id),
        limit_set=seen.limit_set,
        today_us=seen.now_us,
    )
    return body(view, seen, scheme, (*seen.problems, month.problem))


def register(app: dash.Dash) -> None:
    """Attach the callbacks."""
    app.callback(
        Output(Ids.BODY, "children"),
        Input(Shell.URL, "pathname"),
        Input(Shell.URL, "search"),
        Input(Shell.SCHEME, "data"),
    )(show)
    attach(app, "choose_month", Input(Ids.PICK, "value"), State(Shell.URL, "search"))


def body(view: MonthView, seen: Scene, scheme: str, said: tuple[str, ...]) -> list[Child]:
    """Put the page together."""
    place = seen.place
    head = [heading(month_name(view.month), _picker(view, place)), problems(said)]
    if view.state == "empty":
        return [*head, blank(say("book.no_jobs.title"), say("book.no_jobs.text"), html.Code(say("book.empty.command")))]
    return [
        *head,
        sentence(view.sentence),
        _keys(view),
        _by_class(view, scheme),
        _months(view, scheme),
        html.Div([_left_over(view, place), _returned(view, place)], className="columns"),
        _due(view, place),
        _calibrations(view),
        limits(view.limits),
    ]


def _picker(view: MonthView, place: Place) -> html.Div:
    months = view.months
    here = months.index(view.month)
    older = months[here + 1] if here + 1 < len(months) else None
    newer = months[here - 1] if here > 0 else None
    groups: dict[str, list[dict[str, str]]] = {}
    for one in months:
        groups.setdefault(str(one.year), []).append({"value": f"{one:%Y-%m}", "label": month_name(one)})

    def step(to: date | None, text: str, label: str) -> Child:
        if to is None:
            return html.Span(text, className="step off", **aria(hidden="true"))
        return dcc.Link(
            text, href=place.here(month=f"{to:%Y-%m}"), className="step", title=f"{label}: {month_name(to)}"
        )

    return html.Div(
        [
            step(older, say("month.earlier"), say("month.earlier_label")),
            dmc.Select(
                id=Ids.PICK,
                data=[{"group": year, "items": items} for year, items in groups.items()],
                value=f"{view.month:%Y-%m}",
                allowDeselect=False,
                searchable=True,
                withScrollArea=False,
                size="sm",
                w=180,
                comboboxProps={"withinPortal": False, "zIndex": 200},
                **aria(label=say("month.pick")),
            ),
            step(newer, say("month.later"), say("month.later_label")),
        ],
        className="picker",
        **data(month=f"{view.month:%Y-%m}"),
    )


def _before(share: Share, change: Change) -> str:
    if not share.known:
        return say("month.key.no_before")
    return say(
        "month.key.before",
        count=count(share.count),
        n=count(share.n),
        share=percent(share.share),
        change=say(f"change.{change.value}"),
    )


def _keys(view: MonthView) -> html.Dl:
    due = view.due
    return key_numbers(
        key_number(
            say("month.key.jobs"),
            count(view.jobs),
            say("month.key.on", machines=counted(view.machines, "machine")),
            say("month.key.jobs_before", mean=f"{view.jobs_before / 12:.1f}"),
        ),
        key_share(say("month.key.found"), view.found, _before(view.found_before, view.found_change)),
        key_share(say("month.key.left"), view.left, _before(view.left_before, view.left_change)),
        key_number(
            say("month.key.returned"),
            count(len(view.returned)),
            say("month.key.returned_below"),
            say("month.key.returned_window", month=month_name(view.month)),
        ),
        key_number(
            say("month.key.due"),
            count(due.overdue),
            say("month.key.due_below", n=counted(due.in_service, "machine"), day=day(view.today)),
            say("month.key.due_soon", n=count(due.soon), days=due.soon_days),
        ),
    )


def _of(share: Share) -> str:
    return say("key.of", count=count(share.count), n=count(share.n)) if share.known else DASH


def _by_class(view: MonthView, scheme: str) -> html.Section:
    columns = [
        Column(say("column.class")),
        Column(say("column.jobs"), number=True),
        Column(say("column.found_over"), number=True),
        Column(say("column.share"), number=True),
        Column(say("column.interval"), number=True),
        Column(say("column.before"), number=True),
        Column(say("column.before_share"), number=True),
        Column(say("column.left_over"), number=True),
        Column(say("column.left_interval"), number=True),
        Column(say("column.left_before"), number=True),
    ]
    rows = [
        [
            line.name,
            count(line.jobs),
            _of(line.found),
            percent(line.found.share),
            interval(line.found.low, line.found.high) if line.found.known else DASH,
            _of(line.found_before),
            percent(line.found_before.share),
            _of(line.left),
            interval(line.left.low, line.left.high) if line.left.known else DASH,
            _of(line.left_before),
        ]
        for line in (*view.classes, view.total)
    ]
    pictures = [_class_picture(view, stage, scheme) for stage in ("found", "left")]
    return section(
        say("month.classes.title"),
        table(
            say("month.classes.caption", month=month_name(view.month)),
            columns,
            rows,
            marked=[False] * len(view.classes) + [True],
        ),
        html.Div(pictures, className="columns"),
        note(say("figure.classes.note")),
        about=say("about.wilson"),
    )


def _class_picture(view: MonthView, stage: str, scheme: str) -> html.Figure:
    said = "; ".join(f"{line.name}: {_of(getattr(line, stage))}" for line in view.classes if getattr(line, stage).known)
    return chart(
        class_figure(view.classes, stage, scheme),
        title=say(f"figure.classes.{stage}", month=month_name(view.month)),
        says=say(f"figure.classes.{stage}_says", classes=said or say("figure.classes.none")),
        height=34 * len(view.classes) + 30,
    )


def _months(view: MonthView, scheme: str) -> html.Section:
    series = view.series
    rows = [
        [
            month_short(one.astype("datetime64[D]").astype(object)),
            count(int(series.jobs[i])),
            say("key.of", count=count(int(series.found_count[i])), n=count(int(series.found_n[i]))),
            percent(float(series.found_share[i])),
            interval(float(series.found_low[i]), float(series.found_high[i])) if series.found_n[i] else DASH,
            say("key.of", count=count(int(series.left_count[i])), n=count(int(series.left_n[i]))),
        ]
        for i, one in reversed(list(enumerate(series.months)))
    ]
    columns = [
        Column(say("column.month")),
        Column(say("column.jobs"), number=True),
        Column(say("column.found_over"), number=True),
        Column(say("column.share"), number=True),
        Column(say("column.interval"), number=True),
        Column(say("column.left_over"), number=True),
    ]
    picture = chart(
        month_figure(series, scheme),
        title=say("figure.months.title"),
        says=month_text(series),
        height=260,
        note=say("figure.months.note"),
        table=table(say("figure.months.caption"), columns, rows),
    )
    return section(say("month.months.title"), picture, about=say("about.months"))


def _visits(caption: str, visits: tuple[Visit, ...], place: Place, *, returned: bool) -> html.Div:
    columns = [Column(say("column.machine")), Column(say("column.day"), number=True)]
    if returned:
        columns += [Column(say("column.was_left"), number=True), Column(say("column.days"), number=True)]
    columns += [Column(say("column.found_ratio"), number=True), Column(say("column.left_ratio"), number=True)]
    if not returned:
        columns.append(Column(say("column.person")))
    columns.append(Column(say("column.what_where")))
    rows = []
    for visit in visits:
        row: list[Child] = [machine(visit.tag, place), day(visit.day)]
        if returned:
            row += [judged(visit.was_left), f"{visit.days:.0f}"]
        row += [judged(visit.found_ratio), judged(visit.left_ratio)]
        if not returned:
            row.append(visit.person or DASH)
        rows.append([*row, two_lines(visit.description, visit.area)])
    return table(caption, columns, rows)


def _left_over(view: MonthView, place: Place) -> html.Section:
    inside: Child = (
        _visits(say("month.left_over.caption"), view.left_over, place, returned=False)
        if view.left_over
        else note(say("month.left_over.none"))
    )
    return section(
        say("month.left_over.title", month=month_name(view.month), n=count(len(view.left_over))),
        inside,
        about=say("about.ratio"),
    )


def _returned(view: MonthView, place: Place) -> html.Section:
    inside: Child = (
        _visits(say("month.returned.caption"), view.returned, place, returned=True)
        if view.returned
        else note(say("month.returned.none"))
    )
    return section(
        say("month.returned.title", month=month_name(view.month), n=count(len(view.returned))),
        inside,
        about=say("about.return"),
    )


def _due(view: MonthView, place: Place) -> html.Section:
    due = view.due
    columns = [
        Column(say("column.machine")),
        Column(say("column.late"), number=True),
        Column(say("column.due"), number=True),
        Column(say("column.why")),
        Column(say("column.last"), number=True),
        Column(say("column.last_left"), number=True),
        Column(say("column.what_where")),
    ]
    rows = [
        [
            machine(line.tag, place),
            _late(line.days_left),
            day(line.due),
            line.why,
            day(line.last),
            judged(line.left_ratio),
            two_lines(line.description, line.area),
        ]
        for line in due.lines
    ]
    parts: list[Child] = [
        note(
            say(
                "due.text",
                overdue=counted(due.overdue, "machine"),
                soon=count(due.soon),
                days=due.soon_days,
                n=count(due.in_service),
                day=day(view.today),
            )
        )
    ]
    if due.never:
        parts.append(note(say("due.never", n=counted(due.never, "machine"))))
    if rows:
        parts.append(table(say("due.caption"), columns, rows))
    hidden = due.overdue + due.soon - len(due.lines)
    if hidden > 0:
        parts.append(note(say("due.more", n=count(hidden))))
    return section(say("due.title"), *parts, about=say("about.due", months=due.interval_months))


def _late(days_left: int) -> str:
    if days_left == 0:
        return say("due.today")
    if days_left < 0:
        return say("due.late", n=counted(-days_left, "day"))
    return say("due.in", n=counted(days_left, "day"))


def _calibrations(view: MonthView) -> html.Section:
    if not view.calibrations:
        return section(say("calibration.title"), note(say("calibration.none")))
    columns = [
        Column(say("column.instrument")),
        Column(say("column.what")),
        Column(say("column.due"), number=True),
        Column(say("column.late"), number=True),
    ]
    rows = [[one.serial, one.description, day(one.due), _late(one.days_left)] for one in view.calibrations]
    return section(say("calibration.title"), table(say("calibration.caption"), columns, rows))
