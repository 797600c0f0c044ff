"""The list of machines."""

from __future__ import annotations

from dashboard.components import elements as html
from dashboard.components.links import machine
from dashboard.components.pieces import Child, blank, note, sentence
from dashboard.components.seen import Seen
from dashboard.components.tables import Column, table
from dashboard.components.take import take
from dashboard.place import Place, shortened
from dashboard.views.finder_view import FinderView
from dashboard.words import say
from dashboard.writing import count, counted, day, judged
from models.units import Quantity


def machines(view: FinderView, seen: Seen) -> list[Child]:
    """Put the list of machines together."""
    asked = shortened(view.asked)
    text = (
        say("list.asked", n=counted(view.found, "machine"), of=count(view.machines), asked=asked)
        if asked
        else say("list.all", n=counted(view.machines, "machine"))
    )
    parts: list[Child] = [
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
    parts += [table(say("list.caption"), columns, rows), take("machines", seen.place)]
    if view.found > len(view.lines):
        parts.append(note(say("list.more", shown=count(len(view.lines)), n=count(view.found))))
    return parts


def _search(place: Place, asked: str) -> Child:
    return html.P(html.Link(say("list.clear"), href=place.here(q=None))) if asked else note(say("list.hint"))
