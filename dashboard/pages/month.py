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
from dashboard.figures.control_chart import control_figure
from dashboard.figures.shares import class_figure
from dashboard.ids import Shell
from dashboard.place import Place, read_month
from dashboard.views.month_chart_view import chart_words
from dashboard.views.month_jobs_view import FOUND, JOBS, LEFT, JobsBehind, asking, read_asked
from dashboard.views.month_view import ALL_SPEEDS, ByRisk, ClassLine, MonthView, Visit, build
from dashboard.views.shares import Change, Share
from dashboard.words import say
from dashboard.writing import DASH, chance, count, counted, day, interval, judged, month_short, percent
from dashboard.writing import month as month_name

PATH = "/"
NAME = "page.month"
ORDER = 1

LISTED = 20
"""Longest list of visits on the page."""


class Ids:
    """Ids of this page."""

    BODY = "month-body"
    PICK = "month-pick"
    LEFT_OVER = "month-left-over"
    RETURNED = "month-returned"
    DUE = "month-due"


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
    month, asked = read_month(seen.place), read_asked(seen.place)
    book = context().book
    view = build(
        seen.history,
        seen.runs,
        month.value,
        seen.today,
        site=seen.site,
        instruments=book.instruments(seen.site.site_id),
        limit_set=seen.limit_set,
        today_us=seen.now_us,
        study=seen.study,
        asked=asked.value,
    )
    # The columns hold no reviewer: the few machines that were left over limit are read one by one.
    stories = (book.story(seen.site.site_id, tag) for tag in {visit.tag for visit in view.left_over[:LISTED]})
    reviewers = {line.entry: line.job.reviewer for story in stories if story for line in story.jobs}
    return body(view, seen, scheme, reviewers, (*seen.problems, month.problem, asked.problem))


def register(app: dash.Dash) -> None:
    """Attach the callbacks."""
    app.callback(
        Output(Ids.BODY, "children"),
        Input(Shell.URL, "pathname"),
        Input(Shell.URL, "search"),
        Input(Shell.SCHEME, "data"),
    )(show)
    attach(app, "choose_month", Input(Ids.PICK, "value"), State(Shell.URL, "search"))


def body(view: MonthView, seen: Scene, scheme: str, reviewers: dict[int, str], said: tuple[str, ...]) -> list[Child]:
    """Put the page together."""
    place = seen.place
    head = [heading(month_name(view.month), _picker(view, place)), problems(said)]
    if view.state == "empty":
        return [*head, blank(say("book.no_jobs.title"), say("book.no_jobs.text"), html.Code(say("book.empty.command")))]
    parts: list[Child] = [*head, sentence(view.sentence), _keys(view, place, reviewers)]
    if view.behind is not None:
        parts.append(_behind(view.behind, place))
    if view.jobs or view.jobs_before:
        parts.append(_by_class(view, place, scheme))
    if (view.series.found_n > 0).any():
        parts.append(_months(view, place, scheme))
    if view.jobs:
        parts += [_returned(view, place), _left_over(view, place, reviewers)]
    return [*parts, _due(view, place), _calibrations(view), limits(view.limits)]


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


def _asked(place: Place, text: Child, kind: str, index: int | None = None, *, before: bool = False) -> Child:
    """Make a number a link to the jobs behind it."""
    return dcc.Link(text, href=place.here(**asking(kind, index, before=before)))


def _jump(text: str, to: str) -> Child:
    """Make a number a link to the part of the page that lists what it counts."""
    return html.A(text, href=f"#{to}")


def _unreviewed(view: MonthView, reviewers: dict[int, str]) -> int:
    return sum(not reviewers.get(visit.entry) for visit in view.left_over[:LISTED])


def _keys(view: MonthView, place: Place, reviewers: dict[int, str]) -> html.Dl:
    due, risk = view.due, view.by_risk
    open_ones = _unreviewed(view, reviewers)
    left_before = _before(view.left_before, view.left_change)
    if open_ones:
        left_before = f"{say('month.key.unreviewed', n=count(open_ones))} {left_before}"
    return key_numbers(
        key_number(
            say("month.key.jobs"),
            _asked(place, count(view.jobs), JOBS) if view.jobs else count(view.jobs),
            say("month.key.on", machines=counted(view.machines, "machine")),
            say("month.key.jobs_before", mean=f"{view.jobs_before / 12:.1f}"),
        ),
        key_share(
            say("month.key.found"),
            view.found,
            _before(view.found_before, view.found_change),
            place.here(**asking(FOUND)),
        ),
        key_number(
            say("month.key.returned"),
            _jump(count(len(view.returned)), Ids.RETURNED) if view.jobs else count(0),
            say("month.key.returned_below"),
            say("month.key.returned_window", month=month_name(view.month)),
        ),
        key_share(say("month.key.left"), view.left, left_before, place.here(**asking(LEFT))),
        key_number(
            say("month.key.due"),
            _jump(count(due.overdue), Ids.DUE),
            say("month.key.due_below", n=counted(due.in_service, "machine"), day=day(view.today)),
            say("month.key.due_soon", n=count(due.soon), days=due.soon_days)
            if risk is None
            else say(
                "month.key.due_both",
                n=count(due.soon),
                days=due.soon_days,
                risky=count(risk.now),
                risk=percent(risk.risk),
            ),
        ),
    )


