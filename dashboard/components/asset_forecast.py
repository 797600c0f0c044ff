"""When the machine will be over limit again: key numbers, why that date, two pictures, and how such forecasts did."""

from __future__ import annotations

import math
from datetime import date

from dashboard.components import elements as html
from dashboard.components.asset_numbers import signed
from dashboard.components.chart import chart
from dashboard.components.pieces import Child, choices, key_number, key_numbers, note, section, sentence
from dashboard.components.tables import Column, table
from dashboard.components.take import take
from dashboard.figures.forecast import chance_figure, fan_figure
from dashboard.place import Place
from dashboard.views.asset_choices import DEFAULT_RISK, RISKS
from dashboard.views.asset_forecast_view import ForecastView, Held, Point
from dashboard.views.asset_view import Past
from dashboard.views.chance_bands import Band
from dashboard.words import say
from dashboard.writing import chance, count, counted, day, interval, percent, speed_class
from models.history.columns import SPEED_BOUNDS_RPM

NAMED = 0.05
"""A chance of a step below this is not named on the page."""


def forecast_part(view: ForecastView, asset: Past, place: Place, scheme: str) -> html.Section:
    """Put the forecast, or why there is none."""
    title = say("asset.forecast.title")
    if view.reason:
        parts: list[Child] = [
            html.P(
                say("asset.forecast.none", reason=say(f"asset.reason.{view.reason}"), n=counted(view.runs, "run")),
                className="note strong",
            ),
        ]
        if view.held is not None:
            parts.append(note(_held_sentence(view.held)))
        return section(title, *parts, about=say("about.asset.forecast"))
    assert view.recheck_on is not None and view.today is not None and view.left_at is not None  # noqa: S101, PT018 - there is a forecast
    switch = choices(
        say("asset.risk.switch"),
        [
            (f"{risk}\u202f%", place.here(risk=None if risk == DEFAULT_RISK else risk), risk == round(100 * view.risk))
            for risk in RISKS
        ],
    )
    today = view.today.date()
    pictures: list[Child] = []
    if asset.ratio is not None:
        pictures.append(
            chart(
                fan_figure(view, asset.ratio, asset.who, scheme),
                title=say("asset.fan.title"),
                says=say("asset.fan.says", points=_points_said(view)),
                height=300,
                note=say("asset.fan.note"),
            )
        )
    pictures.append(
        chart(
            chance_figure(view, scheme),
            title=say("asset.chance.title"),
            says=say("asset.chance.says", points=_points_said(view)),
            height=300,
            note=say("asset.chance.note"),
            table=_dates(view),
        )
    )
    return section(
        title,
        sentence(_sentence(view, today)),
        html.Div(switch, className="stay"),
        _keys(view, today),
        note(_why(view)) if view.why in {"class", "site"} else None,
        note(say("asset.forecast.weight", step=chance(view.step))) if view.step >= NAMED else None,
        html.Div(pictures, className="columns"),
        take("asset-forecast", place, said="files.take.dates", asset=asset.tag),
        _components(view, place, asset.tag),
        _held(view.held) if view.held else None,
        about=say("about.asset.forecast"),
    )


def _sentence(view: ForecastView, today: date) -> str:
    assert view.recheck_on is not None  # noqa: S101 - there is a forecast
    on, risk = day(view.recheck_on), percent(view.risk)
    late = view.recheck_on < today
    if view.why == "at once":
        text = say("asset.forecast.at_once", over=chance(view.over_left), risk=risk)
    elif view.why == "step":
        text = say("asset.forecast.step", over=chance(view.over_then), risk=risk, n=counted(view.runs, "run"))
    elif view.why == "risk":
        text = say("asset.forecast.late" if late else "asset.forecast.by", on=on, risk=risk)
    else:
        text = say("asset.forecast.capped_late" if late else "asset.forecast.capped", on=on, risk=risk)
    return f"{text} {say('asset.forecast.now', over=chance(view.over_today))}"


def _keys(view: ForecastView, today: date) -> html.Dl:
    assert view.recheck_on is not None and view.left_at is not None  # noqa: S101, PT018 - there is a forecast
    on, last = view.recheck_on, max(view.recheck_on, today)
    away = (on - today).days
    when = say("due.today") if away == 0 else say("due.in", n=counted(away, "day")) if away > 0 else say("due.late", n=counted(-away, "day"))  # fmt: skip
    keys = [
        key_number(
            say("asset.key.recheck"),
            say("asset.key.at_once") if view.why in {"at once", "step"} else day(on),
            say("asset.key.recheck_below", risk=percent(view.risk)),
            "" if view.why in {"at once", "step"} else when,
        ),
        key_number(
            say("asset.key.over_today"),
            chance(view.over_today),
            say("asset.key.over_today_below", on=day(today)),
            say("asset.key.runs", n=counted(view.runs, "run"), on=day(view.left_at.date())),
        ),
        key_number(say("asset.key.ever"), chance(view.ever), say("asset.key.ever_below", on=day(last))),
    ]
    if view.held is not None and view.held.intervals:
        held = view.held
        keys.append(
            key_number(
                say("asset.key.held"),
                percent(held.share),
                say("asset.key.held_below", n=count(held.intervals), machines=counted(held.machines, "machine")),
                say("key.share", share=say("asset.key.promised"), interval=interval(held.low, held.high)),
            )
        )
    return key_numbers(*keys)


