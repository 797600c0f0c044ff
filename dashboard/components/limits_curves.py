"""Part of the Limits page: the limits over the running speed."""

from __future__ import annotations

import math
from typing import Any

from dashboard.components import elements as html
from dashboard.components.chart import chart
from dashboard.components.pieces import note, section
from dashboard.components.seen import Seen
from dashboard.components.tables import Column, table
from dashboard.components.take import take
from dashboard.figures.limits import curve_figure
from dashboard.kept import keep
from dashboard.views.limits_desk_view import CURVE_RPM, curve_of
from dashboard.words import say, spoken
from dashboard.writing import DASH
from models.units import Quantity
from models.values.limits import LimitSet

CURVE = tuple(600.0 * 10.0 ** (step / 60.0) for step in range(61))
"""Speeds of the curve, evenly spaced in ratio, from 600 to 6000 rpm. [rpm]"""


def curves_part(held: LimitSet, trial: LimitSet | None, seen: Seen, scheme: str) -> html.Section:
    """Put the limits over the running speed, of the set in force and of the one on trial."""
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
            [
                html.Summary(say("chart.as_table")),
                table(say("limits.curve.table"), columns, rows),
                take("limit-curve", seen.place),
            ],
            className="chart-table",
        ),
    )


def _curve(
    speeds: Any,
    now: Any,
    then: Any,
    seen: Seen,
    scheme: str,
    *,
    quantity: Quantity,
    of: tuple[LimitSet, LimitSet | None],
) -> Any:
    display, (held, trial) = seen.display, of
    unit, places = display.unit(quantity), display.decimals(quantity)
    key = ("curve", quantity, unit, scheme, held.rows, trial.rows if trial else None, spoken())
    return keep(seen.history, key, lambda: curve_figure(speeds, now, then, unit, places, scheme))
