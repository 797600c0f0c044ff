"""The long parts of a machine's page: components, flex planes, feet and soft foot over time, and every job."""

from __future__ import annotations

from dashboard.components import elements as html
from dashboard.components.chart import chart
from dashboard.components.jobs_grid import jobs_grid, jobs_on_paper
from dashboard.components.pieces import Child, choices, explained, note, section
from dashboard.components.take import take
from dashboard.figures.runs import panel_figure
from dashboard.place import Place
from dashboard.views.asset_panels import Panel
from dashboard.views.asset_view import AssetView
from dashboard.views.run_series import RunSeries
from dashboard.words import say
from dashboard.writing import DASH, counted
from models.units import Quantity


def measured_part(view: AssetView, scheme: str) -> html.Section:
    """Put what was measured, quantity by quantity; what judges the machine is open, the rest opens on demand."""
    components = _panels(view.component_note, view.components, view, scheme)
    feet = _panels(view.feet_note, view.feet, view, scheme)
    soft = _panels(say("asset.soft.note") if view.soft_foot else say("asset.soft.none"), view.soft_foot, view, scheme)
    parts: list[Child] = []
    if view.flex:
        flex = _panels(say("asset.flex.note"), view.flex, view, scheme)
        parts.append(_folded(say("asset.flex.title"), flex, say("about.flex"), shown=True))
    parts += [
        _folded(say("asset.components.title"), components, say("about.components"), shown=not view.flex),
        _folded(say("asset.feet.title"), feet, say("about.feet")),
        _folded(say("asset.soft.title"), soft, say("about.soft")),
    ]
    return section(say("asset.measured.title"), *parts)


def _folded(title: str, children: list[Child], about: str, *, shown: bool = False) -> html.Details:
    return html.Details([html.Summary(title), *children, explained(about)], open=shown, className="more")


def _panels(text: str, panels: tuple[Panel, ...], view: AssetView, scheme: str) -> list[Child]:
    charts = [
        chart(
            panel_figure(panel, view.who, view.marks, scheme),
            title=say("figure.panel.title", title=panel.title, unit=panel.unit),
            says=say("figure.panel.says", title=panel.title, readings=_readings(panel.series, panel.decimals, panel.unit)),
            height=190,
            small=True,
        )
        for panel in panels
    ]  # fmt: skip
    return [note(text), html.Div(charts, className="smalls")] if charts else [note(text)]


def _readings(series: RunSeries, decimals: int, unit: str) -> str:
    pieces = [
        say(
            "figure.panel.reading", day=str(when)[:10], found=f"{found:.{decimals}f}", left=f"{left:.{decimals}f}", unit=unit
        )
        for when, found, left in zip(series.times, series.found, series.left, strict=True)
    ]  # fmt: skip
    return "; ".join(pieces[-4:]).replace("nan", DASH)


def jobs_part(name: str, view: AssetView, place: Place, *more: Child) -> html.Section:
    """Put every job of the machine, amended versions included.

    Parameters
    ----------
    name : str
        Id of the grid. [unitless]
    view : AssetView
        The machine. [unitless]
    place : Place
        The address. [unitless]
    *more : Child
        What stands below, e.g. the ways to amend. [unitless]
    """
    typed = place.get("typed") == "1"
    switch = choices(
        say("asset.jobs.switch"),
        [
            (say("asset.jobs.shown", unit=view.display.unit(Quantity.OFFSET)), place.here(typed=None), not typed),
            (say("asset.jobs.typed"), place.here(typed=1), typed),
        ],
    )
    return section(
        say("asset.jobs.title", n=counted(len(view.who), "job")),
        html.Div(switch, className="stay"),
        jobs_grid(name, view, typed=typed),
        jobs_on_paper(view),
        take("asset-jobs", place, asset=view.tag, typed=None),
        note(say("asset.jobs.note")),
        *more,
        about=say("about.typed"),
    )
