"""The part of the People page on what each person left over limit."""

from __future__ import annotations

import math

from dashboard.components import elements as html
from dashboard.components.pieces import Child, note, section, sentence
from dashboard.components.tables import Column, table
from dashboard.components.take import take
from dashboard.place import Place
from dashboard.views.left_over_view import LeftLine, LeftOverView, few, number
from dashboard.views.shares import Share
from dashboard.words import say
from dashboard.writing import count, interval, percent


def left_part(view: LeftOverView, place: Place) -> html.Section:
    """Put what each person left over limit beside what was to be expected, with the caution before the table."""
    title = say("people.left.title")
    if view.state != "ok":
        return section(title, note(view.sentence), about=say("about.left"))
    missing = few(view.lines)
    columns = [
        Column(say("people.column.person")),
        Column(say("people.left.column.share"), number=True),
        Column(say("people.left.column.expected"), number=True),
        Column(say("people.left.column.said")),
    ]
    lines = [line for line in view.lines if math.isfinite(line.expected)]
    rows: list[list[Child]] = [[line.name, _share(line.share), number(line.expected), _said(line)] for line in lines]
    return section(
        title,
        sentence(view.sentence),
        note(f"{say('people.left.note')} {say('people.effects.order')}"),
        table(say("people.left.caption"), columns, rows, marked=[line.more for line in lines]),
        note(missing) if missing else None,
        take("people-left", place),
        about=say("about.left"),
    )


def _share(share: Share) -> str:
    between = interval(share.low, share.high)
    return say(
        "people.left.share", over=count(share.count), n=count(share.n), share=percent(share.share), between=between
    )


def _said(line: LeftLine) -> Child:
    return html.Strong(say("people.left.differs")) if line.more else say("people.left.chance")