def _why(view: ForecastView) -> str:
    over, risk = chance(view.over_then), percent(view.risk)
    if view.why == "class":
        return say("asset.why.class", over=over, risk=risk, days=counted(round(view.longest_days), "day"))
    return say("asset.why.site", over=over, risk=risk, months=counted(view.site_months, "month"))


def _dates(view: ForecastView) -> html.Div:
    columns = [
        Column(say("column.day")),
        Column(say("asset.column.over"), number=True),
        Column(say("asset.column.middle"), number=True),
        Column(say("asset.column.band"), number=True),
        Column(say("asset.column.what")),
    ]
    rows = [
        [day(one.on), chance(one.over), f"{one.middle:.2f}", _band(one), say(f"asset.point.{one.what}") if one.what else ""]
        for one in view.points
    ]  # fmt: skip
    return table(say("asset.points.caption"), columns, rows)


def _band(one: Point) -> str:
    return say("write.interval", low=f"{one.low:.2f}", high=f"{one.high:.2f}")


def _points_said(view: ForecastView) -> str:
    return "; ".join(
        say("asset.point.said", on=day(one.on), over=chance(one.over), band=_band(one)) for one in view.points
    )


def _components(view: ForecastView, place: Place, tag: str) -> html.Details:
    columns = [
        Column(say("asset.last.component")),
        Column(say("asset.column.left"), number=True),
        Column(say("asset.column.expected"), number=True),
        Column(say("asset.column.read"), number=True),
        Column(say("asset.last.limit"), number=True),
    ]
    rows = []
    for one in view.components:
        left, expected, low, high = (
            signed(value, one.decimals) for value in (one.left, one.expected, one.low, one.high)
        )
        rows.append(
            [
                say("figure.panel.title", title=say(one.name), unit=one.unit), left, expected,
                say("write.interval", low=low, high=high), f"±{one.limit:.{one.decimals}f}",
            ]
        )  # fmt: skip
    return html.Details(
        [
            html.Summary(say("asset.components.forecast", on=day(view.components_on))),
            table(say("asset.components.caption", on=day(view.components_on), n=counted(view.runs, "run")), columns, rows),
            take("asset-components", place, asset=tag),
        ],
        className="more",
    )  # fmt: skip


def _held(held: Held) -> html.P:
    return note(_held_sentence(held))


def _held_sentence(held: Held) -> str:
    if not held.intervals:
        return say("asset.held.none")
    of = (
        say("asset.held.fleet")
        if held.class_index < 0
        else say("asset.held.class", speed=speed_class(held.class_index, SPEED_BOUNDS_RPM))
    )
    text = say(
        f"asset.held.{held.verdict}", n=counted(held.intervals, "interval"), machines=counted(held.machines, "machine"), of=of,
        share=percent(held.share), interval=interval(held.low, held.high),
    )  # fmt: skip
    better = 1.0 - held.loss / held.loss_none if held.loss_none > 0.0 else float("nan")
    if not math.isfinite(better):
        return text + _own_record(held) + _chances_said(held.band)
    key = "asset.held.better" if better > 0.0 else "asset.held.worse"
    return f"{text} {say(key, share=percent(abs(better)))}{_own_record(held)}{_chances_said(held.band)}"


def _chances_said(band: Band | None) -> str:
    """Say what became of past runs whose forecast gave a chance like today's."""
    if band is None:
        return ""
    said = say(
        "asset.held.chances", n=counted(band.n, "run"), band=interval(band.above, band.below), share=percent(band.found),
        interval=interval(band.low, band.high),
    )  # fmt: skip
    return f" {said}"


def _own_record(held: Held) -> str:
    """Say how the machine's own intervals held, and where that is worse than chance explains."""
    if not held.own_tested:
        return ""
    said = say("asset.held.own", held=count(held.own_held), n=counted(held.own_tested, "interval"))
    if held.worst is None:
        return f" {said}"
    few, n, name = held.worst
    return f" {said} {say('asset.held.own.worse', held=count(few), n=count(n), component=say(name), share=percent(held.share))}"
