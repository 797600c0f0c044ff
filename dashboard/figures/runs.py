"""A quantity over time with one line per run: from what a visit left up to what the next one found."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import numpy as np

from dashboard.figures.room import anchor_at, margin_for
from dashboard.figures.sheet import Picture, Sheet
from dashboard.theme import Palette
from dashboard.views.asset_panels import Panel
from dashboard.views.asset_view import Mark
from dashboard.views.run_series import RunSeries, Times
from dashboard.words import say
from models.history.columns import FloatArray

MARKER = 9
SMALL_MARKER = 7


def ratio_figure(
    series: RunSeries, who: Sequence[str], marks: Sequence[Mark], scheme: str, amended: Sequence[Mark] = (), signed: Sequence[Mark] = ()
) -> Picture:  # fmt: skip
    """Draw the limit ratio of one machine over time, with the limit at 1, the replacements and the amendments.

    Parameters
    ----------
    series : RunSeries
        Limit ratio as found and as left. [unitless]
    who : sequence of str
        One text a visit, for the hover. [unitless]
    marks : sequence of Mark
        Replacements. [unitless]
    scheme : str
        Colour scheme. [unitless]
    amended : sequence of Mark
        Visits whose job was amended later. [unitless]
    signed : sequence of Mark
        Visits whose job bears a signature. [unitless]
    """
    sheet = Sheet(scheme)
    palette = sheet.palette
    draw_runs(sheet, series, palette)
    draw_points(sheet, series, who, palette, MARKER, say("figure.ratio_hover", ratio="%{y:.2f}"))
    top = float(np.nanmax(np.concatenate([series.found, series.left, [1.0]])))
    limit_line(sheet)
    _names(sheet, series, palette)
    span = _span(series.times, marks, room=0.03)
    _marks(sheet, marks, palette, span if marks else None)
    _events(sheet, amended, say("asset.mark.amended"), {"symbol": "diamond-open", "size": 13}, palette)
    _events(sheet, signed, say("asset.mark.signed"), {"symbol": "x-thin", "size": 7}, palette)
    sheet.y(range=[0.0, max(top * 1.14, 1.25)], title={"text": say("figure.ratio_axis")}, nticks=6)
    sheet.x(range=span, type="date")
    names = (say("word.found"), say("word.left"))
    sheet.lay(margin={"l": 8, "b": 8, "t": 26, "r": margin_for(names)})
    return sheet.picture


def _events(sheet: Sheet, marks: Sequence[Mark], name: str, shape: dict[str, object], palette: Palette) -> None:
    """Draw what happened to jobs on the time axis itself; a cross stands inside a diamond where both happened to one."""
    if not marks:
        return
    sheet.scatter(
        x=[one.at.isoformat() for one in marks], y=[0.0] * len(marks), mode="markers", name=name, cliponaxis=False,
        text=[escape(f"{one.name}: {one.reason}" if one.reason else one.name) for one in marks],
        marker=shape | {"color": palette.ink, "line": {"width": 2, "color": palette.ink}},
        hovertemplate="<b>%{text}</b><extra></extra>",
    )  # fmt: skip


def limit_line(sheet: Sheet) -> None:
    """Draw the limit at ratio 1, with its name at the right end."""
    ink = sheet.palette.ink
    sheet.shape(
        type="line", xref="paper", x0=0.0, x1=1.0, y0=1.0, y1=1.0, line={"color": ink, "width": 1.5, "dash": "dash"}
    )
    sheet.word(
        say("figure.limit_one"), x=1, xref="paper", y=1.0, yanchor="bottom", xanchor="right", bgcolor=sheet.palette.paper, borderpad=1,
    )  # fmt: skip


def panel_figure(panel: Panel, who: Sequence[str], marks: Sequence[Mark], scheme: str) -> Picture:
    """Draw one small picture: a quantity over time with its target and the limits around it.

    Parameters
    ----------
    panel : Panel
        What to draw, in the unit that is shown. [unit of the panel]
    who : sequence of str
        One text a visit, for the hover. [unitless]
    marks : sequence of Mark
        Replacements. [unitless]
    scheme : str
        Colour scheme. [unitless]
    """
    sheet = Sheet(scheme)
    palette, series = sheet.palette, panel.series
    span = _span(series.times, marks, room=0.26)
    _steps(sheet, series.times, panel.target, span, say("figure.target"), "dot")
    _steps(sheet, series.times, panel.high, span, say("figure.limit"), "dash")
    _steps(sheet, series.times, panel.low, span, "", "dash")
    draw_runs(sheet, series, palette)
    draw_points(sheet, series, who, palette, SMALL_MARKER, f"%{{y:+.{panel.decimals}f}} {panel.unit}")
    _marks(sheet, marks, palette, None)
    sheet.y(nticks=5, tickformat=f"+.{panel.decimals}f" if _signed(panel) else f".{panel.decimals}f")
    sheet.x(range=span, nticks=5, type="date")
    sheet.lay(margin={"l": 8, "r": 12, "b": 8, "t": 10})
    return sheet.picture


def _signed(panel: Panel) -> bool:
    return not np.isnan(panel.target).all()


def draw_runs(sheet: Sheet, series: RunSeries, palette: Palette) -> None:
    """Draw the lines of the runs: solid where both ends were measured."""
    for times, values, dash, name in (
        (series.solid_times, series.solid, "solid", "runs"),
        (series.dotted_times, series.dotted, "dot", "unknown"),
    ):
        if len(values):
            sheet.scatter(
                x=times, y=values, mode="lines", name=name, hoverinfo="skip", connectgaps=False,
                line={"color": palette.strong, "width": 1.75, "dash": dash},
            )  # fmt: skip


def draw_points(sheet: Sheet, series: RunSeries, who: Sequence[str], palette: Palette, size: int, written: str) -> None:
    """Draw the readings: a circle as found, a square as left; the hover says what, when and who."""
    # Plotly reads some HTML in texts: what people typed must not become part of it.
    texts = np.array([escape(text) for text in who], dtype=object)
    for values, colour, symbol, name in (
        (series.found, palette.found, "circle", say("word.found")),
        (series.left, palette.left, "square", say("word.left")),
    ):
        known = ~np.isnan(values)
        if known.any():
            sheet.scatter(
                x=series.times[known], y=values[known], mode="markers", name=name, text=texts[known],
                marker={"color": colour, "size": size, "symbol": symbol, "line": {"color": palette.sheet, "width": 1}},
                hovertemplate=f"<b>{name}: {written}</b><br>%{{x|%d %b %Y}}<br>%{{text}}<extra></extra>",
            )  # fmt: skip


def _names(sheet: Sheet, series: RunSeries, palette: Palette) -> None:
    """Write the names beside the last readings, in place of a legend; apart where the two lie close together."""
    last = {
        stage: int(np.flatnonzero(~np.isnan(values))[-1])
        for stage, values in (("found", series.found), ("left", series.left))
        if not np.isnan(values).all()
    }
    ends = {stage: float(getattr(series, stage)[row]) for stage, row in last.items()}
    top = float(np.nanmax(np.concatenate([series.found, series.left, [1.1]])))
    close = len(ends) == 2 and abs(ends["found"] - ends["left"]) < 0.06 * top
    for stage, row in last.items():
        higher = close and ends[stage] >= max(ends.values())
        anchor = "middle" if not close else "bottom" if higher else "top"
        if not close and 0.0 <= ends[stage] - 1.0 + 0.05 * top < 0.12 * top:
            anchor = "top"  # the name of the limit stands above its line
        sheet.word(
            say(f"word.{stage}"), getattr(palette, stage), x=str(series.times[row]), y=ends[stage], xanchor="left", xshift=9, yanchor=anchor,
        )  # fmt: skip


def _steps(sheet: Sheet, times: Times, values: FloatArray, span: list[str], name: str, dash: str) -> None:
    known = ~np.isnan(values)
    if not known.any():
        return
    x = [*times[known].astype(str).tolist(), span[1]]
    y = [*values[known].tolist(), float(values[known][-1])]
    soft = sheet.palette.soft
    sheet.scatter(
        x=x, y=y, mode="lines", name=name or say("figure.limit"), hoverinfo="skip",
        line={"color": soft, "width": 1, "dash": dash, "shape": "hv"},
    )  # fmt: skip
    if name:
        sheet.word(name, soft, 11, x=span[1], y=y[-1], xanchor="right", yanchor="bottom")


def _marks(sheet: Sheet, marks: Sequence[Mark], palette: Palette, span: Sequence[str] | None) -> None:
    """Draw the replacements; with the ends of the time axis also their names, which stay inside."""
    for mark in marks:
        at = mark.at.isoformat()
        sheet.shape(
            type="line", x0=at, x1=at, yref="paper", y0=0.0, y1=1.0, name=mark.name,
            line={"color": palette.ink, "width": 1.25, "dash": "longdashdot"},
        )  # fmt: skip
        if span is not None:
            first, last = (np.datetime64(end) for end in span)
            share = float((np.datetime64(at) - first) / (last - first))
            sheet.word(
                mark.name, x=at, yref="paper", y=1.0, yanchor="bottom", xanchor=anchor_at(share),
                hovertext=escape(mark.reason or mark.name),
            )  # fmt: skip


def _span(times: Times, marks: Sequence[Mark], room: float) -> list[str]:
    """Give one time axis for all pictures of a machine, with room for the names at its end."""
    every = np.concatenate(
        [times.astype("datetime64[s]"), np.array([mark.at for mark in marks], dtype="datetime64[s]")]
    )
    if not len(every):
        return ["2000-01-01", "2000-12-31"]
    first, last = every.min(), every.max()
    length = max((last - first).astype(np.int64), 200 * 86_400)
    return [str(first - np.timedelta64(int(length * 0.06), "s")), str(last + np.timedelta64(int(length * room), "s"))]
