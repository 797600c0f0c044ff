"""The lists of the Month page: what came back, what was left over limit, what is due, which calibrations end."""

from __future__ import annotations

from dashboard.components import elements as html
from dashboard.components.links import machine
from dashboard.components.pieces import Child, note, section, two_lines
from dashboard.components.tables import Column, table
from dashboard.components.take import take
from dashboard.ids import MonthIds as Ids
from dashboard.place import Place
from dashboard.views.month_view import ByRisk, MonthView, Visit
from dashboard.words import say
from dashboard.writing import DASH, chance, count, counted, day, judged, late, percent
from dashboard.writing import month as month_name

LISTED = 20
"""Longest list of visits on the page."""


def left_over_part(view: MonthView, place: Place, reviewers: dict[int, str], signers: dict[int, str]) -> html.Div:
    """Put the jobs that were left over limit, and who looked at them and signed; those that nobody signed come first."""
    listed = sorted(view.left_over[:LISTED], key=lambda visit: visit.entry in signers)
    unsigned = sum(visit.entry not in signers for visit in listed)
    title = say("month.left_over.title", month=month_name(view.month), n=counted(view.left_over_n, "job"))
    columns = [
        Column(say("column.machine")),
        Column(say("column.day"), number=True),
        Column(say("column.found_ratio"), number=True),
        Column(say("column.left_ratio"), number=True),
        Column(say("column.person")),
        Column(say("month.column.reviewer")),
        Column(say("month.left_over.signed")),
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
            signers.get(visit.entry) or html.Strong(say("month.left_over.nobody")),
            two_lines(visit.description, visit.area),
        ]
        for visit in listed
    ]
    inside: list[Child] = (
        [
            note(say("month.left_over.unsigned", n=count(unsigned))),
            table(say("month.left_over.caption"), columns, rows),
            take("month-left-over", place),
        ]
        if rows
        else [note(say("month.left_over.none"))]
    )
    inside += _unlisted(view.left_over_n)
    return html.Div(section(title, *inside, about=say("about.ratio")), id=Ids.LEFT_OVER)


def _unlisted(n: int) -> list[Child]:
    return [note(say("due.more", n=count(n - LISTED)))] if n > LISTED else []


def returned_part(view: MonthView, place: Place) -> html.Div:
    """Put the machines that came back, the worst first, with what their history suggests."""
    title = say("month.returned.title", month=month_name(view.month), n=counted(view.returned_n, "machine"))
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
        [table(say("month.returned.caption"), columns, rows), take("month-returned", place)]
        if rows
        else [note(say("month.returned.none"))]
    )
    inside += _unlisted(view.returned_n)
    return html.Div(section(title, *inside, about=say("month.about.returned")), id=Ids.RETURNED)


def _suggests(visit: Visit) -> Child:
    if not visit.suggests:
        return say("month.suggests.nothing")
    return [
        two_lines(say("month.suggests", cause=one.cause), say("month.settles", what=one.settles))
        for one in visit.suggests
    ]


def due_part(view: MonthView, place: Place) -> html.Div:
    """Put what is to be checked, by the calendar and by the forecast."""
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
            late(line.days_left),
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
        by_rule += [table(say("due.caption"), columns, rows), take("due", place, by="rule", month=None)]
    by_rule += _unlisted(due.overdue + due.soon)
    by_rule.append(html.P(html.Link(say("month.due.all_rule"), href=place.to("/due", by="rule"))))
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
        parts += [
            table(say("month.due.risk_caption", n=counted(len(rows), "machine")), columns, rows),
            take("due", place, month=None),
        ]
    parts.append(html.P(html.Link(say("month.due.all_risk"), href=place.to("/due"))))
    return html.Div(parts, className="part")


def calibrations_part(view: MonthView, place: Place) -> html.Section:
    """Put the instruments whose calibration has run out or soon will."""
    if not view.calibrations:
        return section(say("calibration.title"), note(say("calibration.none")))
    columns = [
        Column(say("column.instrument")),
        Column(say("column.what")),
        Column(say("column.due"), number=True),
        Column(say("column.late"), number=True),
    ]
    rows = [[one.serial, one.description, day(one.due), late(one.days_left)] for one in view.calibrations]
    listed = table(say("calibration.caption"), columns, rows)
    return section(say("calibration.title"), listed, take("instruments", place, month=None))
