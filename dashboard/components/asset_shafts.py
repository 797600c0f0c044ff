"""The two shafts of a job, as found beside as left, and the choice of the job."""

from __future__ import annotations

from dashboard.components import elements as html
from dashboard.components.chart import chart
from dashboard.components.pieces import Child, choices, note, section
from dashboard.figures.shafts import FootMove, Shafts, more_height, shafts_figure
from dashboard.place import Place
from dashboard.views.asset_shafts_view import Drawn, ShaftsView
from dashboard.words import say
from dashboard.writing import day, judged
from models.units import Display, Quantity

SHOWN = 6
"""So many of the newest jobs can be chosen at once; the others on demand."""


def shafts_part(view: ShaftsView, place: Place, display: Display, scheme: str) -> html.Section:
    """Put the pictures of one job: side views first, as found beside as left."""
    line = view.line
    said = [say(f"reason.{line.job.reason.value}"), ", ".join(line.job.people), line.job.instrument]
    parts: list[Child] = [
        _switch(view, place),
        html.P(
            say(
                "asset.shafts.job", who=" · ".join(part for part in said if part), entry=line.entry,
                found=judged(line.found_ratio), left=judged(line.left_ratio),
            )
        ),
    ]  # fmt: skip
    if line.superseded_by is not None:
        parts.append(note(say("asset.shafts.amended", entry=line.superseded_by), strong=True))
    parts += [note(say(f"asset.shafts.missing.{stage}")) for stage in view.missing]
    drawn = sorted(view.drawn, key=lambda one: not one.vertical)
    parts.append(html.Div([_picture(one, display, scheme) for one in drawn], className="columns shafts"))
    return section(say("asset.shafts.title", on=day(view.on)), *parts, about=say("about.asset.shafts"))


def _switch(view: ShaftsView, place: Place) -> html.Div:
    chosen = view.line.entry
    options = [
        (day(on), place.here(job=None if spot == 0 else entry), entry == chosen)
        for spot, (entry, on) in enumerate(view.jobs)
    ]
    parts: list[Child] = [choices(say("asset.shafts.switch"), options[:SHOWN])]
    if options[SHOWN:]:
        older = choices(say("asset.shafts.older"), options[SHOWN:])
        is_open = any(one[2] for one in options[SHOWN:])
        parts.append(html.Details([html.Summary(say("asset.shafts.all", n=len(options[SHOWN:]))), older], open=is_open))
    return html.Div(parts, className="stay")


def _picture(one: Drawn, display: Display, scheme: str) -> html.Figure:
    shafts = Shafts(
        one.vertical, one.measured, one.target, one.feet_movable_mm, one.feet_stationary_mm, one.span_mm,
        tuple(FootMove(*move) for move in one.moves),
    )  # fmt: skip
    title = say(
        "asset.shafts.side" if one.vertical else "asset.shafts.top",
        stage=say(f"grid.{one.stage}"), unit=display.unit(Quantity.OFFSET), factor=f"{shafts.factor:g}",
    )  # fmt: skip
    drawn = shafts_figure(shafts, one.stage, display, scheme)
    return chart(drawn, title=title, says=one.says, height=260 + more_height(shafts, display), small=True)
