"""The counts of the Month page: the jobs behind a number, by speed class, month by month."""

from __future__ import annotations

from typing import Any, Final

from dashboard.components import elements as html
from dashboard.components.chart import chart
from dashboard.components.links import machine
from dashboard.components.month_top import asked_link
from dashboard.components.pieces import Child, note, section, two_lines
from dashboard.components.tables import Column, table
from dashboard.components.take import take
from dashboard.figures.control_chart import control_figure
from dashboard.figures.shares import class_figure
from dashboard.ids import MonthIds as Ids
from dashboard.place import Place
from dashboard.views.month_chart_view import chart_about, chart_words
from dashboard.views.month_jobs_view import FOUND, JOBS, LEFT, JobsBehind
from dashboard.views.month_limits_view import one_set_words
from dashboard.views.month_view import ALL_SPEEDS, ClassLine, MonthView
from dashboard.views.shares import Share
from dashboard.words import say
from dashboard.writing import DASH, count, counted, day, interval, judged, month_short, percent
from dashboard.writing import month as month_name

WHOLE: Final[dict[str, Any]] = {"jobs": None, "class": None, "before": None}
"""Choices that speak of the jobs behind a number, and not of the month as a whole."""


def _of(share: Share) -> str:
    return say("key.of", count=count(share.count), n=count(share.n)) if share.known else DASH


def _cell(place: Place, line: ClassLine, stage: str, *, before: bool = False) -> Child:
    share: Share = getattr(line, f"{stage}_before" if before else stage)
    if not share.known:
        return DASH
    return asked_link(place, _of(share), stage, None if line.index == ALL_SPEEDS else line.index, before=before)


def _jobs(place: Place, line: ClassLine) -> Child:
    if not line.jobs:
        return count(0)
    return asked_link(place, count(line.jobs), JOBS, None if line.index == ALL_SPEEDS else line.index)


def behind_part(behind: JobsBehind, place: Place) -> html.Div:
    """Put the jobs behind the number that was opened."""
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
    parts: list[Child] = [table(said, columns, rows), take("month-jobs", place)] if rows else [note(said)]
    if behind.n > len(rows):
        parts.append(note(say("month.behind.more", n=count(behind.n - len(rows)))))
    parts.append(html.Link(say("month.behind.close"), href=place.here(**{"jobs": None, "class": None, "before": None})))
    return html.Div(section(say("month.behind.title", what=behind.title), *parts), id=Ids.BEHIND, className="behind")


def by_class(view: MonthView, place: Place, scheme: str) -> html.Section:
    """Put what was found and left over limit by speed class, beside the twelve months before."""
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
            _jobs(place, line),
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
        take("month-classes", place, **WHOLE),
        html.Div(pictures, className="columns"),
        note(say("figure.classes.note")),
        *([note(one_set_words(view.one_set))] if view.one_set else []),
        about=f"{say('about.wilson')} {say('about.class')}",
    )


def _class_picture(view: MonthView, stage: str, scheme: str) -> html.Figure:
    said = "; ".join(f"{line.name}: {_of(getattr(line, stage))}" for line in view.classes if getattr(line, stage).known)
    return chart(
        class_figure(view.classes, stage, scheme),
        title=say(f"figure.classes.{stage}", month=month_name(view.month)),
        says=say(f"figure.classes.{stage}_says", classes=said or say("figure.classes.none")),
        height=34 * len(view.classes) + 30,
    )


def months_part(view: MonthView, place: Place, scheme: str) -> html.Section:
    """Put the share found over limit month by month, as a control chart with its counts."""
    series = view.series

    def opened(row: int, kind: str, over: int, n: int) -> Child:
        text = say("key.of", count=count(over), n=count(n))
        return asked_link(place, text, kind, month=str(series.months[row])) if n else text

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
    taken = take("month-chart", place, **WHOLE)
    return section(say("month.months.title"), html.P(words), picture, taken, about=chart_about(series))
