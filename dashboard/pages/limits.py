"""Limits: the reliability engineer who asks whether they are the right ones, and the auditor who asks whose they are.

Decides from it whether to adopt other limits: what the sets in the book say,
and how many verdicts of the last years would change under another one.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import dash
from dash import Input, Output, dcc, html
from dash.exceptions import PreventUpdate

from dashboard.asked import MIL, YEARS, Factors, read_factors, read_number, read_years
from dashboard.components.asking import ask_form, ask_text
from dashboard.components.chart import chart
from dashboard.components.pieces import (
    Child,
    blank,
    choices,
    empty_book,
    heading,
    note,
    problems,
    section,
    sentence,
    waiting,
)
from dashboard.components.tables import Column, table
from dashboard.context import context
from dashboard.fetch import Scene, scene
from dashboard.figures.limits import curve_figure, turn_figure
from dashboard.ids import Shell
from dashboard.kept import keep
from dashboard.place import shortened
from dashboard.views.limits_desk_view import (
    CURVE_RPM,
    LimitsDeskView,
    SetLine,
    Trial,
    TurnLine,
    build,
    curve_of,
    in_force_of,
    trial_set,
)
from dashboard.words import say
from dashboard.writing import DASH, count, day, interval, percent
from models.units import Quantity
from models.values.entry import AdoptedLimits
from models.values.limits import LimitSet

PATH = "/limits"
NAME = "page.limits"
ORDER = 8

CURVE = tuple(600.0 * 10.0 ** (step / 60.0) for step in range(61))
"""Speeds of the curve, evenly spaced in ratio, from 600 to 6000 rpm. [rpm]"""


class Ids:
    """Ids of this page."""

    BODY = "limits-body"


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
    sets = context().book.limit_sets(seen.site.site_id)
    factors, years = read_factors(seen.place), read_years(seen.place)
    held = in_force_of(sets, seen.today)
    chosen, problem = _chosen(sets, seen)
    trial = chosen
    if held is not None and factors.value.given:
        trial = trial_set(held, factors.value, seen.display, seen.today)
    view = build(seen.history, sets, seen.today, seen.display, trial=trial, years=years.value)
    said = (*seen.problems, problem, factors.problem, years.problem)
    return body(view, seen, scheme, said, sets=sets, trial=trial, factors=factors.value, years=years.value)


def _chosen(sets: Sequence[AdoptedLimits], seen: Scene) -> tuple[LimitSet | None, str]:
    asked = seen.place.get("set")
    if not asked:
        return None, ""
    number = read_number(asked)
    found = next((one.limit_set for one in sets if one.entry == number), None)
    return found, "" if found else say("problem.set", asked=shortened(asked))


def register(app: dash.Dash) -> None:
    """Attach the callback."""
    app.callback(
        Output(Ids.BODY, "children"),
        Input(Shell.URL, "pathname"),
        Input(Shell.URL, "search"),
        Input(Shell.SCHEME, "data"),
    )(show)


def body(
    view: LimitsDeskView,
    seen: Scene,
    scheme: str,
    said: Sequence[str],
    *,
    sets: Sequence[AdoptedLimits],
    trial: LimitSet | None,
    factors: Factors,
    years: int | None,
) -> list[Child]:
    """Put the page together."""
    head = [heading(say("limits.title")), problems(said)]
    held = in_force_of(sets, seen.today)
    if view.in_force is None or held is None:
        return [*head, blank(say("limits.no_set.title"), say("limits.no_set.text"))]
    return [
        *head,
        sentence(view.sentence),
        note(say("limits.starter"), strong=True) if view.in_force.starter else None,
        html.Div([_rows(view.in_force), _curves(held, trial, seen, scheme)], className="columns"),
        _what_if(view, seen, scheme, factors=factors, years=years),
        _sets(view, seen),
    ]


def _rows(line: SetLine) -> html.Section:
    title = say("limits.rows.title", name=line.name, version=line.version)
    return section(title, _row_table(line), about=say("about.rows"))


def _row_table(line: SetLine) -> html.Div:
    columns = [
        Column(say("rows.column.judged")),
        Column(say("rows.column.limit")),
        Column(say("rows.column.coupling")),
        Column(say("rows.column.speed")),
        Column(say("rows.column.combine")),
    ]
    rows = [[row.judged, row.limit, row.coupling, row.speed, row.combine] for row in line.rows]
    return html.Div(table(say("rows.caption", name=line.name, version=line.version), columns, rows), className="rows")


def _curves(held: LimitSet, trial: LimitSet | None, seen: Scene, scheme: str) -> html.Section:
    display = seen.display
    curve, listed = (curve_of(held, trial, display, speeds) for speeds in (CURVE, CURVE_RPM))
    charts = []
    for judged, now, then, quantity in (
        (say("judged.offset"), curve.offset, curve.trial_offset, Quantity.OFFSET),
        (say("judged.angularity"), curve.angle, curve.trial_angle, Quantity.ANGULARITY),
    ):
        values = listed.offset if quantity is Quantity.OFFSET else listed.angle
        unit, places = display.unit(quantity), display.decimals(quantity)
        told = [
            say("limits.curve.value", limit=f"{value:.{places}f} {unit}", speed=f"{speed:.0f}")
            for speed, value in zip(CURVE_RPM, values.tolist(), strict=True)
            if math.isfinite(value)
        ]
        charts.append(
            chart(
                _curve(curve.speeds, now, then, seen, scheme, quantity=quantity, of=(held, trial)),
                title=say("limits.curve.title", judged=judged, unit=unit),
                says=say("limits.curve.says", judged=judged, name=held.name, values="; ".join(told) or DASH),
                height=220,
                small=True,
            )
        )
    columns = [
        Column(say("limits.curve.speed"), number=True),
        Column(say("limits.curve.offset_now", unit=display.unit(Quantity.OFFSET)), number=True),
        Column(say("limits.curve.angle_now", unit=display.unit(Quantity.ANGULARITY)), number=True),
    ]
    parts = [listed.offset, listed.angle]
    digits = [display.decimals(Quantity.OFFSET), display.decimals(Quantity.ANGULARITY)]
    if listed.trial_offset is not None and listed.trial_angle is not None:
        columns += [
            Column(say("limits.curve.offset_then", unit=display.unit(Quantity.OFFSET)), number=True),
            Column(say("limits.curve.angle_then", unit=display.unit(Quantity.ANGULARITY)), number=True),
        ]
        parts += [listed.trial_offset, listed.trial_angle]
        digits *= 2
    rows = [
        [f"{speed:.0f}", *(f"{part[i]:.{n}f}".replace("nan", DASH) for part, n in zip(parts, digits, strict=True))]
        for i, speed in enumerate(CURVE_RPM)
    ]
    return section(
        say("limits.curves.title"),
        note(say("limits.curve.note") if trial else say("limits.curve.note.one")),
        html.Div(charts, className="smalls"),
        html.Details(
            [html.Summary(say("chart.as_table")), table(say("limits.curve.table"), columns, rows)],
            className="chart-table",
        ),
    )


def _curve(
    speeds: Any,
    now: Any,
    then: Any,
    seen: Scene,
    scheme: str,
    *,
    quantity: Quantity,
    of: tuple[LimitSet, LimitSet | None],
) -> Any:
    display, (held, trial) = seen.display, of
    unit, places = display.unit(quantity), display.decimals(quantity)
    key = ("curve", quantity, unit, scheme, held.rows, trial.rows if trial else None)
    return keep(seen.history, key, lambda: curve_figure(speeds, now, then, unit, places, scheme))


# -- what if --------------------------------------------------------------------------------------------------------


def _what_if(view: LimitsDeskView, seen: Scene, scheme: str, *, factors: Factors, years: int | None) -> html.Section:
    place, display = seen.place, seen.display
    typed = {"offset": place.get("offset"), "angle": place.get("angle")}
    unit = display.length
    if factors.unit != unit and factors.offset_mm_rpm is not None:
        # The address speaks in another unit than the page: the field shows the same factor in the page's own.
        typed["offset"] = f"{display.show(factors.offset_mm_rpm, Quantity.OFFSET):.5g}"
    clear = None
    if view.trial:
        to = place.here(offset=None, angle=None, set=None, **{"in": None})
        clear = dcc.Link(say("whatif.clear"), href=to, className="step")
    form = ask_form(
        place,
        ask_text(
            "offset",
            say("whatif.offset", unit=display.unit(Quantity.OFFSET)),
            typed["offset"],
            page="limits",
            hint=say("whatif.offset.hint", now=view.offset_now),
            most=12,
        ),
        ask_text(
            "angle",
            say("whatif.angle", unit=display.unit(Quantity.ANGULARITY)),
            typed["angle"],
            page="limits",
            hint=say("whatif.offset.hint", now=view.angle_now),
            most=12,
        ),
        button=say("whatif.send"),
        label=say("whatif.form"),
        drops=("set",),
        clear=clear,
        along={"in": MIL if unit == MIL else ""},
    )
    options = []
    for line in view.sets:
        asked = place.get("set") == str(line.entry) and not factors.given
        to = place.here(set=line.entry, offset=None, angle=None, **{"in": None})
        options.append((say("whatif.set", name=line.name, version=line.version), to, asked))
    offset, angle = view.third
    tries: list[Child] = [choices(say("whatif.sets"), options)]
    if offset and angle:
        to = place.here(set=None, offset=offset, angle=angle, **{"in": MIL if unit == MIL else None})
        given = (typed["offset"], typed["angle"]) == (offset, angle)
        tries.append(choices(say("whatif.example"), [(say("whatif.example.third"), to, given)]))
    spans = [
        (say("whatif.years.one") if n == 1 else say("whatif.years.n", n=n), place.here(years=n), years == n)
        for n in YEARS
    ]
    spans.append((say("whatif.years.all"), place.here(years="all"), years is None))
    tries.append(choices(say("whatif.years"), spans))
    parts: list[Child] = [note(say("whatif.intro")), form, html.Div(tries, className="filters")]
    if view.trial:
        parts += _result(view.trial, seen, scheme, kept=factors.given)
    return section(say("whatif.title"), *parts, about=say("about.whatif"))


def _result(trial: Trial, seen: Scene, scheme: str, *, kept: bool) -> list[Child]:
    parts: list[Child] = [
        html.H3(say("whatif.result.title", name=trial.name)),
        html.P(trial.sentence, className="sentence", role="status"),
        note(say("whatif.trial.kept")) if kept else None,
    ]
    if trial.lost:
        parts.append(note(say("whatif.lost", n=count(trial.lost)), strong=True))
    if trial.gained:
        parts.append(note(say("whatif.gained", n=count(trial.gained))))
    stages = (
        ("found", trial.found, say("whatif.picture.found"), say("whatif.caption.found", window=trial.window)),
        ("left", trial.left, say("whatif.picture.left"), say("whatif.caption.left", window=trial.window)),
    )
    known = [stage for stage in stages if stage[1][-1].judged]
    if known:
        parts.append(note(say("whatif.picture.note")))
        parts.append(
            html.Div(
                [_picture(title, stage, lines, seen, scheme) for stage, lines, title, _ in known], className="columns"
            )
        )
        parts += [_turns(caption, lines) for _, lines, _, caption in known]
    return parts


def _picture(title: str, stage: str, lines: tuple[TurnLine, ...], seen: Scene, scheme: str) -> html.Figure:
    told = "; ".join(
        say(
            "whatif.picture.class",
            name=line.name,
            before=percent(line.before.share),
            after=percent(line.after.share),
            n=count(line.judged),
        )
        for line in lines
        if line.judged
    )
    return chart(
        keep(seen.history, ("turns", stage, lines, scheme), lambda: turn_figure(lines, stage, scheme)),
        title=title,
        says=say("whatif.picture.says", classes=told),
        height=34 * len(lines) + 50,
    )


def _turns(caption: str, lines: tuple[TurnLine, ...]) -> html.Div:
    columns = [
        Column(say("column.class")),
        Column(say("whatif.column.n"), number=True),
        Column(say("whatif.column.changed"), number=True),
        Column(say("whatif.column.to_over"), number=True),
        Column(say("whatif.column.to_within"), number=True),
        Column(say("whatif.column.before"), number=True),
        Column(say("whatif.column.after"), number=True),
        Column(say("whatif.column.interval"), number=True),
    ]
    rows = [
        [
            line.name,
            count(line.judged),
            count(line.changed),
            count(line.to_over),
            count(line.to_within),
            count(line.before.count),
            count(line.after.count),
            f"{percent(line.after.share)}, {interval(line.after.low, line.after.high)}",
        ]
        for line in lines
    ]
    return table(caption, columns, rows, marked=[False] * (len(lines) - 1) + [True])


# -- sets -----------------------------------------------------------------------------------------------------------


def _sets(view: LimitsDeskView, seen: Scene) -> html.Section:
    place = seen.place
    columns = [
        Column(say("limits.column.set")),
        Column(say("limits.column.version"), number=True),
        Column(say("limits.column.from"), number=True),
        Column(say("limits.column.until")),
        Column(say("limits.column.by")),
        Column(say("limits.column.source")),
        Column(say("limits.column.entry")),
    ]
    rows = [
        [
            f"{line.name} ({say('limits.starter_mark')})" if line.starter and line.name != say("limits.starter_mark") else line.name,
            str(line.version),
            day(line.on),
            _until(line),
            line.by,
            line.source,
            dcc.Link(
                say("limits.entry", entry=count(line.entry), day=day(line.recorded)),
                href=place.to(f"/book/{line.entry}"),
            ),
        ]
        for line in view.sets
    ]  # fmt: skip
    more = [
        html.Details(
            [html.Summary(say("limits.rows.more", name=line.name, version=line.version)), _row_table(line)],
        )
        for line in view.sets
        if line.state != "in force"
    ]
    marked = [line.state == "in force" for line in view.sets]
    return section(
        say("limits.sets.title"),
        html.Div(table(say("limits.sets.caption"), columns, rows, marked=marked), className="wordy-6"),
        *more,
    )


def _until(line: SetLine) -> str:
    if line.state == "in force":
        return say("limits.until.today")
    return say("limits.until.not_yet") if line.state == "to come" else day(line.until)
