"""The lists of the Month page: what came back, what was left over limit, what is due, which calibrations end."""

from __future__ import annotations

from dashboard.components import elements as html
from dashboard.components.links import machine
from dashboard.components.pieces import Child, note, section, two_lines
from dashboard.components.tables import Column, table
from dashboard.components.take import take
from dashboard.ids import MonthIds as Ids
from dashboard.place import Place
from dashboard.views.asked_by_risk import risk_sentence
from dashboard.views.month_view import ByRisk, MonthView, Visit, returned_words, unsigned_words
from dashboard.words import say
from dashboard.writing import DASH, chance, count, counted, day, judged, late
from dashboard.writing import month as month_name

LISTED = 20
"""Longest list on the page at first."""

LISTED_ALL = 200
"""Longest list on demand; the tables that the page hands out have no end."""


def listed_in(place: Place) -> int:
    """Give how long the lists may be, e.g. with ``list=all``."""
    return LISTED_ALL if place.get("list") == "all" else LISTED


def left_over_part(view: MonthView, place: Place) -> html.Div:
    """Put the jobs that were left over limit, and who looked at them and signed; those that nobody signed come first."""
    reviewers, signers = view.looked.reviewers, view.looked.signers
    title = say("month.left_over.title", month=month_name(view.month), n=counted(view.left_over_n, "job"))
    columns = [
        Column(say("column.machine")),
        Column(say("column.day"), number=True),
        Column(say("column.found_ratio"), number=True),
        Column(say("column.left_ratio"), number=True),
        Column(say("column.person")),
        Column(say("month.column.reviewer")),
        Column(say("month.left_over.signed")),
        Column(say("column.what_where"), below=True),
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
        for visit in view.left_over[: listed_in(place)]
    ]
    inside: list[Child] = (
        [
            note(unsigned_words(view)),
            table(say("month.left_over.caption"), columns, rows),
            take("month-left-over", place, list=None),
        ]
        if rows
        else [note(say("month.left_over.none"))]
    )
    inside += _unlisted(view.left_over_n, len(rows), place)
    return html.Div(section(title, *inside, about=say("about.ratio")), id=Ids.LEFT_OVER)


def _unlisted(n: int, shown: int, place: Place) -> list[Child]:
    if n <= shown:
        return []
    parts: list[Child] = [note(say("due.more", n=count(n - shown)))]
    if place.get("list") != "all":
        parts.append(html.P(html.Link(say("due.list.all"), href=place.here(list="all"))))
    return parts


def returned_part(view: MonthView, place: Place) -> html.Div:
    """Put the visits on which a machine had come back, the worst first, with what its history suggests."""
    title = say("month.returned.title", month=month_name(view.month), n=returned_words(view))
    columns = [
        Column(say("column.machine")),
        Column(say("column.day"), number=True),
        Column(say("column.found_ratio"), number=True),
        Column(say("column.was_left"), number=True),
        Column(say("column.days"), number=True),
        Column(say("column.left_ratio"), number=True),
        Column(say("month.column.suggests"), below=True),
        Column(say("column.what_where"), below=True),
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
        for visit in view.returned[: listed_in(place)]
    ]
    inside: list[Child] = (
        [table(say("month.returned.caption"), columns, rows), take("month-returned", place, list=None)]
        if rows
        else [note(say("month.returned.none"))]
    )
    if view.moved_limits:
        inside.append(note(say("month.returned.moved", n=count(view.moved_limits))))
    inside += _unlisted(view.returned_n, len(rows), place)
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
        Column(say("column.why"), below=True),
        Column(say("column.last_left"), number=True),
        Column(say("column.what_where"), below=True),
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
        for line in due.lines[: listed_in(place)]
    ]
    text = say(
        "due.text",
        now=counted(due.now, "machine"),
        soon=count(due.soon),
        days=due.soon_days,
        n=count(due.in_service),
        day=day(view.today),
    )
    by_rule: list[Child] = [html.H3(say("month.due.rule", months=counted(due.interval_months, "month"))), note(text)]
    if due.never:
        by_rule.append(note(say("due.never", n=counted(due.never, "machine"))))
    if rows:
        by_rule += [table(say("due.caption"), columns, rows), take("due", place, by="rule", month=None, list=None)]
    by_rule += _unlisted(due.now + due.soon, len(rows), place)
    by_rule.append(html.P(html.Link(say("month.due.all_rule"), href=place.to("/due", by="rule"))))
    parts: list[Child] = [html.Div(by_rule, className="part")]
    if view.by_risk is not None:
        parts.append(_by_risk(view.by_risk, place))
    about = say("about.due", months=counted(due.interval_months, "month"))
    return html.Div(
        section(say("due.title"), html.Div(parts, className="columns"), about=f"{about} {say('month.about.risk')}"),
        id=Ids.DUE,
    )


def _by_risk(risk: ByRisk, place: Place) -> html.Div:
    columns = [
        Column(say("column.machine")),
        Column(say("due.column.over_now"), number=True),
        Column(say("column.due"), number=True),
        Column(say("column.last_left"), number=True),
        Column(say("column.what_where"), below=True),
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
    text = risk_sentence(risk.asked, risk.risk)
    parts: list[Child] = [html.H3(say("month.due.risk")), note(text)]
    if rows:
        parts += [
            table(say("month.due.risk_caption", n=counted(len(rows), "machine")), columns, rows),
            take("due", place, month=None, list=None),
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
    return section(say("calibration.title"), listed, take("instruments", place, month=None, list=None))