def _of(share: Share) -> str:
    return say("key.of", count=count(share.count), n=count(share.n)) if share.known else DASH


def _cell(place: Place, line: ClassLine, stage: str, *, before: bool = False) -> Child:
    share: Share = getattr(line, f"{stage}_before" if before else stage)
    if not share.known:
        return DASH
    return _asked(place, _of(share), stage, None if line.index == ALL_SPEEDS else line.index, before=before)


def _behind(behind: JobsBehind, place: Place) -> html.Div:
    columns = [
        Column(say("column.machine")),
        Column(say("column.day"), number=True),
        Column(say("column.found_ratio"), number=True),
        Column(say("column.left_ratio"), number=True),
        Column(say("month.column.reason")),
        Column(say("column.person")),
        Column(say("column.instrument")),
        Column(say("month.column.entry"), number=True),
        Column(say("column.what_where")),
    ]
    rows = [
        [
            machine(line.tag, place),
            day(line.day),
            judged(line.found_ratio),
            judged(line.left_ratio),
            say(f"reason.{line.reason}") if line.reason else DASH,
            line.person or DASH,
            line.instrument or DASH,
            count(line.entry),
            two_lines(line.description, line.area),
        ]
        for line in behind.lines
    ]
    said = (
        counted(behind.n, "job")
        if behind.asked.kind == JOBS
        else say("month.behind.of", over=count(behind.over), n=counted(behind.n, "job"))
    )
    parts: list[Child] = [table(said, columns, rows) if rows else note(said)]
    if behind.n > len(rows):
        parts.append(note(say("month.behind.more", n=count(behind.n - len(rows)))))
    parts.append(dcc.Link(say("month.behind.close"), href=place.here(**{"jobs": None, "class": None, "before": None})))
    return html.Div(section(say("month.behind.title", what=behind.title), *parts), className="behind")


def _by_class(view: MonthView, place: Place, scheme: str) -> html.Section:
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
            _cell(place, line, FOUND),
            percent(line.found.share),
            interval(line.found.low, line.found.high) if line.found.known else DASH,
            _cell(place, line, FOUND, before=True),
            percent(line.found_before.share),
            _cell(place, line, LEFT),
            interval(line.left.low, line.left.high) if line.left.known else DASH,
            _cell(place, line, LEFT, before=True),
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


def _months(view: MonthView, place: Place, scheme: str) -> html.Section:
    series = view.series

    def opened(row: int, kind: str, over: int, n: int) -> Child:
        text = say("key.of", count=count(over), n=count(n))
        choices = {**asking(kind), "month": str(series.months[row])}
        return dcc.Link(text, href=place.here(**choices)) if n else text

    rows = [
        [
            month_short(series.day(i)),
            count(int(series.jobs[i])),
            opened(i, FOUND, int(series.found_count[i]), int(series.found_n[i])),
            percent(float(series.found_share[i])),
            interval(float(series.found_low[i]), float(series.found_high[i])) if series.found_n[i] else DASH,
            interval(float(series.lower[i]), float(series.upper[i])),
            opened(i, LEFT, int(series.left_count[i]), int(series.left_n[i])),
        ]
        for i in reversed(range(len(series.months)))
    ]
    columns = [
        Column(say("column.month")),
        Column(say("column.jobs"), number=True),
        Column(say("column.found_over"), number=True),
        Column(say("column.share"), number=True),
        Column(say("column.interval"), number=True),
        Column(say("month.column.control"), number=True),
        Column(say("column.left_over"), number=True),
    ]
    words = chart_words(series)
    picture = chart(
        control_figure(series, scheme),
        title=say("figure.months.title"),
        says=words,
        height=270,
        note=say("month.chart.note"),
        table=table(say("figure.months.caption"), columns, rows),
    )
    about = say("month.chart.about", factor=f"{series.sigma_z:.2f}")
    return section(say("month.months.title"), html.P(words), picture, about=about)


