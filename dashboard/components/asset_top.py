"""The top of a machine's page: by which limits it is judged, the last visit, the history in one picture, what it is."""

from __future__ import annotations

from dashboard.components import elements as html
from dashboard.components.chart import chart
from dashboard.components.pieces import Child, choices, note, section
from dashboard.components.tables import Column, table
from dashboard.figures.runs import ratio_figure
from dashboard.place import Place
from dashboard.views.asset_choices import THEN, Judging
from dashboard.views.asset_last_view import LastVisit
from dashboard.views.asset_view import AssetView
from dashboard.words import say
from dashboard.writing import DASH, day, decisions_told, judged, judged_by
from models.units import Quantity


def judging_switch(judging: Judging, place: Place, said: str) -> html.Div:
    """Put the choice of the limits, and plainly below it whether the verdicts are the book's."""
    options = [
        (text, place.here(limits=None if code == THEN else code), code == judging.code)
        for code, text in judging.options
    ]
    parts: list[Child] = [choices(say("asset.limits.switch"), options)]
    if said:
        parts.append(html.P(said, className="note strong", role="status"))
    return html.Div(parts, className="judging stay")


def last_visit(last: LastVisit, limits: str) -> html.Section:
    """Put the numbers of the last visit: what the one who goes to the machine asks first."""
    columns = [
        Column(say("asset.last.component")),
        Column(say("grid.found"), number=True),
        Column(say("grid.left"), number=True),
        Column(say("grid.target"), number=True),
        Column(say("asset.last.limit"), number=True),
    ]
    rows = [[row.name, row.found, row.left, row.target, row.limit] for row in last.rows]
    line, decisions = last.line, last.line.decisions
    both = judged_by(line.found_ratio, decisions.found), judged_by(line.left_ratio, decisions.left)
    rows.append([say("asset.last.ratio"), *both, "", "1"])
    parts: list[Child] = [
        html.Div(table(say("asset.last.caption", when=last.when), columns, rows), className="last-visit"),
        *(html.P(text) for text in decisions_told(decisions)),
        note(limits),
        *(html.P(text) for text in last.soft),
    ]
    return section(say("asset.last.title"), *parts, about=say("about.components"))


def ratio_part(view: AssetView, scheme: str, *, as_booked: bool) -> html.Section:
    """Put the limit ratio of all visits over time; ``as_booked`` where the ratios are those that the book keeps."""
    if view.ratio is None:
        return section(say("asset.ratio.title"), note(say("asset.ratio.none")))
    picture = chart(
        ratio_figure(view.ratio, view.who, view.marks, scheme, view.amended, view.signed),
        title=say("figure.ratio.title"),
        says=say("figure.ratio.says", text=view.sentence),
        height=320,
        note=" ".join(_shapes(view)),
        table=_visits(view),
    )
    events = [
        *((one.at, say("asset.break.line", day=day(one.at.date()), name=one.name, reason=one.reason or DASH)) for one in view.marks),
        *((one.at, say("asset.break.line", day=day(one.at.date()), name=one.name, reason=one.reason or DASH)) for one in (*view.amended, *view.signed)),
    ]  # fmt: skip
    listed = (
        html.Ul([html.Li(text) for _, text in sorted(events, reverse=True)], className="events") if events else None
    )
    return section(
        say("asset.ratio.title"), picture, listed, about=say("about.ratio") if as_booked else say("about.asset.ratio")
    )


def _shapes(view: AssetView) -> list[str]:
    """Say what the shapes on the time axis mean, of those that stand there."""
    said = [say("asset.ratio.note") if view.amended else say("figure.ratio.note")]
    return [*said, say("asset.ratio.note.signed")] if view.signed else said


def _visits(view: AssetView) -> html.Div:
    assert view.ratio is not None  # noqa: S101 - the caller has looked
    columns = [
        Column(say("column.day")),
        Column(say("column.found_ratio"), number=True),
        Column(say("column.left_ratio"), number=True),
        Column(say("asset.column.who")),
    ]
    series = view.ratio
    rows = [
        [str(when)[:10], judged(found), judged(left), who]
        for when, found, left, who in zip(
            series.times.tolist(), series.found.tolist(), series.left.tolist(), view.who, strict=True
        )
    ]
    return table(say("figure.ratio.title"), columns, rows[::-1])


def about_machine(view: AssetView, *more: Child) -> html.Details:
    """Put what the machine is, as the book describes it today and described it before."""
    pairs = [html.Div([html.Dt(name), html.Dd(value)]) for name, value in view.facts]
    return html.Details(
        [html.Summary(say("asset.about.title")), html.Dl(pairs, className="facts"), _versions(view), *more],
        className="more",
    )


def _versions(view: AssetView) -> Child:
    if len(view.versions) < 2:
        return None
    unit = view.display.unit(Quantity.DISTANCE)
    columns = [
        Column(say("column.from")),
        Column(say("fact.coupling")),
        Column(say("fact.speed"), number=True),
        Column(say("column.feet", unit=unit), number=True),
        Column(say("column.by")),
    ]
    rows = [[one.since, one.coupling, one.speed, one.feet, one.author] for one in view.versions]
    return html.Div([note(say("asset.versions", n=len(rows))), table(say("asset.versions.caption"), columns, rows)])
