"""Which way the machine moves between visits, in the plane across the shaft and at each row of feet."""

from __future__ import annotations

from dashboard.components import elements as html
from dashboard.components.asset_numbers import signed
from dashboard.components.chart import chart
from dashboard.components.pieces import Child, note, section, sentence
from dashboard.components.tables import Column, table
from dashboard.figures.drift_plane import beyond, feet_rate_figure, plane_figure
from dashboard.views.asset_drift_view import DriftView, FootRow, Plane
from dashboard.words import say
from dashboard.writing import chance, counted, day, percent

WHY = {"limits": "asset.drift.limits", "time": "asset.drift.time"}
"""Keys of what is said where runs are enough and yet no direction can be told."""


def drift_part(view: DriftView, scheme: str, *more: Child) -> html.Section:
    """Put the drift, or say that no run is complete yet."""
    title = say("asset.drift.title")
    if not view.moves:
        return section(title, note(say("asset.drift.none")))
    pictures: list[Child] = [
        chart(
            plane_figure(plane, view.moves, scheme),
            title=say("figure.panel.title", title=say(plane.key), unit=plane.unit),
            says=_plane_says(plane),
            height=360,
        )
        for plane in view.planes
    ]
    feet = _feet_said(view)
    if view.feet and view.why != "few":
        pictures.append(_feet(view, scheme, feet))
    return section(
        title,
        sentence(_verdict(view)),
        html.P(feet),
        note(_note(view)),
        html.Div(pictures, className="planes"),
        _runs_table(view),
        *more,
        about=say("about.asset.drift"),
    )


def way(vertical: float, horizontal: float) -> str:
    """Say a direction in words, e.g. 'down and to the right'; the lesser of the two is left out below two fifths of the greater."""
    parts = []
    if abs(vertical) >= 0.4 * abs(horizontal) and vertical:
        parts.append(say("asset.way.up") if vertical > 0.0 else say("asset.way.down"))
    if abs(horizontal) >= 0.4 * abs(vertical) and horizontal:
        parts.append(say("asset.way.right") if horizontal > 0.0 else say("asset.way.left"))
    return say("asset.way.and", first=parts[0], second=parts[1]) if len(parts) == 2 else "".join(parts)


def _verdict(view: DriftView) -> str:
    n, since = counted(len(view.moves), "run"), day(view.moves[0].left_on)
    direction = way(*view.way)
    if view.why in WHY:
        return say(WHY[view.why], n=n, since=since)
    if view.verdict == "few" or not direction:
        return say("asset.drift.few", n=n, since=since)
    if view.verdict == "one way":
        return say("asset.drift.one_way", n=n, since=since, way=direction, false=percent(view.rate))
    return say("asset.drift.no_way", n=n, since=since)


def _note(view: DriftView) -> str:
    """Say what the pictures show; of the thick arrow only where one is drawn."""
    told = [say("asset.plane.note")]
    if any(one.mean for one in view.planes):
        told.append(
            say("asset.plane.note.step" if any(one.by_step for one in view.planes) else "asset.plane.note.year")
        )
    if any(beyond(one) for one in view.planes):
        told.append(say("asset.plane.note.beyond"))
    return " ".join(told)


def _plane_says(plane: Plane) -> str:
    if plane.mean is None:
        return say("asset.plane.says.runs", title=say(plane.key), n=counted(len(plane.left), "run"))
    return say(
        "asset.plane.says.step" if plane.by_step else "asset.plane.says", title=say(plane.key), n=counted(len(plane.left), "run"), unit=plane.unit,
        v=signed(plane.mean[1], plane.decimals), h=signed(plane.mean[0], plane.decimals),
    )  # fmt: skip


def _runs_table(view: DriftView) -> html.Details:
    columns = [
        Column(say("asset.column.found_on")),
        Column(say("asset.column.left_on")),
        Column(say("column.days"), number=True),
    ]
    for plane in view.planes:
        where = {"place": say(plane.key), "unit": plane.unit}
        columns.append(Column(say("asset.column.drift_v", **where), number=True))
        columns.append(Column(say("asset.column.drift_h", **where), number=True))
    columns.append(Column(say("asset.column.who")))
    drifts = [((plane.found - plane.left).tolist(), plane.decimals) for plane in view.planes]
    rows = []
    for place, move in enumerate(view.moves):
        row = [day(move.found_on), day(move.left_on), f"{move.days:.0f}"]
        for drift, decimals in drifts:
            row += [signed(value, decimals) for value in reversed(drift[place])]
        rows.append([*row, move.who])
    caption = say("asset.runs.caption", n=counted(len(rows), "run"))
    return html.Details([html.Summary(say("chart.as_table")), table(caption, columns, rows[::-1])])


def _feet_said(view: DriftView) -> str:
    if view.steps:
        return _steps_said(view)
    if not view.feet_known:
        return say("asset.feet.none")
    if not view.feet:
        return say("asset.feet.time")
    sure = [one for one in view.feet if one.sure]
    nobody = "few" if view.why == "few" else "no_way" if view.verdict == "no direction" else "nobody"
    said = _sure_said(sure, view.feet_unit, view.feet_decimals) if sure else say(f"asset.feet.{nobody}")
    if sure and view.why == "limits":
        said = f"{said} {say('asset.feet.unjudged')}"
    return f"{said} {say('asset.feet.between')}" if any(one.between for one in view.feet) else said


def _feet(view: DriftView, scheme: str, said: str) -> html.Figure:
    unit, decimals = view.feet_unit, view.feet_decimals
    columns = [
        Column(say("asset.column.foot")),
        Column(say("asset.column.distance"), number=True),
        Column(say("asset.column.rate", unit=unit), number=True),
        Column(say("asset.column.rate_interval", unit=unit), number=True),
        Column(say("asset.column.moves")),
    ]
    rows = [
        [
            say(f"asset.foot.{one.axis}", row=one.row), one.x, signed(one.rate, decimals),
            say("write.interval", low=signed(one.low, decimals), high=signed(one.high, decimals)),
            say("asset.feet.sure") if one.sure else say("asset.feet.unsure"),
        ]
        for one in view.feet
    ]  # fmt: skip
    return chart(
        feet_rate_figure(view.feet, unit, decimals, scheme),
        title=say("asset.feet.rate_title", unit=unit),
        says=said,
        height=min(110 + 40 * len(view.feet), 330),
        note=say("asset.feet.rate_note", n=counted(len(view.moves), "run"), since=day(view.moves[0].left_on)),
        table=table(say("asset.feet.rates"), columns, rows),
    )


def _steps_said(view: DriftView) -> str:
    lines = []
    for one in view.steps:
        up, down = ("up", "down") if one.axis == "v" else ("right", "left")
        lines.append(
            say(
                "asset.feet.by_step", row=one.row, way=say(f"asset.way.{up if one.size > 0 else down}"),
                size=f"{abs(one.size):.{view.feet_decimals}f}", unit=view.feet_unit,
            )
        )  # fmt: skip
    n = counted(len(view.moves), "run")
    return say("asset.feet.step", step=chance(view.step), n=n, lines="; ".join(lines))


def _sure_said(sure: list[FootRow], unit: str, decimals: int) -> str:
    lines = []
    for one in sure:
        up, down = ("up", "down") if one.axis == "v" else ("right", "left")
        lines.append(
            say(
                "asset.feet.moves", row=one.row, way=say(f"asset.way.{up if one.rate > 0 else down}"),
                rate=f"{abs(one.rate):.{decimals}f}", unit=unit,
            )
        )  # fmt: skip
    return say("asset.feet.moving", lines="; ".join(lines))