def _left_over(view: MonthView, place: Place, reviewers: dict[int, str]) -> html.Div:
    title = say("month.left_over.title", month=month_name(view.month), n=count(len(view.left_over)))
    columns = [
        Column(say("column.machine")),
        Column(say("column.day"), number=True),
        Column(say("column.found_ratio"), number=True),
        Column(say("column.left_ratio"), number=True),
        Column(say("column.person")),
        Column(say("month.column.reviewer")),
        Column(say("column.what_where")),
    ]
    rows = [
        [
            machine(visit.tag, place),
            day(visit.day),
            judged(visit.found_ratio),
            judged(visit.left_ratio),
            visit.person or DASH,
            reviewers.get(visit.entry) or html.Strong(say("month.left_over.nobody")),
            two_lines(visit.description, visit.area),
        ]
        for visit in view.left_over[:LISTED]
    ]
    inside: list[Child] = (
        [table(say("month.left_over.caption"), columns, rows)] if rows else [note(say("month.left_over.none"))]
    )
    inside += _unlisted(len(view.left_over))
    return html.Div(section(title, *inside, about=say("about.ratio")), id=Ids.LEFT_OVER)


def _unlisted(n: int) -> list[Child]:
    return [note(say("due.more", n=count(n - LISTED)))] if n > LISTED else []


def _returned(view: MonthView, place: Place) -> html.Div:
    title = say("month.returned.title", month=month_name(view.month), n=count(len(view.returned)))
    columns = [
        Column(say("column.machine")),
        Column(say("column.day"), number=True),
        Column(say("column.found_ratio"), number=True),
        Column(say("column.was_left"), number=True),
        Column(say("column.days"), number=True),
        Column(say("column.left_ratio"), number=True),
        Column(say("month.column.suggests")),
        Column(say("column.what_where")),
    ]
    rows = [
        [
            machine(visit.tag, place),
            day(visit.day),
            judged(visit.found_ratio),
            judged(visit.was_left),
            f"{visit.days:.0f}",
            judged(visit.left_ratio),
            _suggests(visit),
            two_lines(visit.description, visit.area),
        ]
        for visit in view.returned[:LISTED]
    ]
    inside: list[Child] = (
        [table(say("month.returned.caption"), columns, rows)] if rows else [note(say("month.returned.none"))]
    )
    inside += _unlisted(len(view.returned))
    return html.Div(section(title, *inside, about=say("month.about.returned")), id=Ids.RETURNED)


def _suggests(visit: Visit) -> Child:
    if not visit.suggests:
        return say("month.suggests.nothing")
    return [
        two_lines(say("month.suggests", cause=one.cause), say("month.settles", what=one.settles))
        for one in visit.suggests
    ]


def _due(view: MonthView, place: Place) -> html.Div:
    due = view.due
    columns = [
        Column(say("column.machine")),
        Column(say("column.due"), number=True),
        Column(say("column.late"), number=True),
        Column(say("column.why")),
        Column(say("column.last_left"), number=True),
        Column(say("column.what_where")),
    ]
    rows = [
        [
            machine(line.tag, place),
            day(line.due),
            _late(line.days_left),
            line.why,
            judged(line.left_ratio),
            two_lines(line.description, line.area),
        ]
        for line in due.lines[:LISTED]
    ]
    text = say(
        "due.text",
        overdue=counted(due.overdue, "machine"),
        soon=count(due.soon),
        days=due.soon_days,
        n=count(due.in_service),
        day=day(view.today),
    )
    by_rule: list[Child] = [html.H3(say("month.due.rule", months=due.interval_months)), note(text)]
    if due.never:
        by_rule.append(note(say("due.never", n=counted(due.never, "machine"))))
    if rows:
        by_rule.append(table(say("due.caption"), columns, rows))
    by_rule += _unlisted(due.overdue + due.soon)
    by_rule.append(html.P(dcc.Link(say("month.due.all_rule"), href=place.to("/due", by="rule"))))
    parts: list[Child] = [html.Div(by_rule, className="part")]
    if view.by_risk is not None:
        parts.append(_by_risk(view, view.by_risk, place))
    about = say("about.due", months=due.interval_months)
    return html.Div(
        section(say("due.title"), html.Div(parts, className="columns"), about=f"{about} {say('month.about.risk')}"),
        id=Ids.DUE,
    )


def _by_risk(view: MonthView, risk: ByRisk, place: Place) -> html.Div:
    columns = [
        Column(say("column.machine")),
        Column(say("due.column.over_now"), number=True),
        Column(say("column.due"), number=True),
        Column(say("column.last_left"), number=True),
        Column(say("column.what_where")),
    ]
    rows = [
        [
            machine(line.tag, place),
            chance(line.over_now),
            day(line.due),
            judged(line.left_ratio),
            two_lines(line.description, line.area),
        ]
        for line in risk.lines
    ]
    text = say(
        "month.due.risk_text",
        now=counted(risk.now, "machine"),
        n=count(view.due.in_service),
        risk=percent(risk.risk),
        soon=count(risk.soon),
        days=view.due.soon_days,
    )
    parts: list[Child] = [html.H3(say("month.due.risk")), note(text)]
    if rows:
        parts.append(table(say("month.due.risk_caption", n=len(rows)), columns, rows))
    parts.append(html.P(dcc.Link(say("month.due.all_risk"), href=place.to("/due"))))
    return html.Div(parts, className="part")


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
