"""Limits: the reliability engineer who asks whether they are the right ones, and the auditor who asks whose they are.

Decides from it whether to adopt other limits: what the sets in the book say,
and how many verdicts of the last years would change under another one.
"""

from __future__ import annotations

from collections.abc import Sequence

import dash

from dashboard.asked import Factors, read_factors, read_number, read_years
from dashboard.components import elements as html
from dashboard.components.limits_curves import curves_part
from dashboard.components.limits_whatif import what_if_part
from dashboard.components.pieces import (
    Child,
    blank,
    note,
    section,
    sentence,
)
from dashboard.components.tables import Column, table
from dashboard.components.take import take
from dashboard.context import context
from dashboard.fetch import Scene
from dashboard.opening import attach_fill, begin, site_way, skeleton
from dashboard.place import shortened
from dashboard.views.limits_desk_view import (
    LimitsDeskView,
    SetLine,
    build,
    in_force_of,
    trial_set,
)
from dashboard.words import say
from dashboard.writing import count, day
from models.values.entry import AdoptedLimits
from models.values.limits import LimitSet

PATH = "/limits"
NAME = "page.limits"
ORDER = 8


class Ids:
    """Ids of this page."""

    BODY = "limits-body"


def layout() -> html.Div:
    """Give the skeleton; the numbers come with the callback."""
    return skeleton(Ids.BODY)


def fill(seen: Scene, scheme: str) -> Child:
    """Fill the page."""
    sets = context().book.limit_sets(seen.required.site_id)
    factors, years = read_factors(seen.place), read_years(seen.place)
    held = in_force_of(sets, seen.today)
    chosen, problem = _chosen(sets, seen)
    trial = chosen
    if held is not None and factors.value.given:
        trial = trial_set(held, factors.value, seen.display, seen.today)
    view = build(seen.history, sets, seen.today, seen.display, trial=trial, years=years.value)
    said = (problem, factors.problem, years.problem)
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
    attach_fill(app, Ids.BODY, PATH, fill)


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
    head = begin(say("limits.title"), seen, said)
    held = in_force_of(sets, seen.today)
    if view.in_force is None or held is None:
        return [*head, blank(say("limits.no_set.title"), say("limits.no_set.text"))]
    return [
        *head,
        sentence(view.sentence),
        note(say("limits.starter"), strong=True) if view.in_force.starter else None,
        html.Div([_rows(view.in_force), curves_part(held, trial, seen, scheme)], className="columns"),
        what_if_part(view, seen, scheme, factors=factors, years=years, guarded=seen.required.guarded is not None),
        _sets(view, seen),
        site_way(seen),
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
            html.Link(
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
        take("limit-sets", place),
        html.P([say("limits.adopt"), " ", html.Code(say("limits.adopt.command"))], className="soft"),
        html.P(say("limits.adopt.earlier"), className="soft"),
        *more,
    )


def _until(line: SetLine) -> str:
    if line.state == "in force":
        return say("limits.until.today")
    return say("limits.until.not_yet") if line.state == "to come" else day(line.until)
