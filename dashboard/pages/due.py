"""Due: the engineer and the planner, each week.

Decides from it which machines to look at now, which to put on the plan, and
what a smaller or larger accepted risk would cost in visits.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import dash

from dashboard.components import elements as html
from dashboard.components.aria import aria
from dashboard.components.links import left_at, machine
from dashboard.components.papers import due_papers
from dashboard.components.pieces import (
    Child,
    choices,
    limits,
    note,
    section,
    sentence,
    two_lines,
)
from dashboard.components.tables import Column, table
from dashboard.components.take import take
from dashboard.fetch import Scene, recheck_for
from dashboard.opening import attach_fill, begin, no_jobs, skeleton
from dashboard.place import Place, asset_path, read_month
from dashboard.views.calendar_view import Calendar, Day
from dashboard.views.chance_bands import Band
from dashboard.views.due_page_view import RISK, RISKS, RULE, DueView, build, promised, read_risk, read_way
from dashboard.views.plan_view import QUARTER_DAYS, SOON_DAYS, PlanLine
from dashboard.views.read_off_view import off_mark
from dashboard.words import say
from dashboard.writing import DASH, chance, count, counted, day, interval, judged, late, percent
from dashboard.writing import month as month_name

PATH = "/due"
NAME = "due.page"
ORDER = 4

WEEKDAYS = (
    ("due.weekday.1", "due.weekday.short.1"),
    ("due.weekday.2", "due.weekday.short.2"),
    ("due.weekday.3", "due.weekday.short.3"),
    ("due.weekday.4", "due.weekday.short.4"),
    ("due.weekday.5", "due.weekday.short.5"),
    ("due.weekday.6", "due.weekday.short.6"),
    ("due.weekday.7", "due.weekday.short.7"),
)


class Ids:
    """Ids of this page."""

    BODY = "due-body"


def layout() -> html.Div:
    """Give the skeleton; the numbers come with the callback."""
    return skeleton(Ids.BODY)


def fill(seen: Scene, _scheme: str) -> Child:
    """Fill the page."""
    risk, way, month = read_risk(seen.place), read_way(seen.place), read_month(seen.place)
    history = seen.history
    view = build(
        history,
        seen.study,
        lambda accepted: recheck_for(history, accepted),
        way.value,
        risk.value,
        month.value,
        seen.today,
        site=seen.required,
        limit_set=seen.limit_set,
        today_us=seen.now_us,
        everything=seen.place.get("list") == "all",
    )
    wrong = say("due.problem.month") if month.problem else ""
    return body(view, seen, (risk.problem, way.problem, wrong))


def register(app: dash.Dash) -> None:
    """Attach the callback."""
    attach_fill(app, Ids.BODY, PATH, fill)


def body(view: DueView, seen: Scene, said: tuple[str, ...]) -> list[Child]:
    """Put the page together."""
    place = seen.place
    head = begin(say("due.page"), seen, said)
    if view.state == "empty":
        return [*head, no_jobs(seen)]
    return [
        *head,
        _choices(view, place),
        sentence(view.sentence),
        due_papers(place),
        html.Div([_loads(view, place), _trust(view, place)], className="columns"),
        _now(view, seen),
        _calendar(view.calendar, place),
        _soon(view, seen),
        _no_forecast(view, place),
        limits(view.limits),
    ]


def _choices(view: DueView, place: Place) -> html.Div:
    ways = [
        (say("due.by.risk"), place.here(by=None), view.by == RISK),
        (say("due.by.rule", months=counted(view.interval_months, "month")), place.here(by=RULE), view.by == RULE),
    ]
    parts: list[Child] = [choices(say("due.by"), ways)]
    if view.by == RISK:
        risks = [(percent(risk / 100.0), place.here(risk=risk), view.risk == risk) for risk in RISKS]
        parts.append(choices(say("due.risk"), risks))
    return html.Div(parts, className="filters")


def _loads(view: DueView, place: Place) -> html.Section:
    columns = [
        Column(say("due.column.way")),
        Column(say("due.column.now"), number=True),
        Column(say("due.column.soon", days=SOON_DAYS), number=True),
        Column(say("due.column.quarter", days=QUARTER_DAYS), number=True),
    ]
    rows: list[list[Child]] = []
    marked = []
    for load in (*view.loads, view.rule_load):
        here = (view.by == RISK and load.risk == view.risk) or (view.by == RULE and not load.risk)
        name = (
            say("due.load.risk", risk=percent(load.risk / 100.0))
            if load.risk
            else say("due.load.rule", months=counted(view.interval_months, "month"))
        )
        href = place.here(by=None, risk=load.risk) if load.risk else place.here(by=RULE)
        marked.append(here)
        known = view.forecasts or not load.risk
        counts = [count(n) if known else DASH for n in (load.now, load.soon, load.quarter)]
        rows.append([name if here else html.Link(name, href=href), *counts])
    return section(
        say("due.loads.title"),
        table(say("due.loads.caption", n=counted(view.in_service, "machine")), columns, rows, marked=marked),
        *_ruled(view),
        take("due-loads", place, month=None, list=None),
        about=say("due.about.risk", months=counted(view.interval_months, "month")),
    )


def _ruled(view: DueView) -> list[Child]:
    """Say how many of the machines under a risk have their date by the rule, where any has, or that all have."""
    ruled = view.ruled
    if not view.forecasts:
        return [note(say("due.loads.unknown"))]
    if not ruled.now and not ruled.quarter:
        return []
    values = {"now": count(ruled.now), "soon": count(ruled.soon), "quarter": count(ruled.quarter)}
    return [note(say("due.loads.ruled", soon_days=SOON_DAYS, quarter_days=QUARTER_DAYS, **values))]


def _trust(view: DueView, place: Place) -> html.Section:
    if not view.held:
        return section(say("due.trust.title"), note(say("due.trust.none")))
    fleet, levels = view.held[0], promised()
    level = levels.index(0.8)
    said = say(
        "due.trust.text",
        level=percent(levels[level]),
        share=percent(fleet.share[level]),
        interval=interval(fleet.low[level], fleet.high[level]),
        n=counted(fleet.n, "interval"),
        machines=counted(fleet.machines, "machine"),
    )
    columns = [Column(say("column.class")), Column(say("due.column.tested"), number=True)]
    columns += [Column(say("due.column.held", level=percent(one)), number=True) for one in levels]
    columns.append(Column(say("due.column.verdict")))
    rows = [
        [
            one.name,
            say("due.held.n", n=count(one.n), machines=counted(one.machines, "machine")),
            *(
                say("due.held.share", share=percent(share), interval=interval(low, high))
                for share, low, high in zip(one.share, one.low, one.high, strict=True)
            ),
            one.verdict,
        ]
        for one in view.held
    ]
    listed = [table(say("due.trust.caption"), columns, rows), take("forecast-held", place, month=None, list=None)]
    classes = html.Details([html.Summary(say("due.trust.classes")), *listed], className="about")
    return section(
        say("due.trust.title"),
        html.P(said),
        classes,
        *_chances(view.bands, view.risk / 100.0),
        about=say("due.about.trust"),
    )


def _chances(bands: Sequence[Band], risk: float) -> list[html.P | html.Details]:
    """Put what became of past chances: of those like the accepted risk in words, of all in a table."""
    if not bands:
        return []
    near = min(bands, key=lambda one: abs(one.claimed - risk))
    said = say(
        "due.trust.chances", band=interval(near.above, near.below), claimed=percent(near.claimed), share=percent(near.found),
        n=counted(near.n, "run"), interval=interval(near.low, near.high),
    )  # fmt: skip
    columns = [
        Column(say("due.column.chance_band")),
        Column(say("due.column.tested"), number=True),
        Column(say("due.column.chance_mean"), number=True),
        Column(say("due.column.chance_found"), number=True),
    ]
    rows = [
        [
            interval(one.above, one.below), counted(one.n, "run"), percent(one.claimed),
            say("due.held.share", share=percent(one.found), interval=interval(one.low, one.high)),
        ]
        for one in bands
    ]  # fmt: skip
    listed = table(say("due.trust.chances.caption"), columns, rows)
    return [html.P(said), html.Details([html.Summary(say("due.trust.chances.title")), listed], className="about")]


def _now(view: DueView, seen: Scene) -> html.Section:
    place = seen.place
    title = say("due.now.title", n=counted(view.now_n, "machine"))
    if not view.now:
        return section(title, note(say("due.now.none")))
    return section(title, _list(view, _now_caption(view), view.now, seen), *_more(view.now_n, len(view.now), place))


def _now_caption(view: DueView) -> str:
    if view.by != RISK:
        return say("due.now.caption.rule")
    return say("due.now.caption.risk.ruled") if view.ruled.now else say("due.now.caption.risk")


def _soon(view: DueView, seen: Scene) -> html.Section:
    place = seen.place
    title = say("due.soon.title", n=counted(view.soon_n, "machine"), days=QUARTER_DAYS)
    later = note(say("due.later", n=counted(view.later_n, "machine")))
    if not view.soon:
        return section(title, note(say("due.soon.none")), later)
    return section(
        title,
        _list(view, say("due.soon.caption"), view.soon, seen),
        *_more(view.soon_n, len(view.soon), place),
        later,
    )


def _more(n: int, shown: int, place: Place) -> list[Child]:
    if n <= shown:
        return []
    parts: list[Child] = [note(say("due.list.more", shown=count(shown), n=count(n)))]
    if place.get("list") != "all":
        parts.append(html.P(html.Link(say("due.list.all"), href=place.here(list="all"))))
    return parts


def _list(view: DueView, caption: str, lines: tuple[PlanLine, ...], seen: Scene) -> html.Div:
    place = seen.place
    columns = [
        Column(say("column.machine")),
        Column(say("column.due"), number=True),
        Column(say("column.late"), number=True),
        Column(say("due.column.over_now"), number=True),
        Column(say("column.why"), below=True),
        Column(
            say("due.column.by_rule")
            if view.by == RISK
            else say("due.column.by_risk", risk=percent(view.risk / 100.0)),
            number=True,
        ),
        Column(say("column.last"), number=True),
        Column(say("column.last_left"), number=True),
        Column(say("column.what_where"), below=True),
    ]
    rows = [
        [
            machine(line.tag, place),
            day(line.due),
            late(line.days_left),
            chance(line.over_now),
            line.why,
            day(line.other),
            day(line.last),
            left_at(judged(line.left_ratio), off_mark(seen.history, line.last_row, seen.display), place),
            two_lines(line.description, _where(line)),
        ]
        for line in lines
    ]
    return html.Div([table(caption, columns, rows), take("due", place, month=None, list=None)], className="due-list")


def _where(line: PlanLine) -> str:
    critical = say("due.criticality", grade=line.criticality) if line.criticality else ""
    return " · ".join(text for text in (line.area, critical) if text)


def _calendar(calendar: Calendar, place: Place) -> html.Section:
    title = month_name(calendar.month)

    def step(to: date, text: str, label: str) -> html.Link:
        return html.Link(
            text, href=place.here(month=f"{to:%Y-%m}"), className="step", title=f"{label}: {month_name(to)}"
        )

    steps = html.Div(
        [
            step(calendar.earlier, say("month.earlier"), say("month.earlier_label")),
            html.Strong(title),
            step(calendar.later, say("month.later"), say("month.later_label")),
        ],
        className="picker",
    )
    caption = say("due.calendar.caption", month=title, n=counted(calendar.n, "machine"))
    head = html.Thead(
        html.Tr([html.Th(html.Abbr(say(short), title=say(name)), scope="col") for name, short in WEEKDAYS])
    )
    weeks = html.Tbody([html.Tr([_day(one, place) for one in week]) for week in calendar.weeks])
    grid = html.Div(
        html.Table([html.Caption(caption), head, weeks]),
        className="calendar",
        role="region",
        tabIndex=0,
        **aria(label=caption),
    )
    return section(say("due.calendar.title"), steps, grid)


def _day(one: Day, place: Place) -> html.Td:
    if not one.inside:
        return html.Td("", className="outside")
    number = html.Span(
        [str(one.on.day), html.Span(say("due.today"), className="today-word") if one.today else ""],
        className="day-number",
        **(aria(current="date") if one.today else {}),
    )
    if not one.n:
        return html.Td(number, className="today" if one.today else "")
    tags: list[Child] = [html.Li(html.Link(tag, href=place.to(asset_path(tag)))) for tag in one.tags]
    if one.n > len(one.tags):
        tags.append(html.Li(say("due.calendar.more", n=count(one.n - len(one.tags)))))
    return html.Td(
        [number, html.Ul(tags), html.Span(count(one.n), className="day-count", title=counted(one.n, "machine"))],
        className="busy today" if one.today else "busy",
    )


def _no_forecast(view: DueView, place: Place) -> html.Section | None:
    total = sum(one.n for one in view.no_forecast)
    if not total:
        return None
    title = say("due.none.title", n=counted(total, "machine"))
    items = []
    for one in view.no_forecast:
        links: list[Child] = []
        for tag in one.tags:
            links += [machine(tag, place), " "]
        if one.n > len(one.tags):
            links.append(say("due.calendar.more", n=count(one.n - len(one.tags))))
        items.append(html.Li([html.Span(f"{counted(one.n, 'machine')}: {one.reason}. "), html.Span(links)]))
    return section(title, html.Ul(items, className="reasons"), take("no-forecast", place), note(say("due.none.rule")))
