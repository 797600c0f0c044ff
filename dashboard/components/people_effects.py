"""Parts of the People page: what instruments and people read against one another, and how well a reading is known."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dashboard.components import elements as html
from dashboard.components.chart import chart
from dashboard.components.pieces import Child, note, section, sentence
from dashboard.components.seen import Seen
from dashboard.components.tables import Column, table
from dashboard.components.take import take
from dashboard.figures.effects import effect_figure
from dashboard.kept import keep
from dashboard.views import effects_view
from dashboard.views.effects_view import QUANTITIES, EffectLine, EffectsView, RepeatView, component_name, number
from dashboard.words import say, spoken
from dashboard.writing import count


def effects_part(view: EffectsView, seen: Seen, scheme: str, *, people: bool) -> html.Section:
    """Put what each instrument or person reads against the others, and how sure that is."""
    title = say("people.effects.people_title") if people else say("people.effects.title")
    missing = effects_view.few(view.lines)
    if view.state != "ok":
        apart = any(line.apart for line in view.lines)
        return section(title, note(view.sentence), note(missing) if apart else None, about=say("about.effects"))
    lines = [line for line in view.lines if line.cells]
    display = seen.display
    charts = []
    for component, quantity in enumerate(QUANTITIES):
        unit = display.unit(quantity)
        told = "; ".join(
            say(
                "people.effects.line",
                name=line.name,
                value=number(line.cells[component].value, component, display),
                low=number(line.cells[component].low, component, display),
                high=number(line.cells[component].high, component, display),
            )
            for line in lines
        )
        charts.append(
            chart(
                _figure(lines, component, seen, scheme, people=people),
                title=say("people.effects.chart", component=component_name(component), unit=unit),
                says=say("people.effects.says", component=component_name(component), lines=told),
                height=24 * len(lines) + 48,
                small=True,
            )
        )
    caption = say("people.effects.people_caption") if people else say("people.effects.caption")
    return section(
        title,
        sentence(view.sentence),
        note(f"{say('people.effects.order')} {say('people.effects.note')}"),
        html.Div(charts, className="smalls effects"),
        note(missing) if missing else None,
        html.Details(
            [html.Summary(say("chart.as_table")), _effect_table(caption, view, seen), take("effects", seen.place)],
            className="chart-table",
        ),
        about=say("about.effects"),
    )


def _figure(lines: Sequence[EffectLine], component: int, seen: Seen, scheme: str, *, people: bool) -> Any:
    places, unit = seen.display.decimals(QUANTITIES[component]), seen.display.unit(QUANTITIES[component])
    key = ("effects", people, component, seen.display.length, scheme, spoken())
    return keep(seen.history, key, lambda: effect_figure(lines, component, places, unit, scheme))


def _effect_table(caption: str, view: EffectsView, seen: Seen) -> html.Div:
    display = seen.display
    columns = [
        Column(say("people.effects.column.name")),
        Column(say("people.effects.column.runs"), number=True),
        *(
            Column(
                say("people.effects.column.of", component=component_name(component), unit=display.unit(quantity)),
                number=True,
            )
            for component, quantity in enumerate(QUANTITIES)
        ),
    ]
    rows = []
    for line in view.lines:
        cells = [
            say(
                "people.effects.cell",
                value=number(cell.value, component, display),
                low=number(cell.low, component, display),
                high=number(cell.high, component, display),
            )
            for component, cell in enumerate(line.cells)
        ]
        none = say("people.effects.unjoined") if line.apart else say("people.effects.few")
        rows.append([line.name, count(line.runs), *(cells or [none] * len(QUANTITIES))])
    return table(caption, columns, rows)


def repeat_part(view: RepeatView, *more: Child) -> html.Section:
    """Put how well one reading is known."""
    columns = [
        Column(say("people.repeat.column.component")),
        Column(say("people.repeat.column.stated"), number=True),
        Column(say("people.repeat.column.measured"), number=True),
        Column(say("people.repeat.column.interval"), number=True),
        Column(say("people.repeat.column.from")),
    ]
    rows = [[line.component, line.stated, line.measured, line.interval, line.source] for line in view.lines]
    return section(
        say("people.repeat.title"),
        html.P(view.sentence),
        html.Div(table(say("people.repeat.caption"), columns, rows), className="wordy-5"),
        *more,
        about=say("about.repeat"),
    )
