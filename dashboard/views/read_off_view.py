"""Where an instrument that reads off matters: on a machine's page as a cause, and beside what it left as a short mark."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date

import numpy as np

from dashboard.prepared import runs_for
from dashboard.views.asset_patterns_view import Cause, Observation, PatternsView, Side
from dashboard.views.effects_view import FALSE_RATE, QUANTITIES, component_name, effects_for, number
from dashboard.words import say
from dashboard.writing import count, counted, ratio
from models.history.columns import History, IntArray
from models.history.effects import Effects
from models.history.engine import Study
from models.history.late import row_of
from models.history.material import present_runs
from models.history.read_off import Apart, apart_of, ratio_without, shown_off
from models.units import Display
from models.values.job import COMPONENTS

KEY = "instrument"
"""End of the keys of the cause's texts."""


def with_instruments(
    view: PatternsView, study: Study, history: History, asset: int, *, display: Display, days: Mapping[int, date]
) -> PatternsView:
    """Add the instruments that are shown to read off, where they are at one end of a run of this machine.

    Parameters
    ----------
    view : PatternsView
        The usual causes. [unitless]
    study : Study
        Everything that the history says. [unitless]
    history : History
        The columns behind it. [unitless]
    asset : int
        Index of the machine. [unitless]
    display : Display
        Units to show. [unitless]
    days : mapping
        Day of each job by its entry. [unitless]
    """
    effects = effects_for(history, study.runs, "instrument")
    off = shown_off(effects, FALSE_RATE)
    rows = present_runs(study.material, asset)
    found = []
    for instrument in np.flatnonzero(off.any(axis=1)).tolist():
        apart = apart_of(history.jobs, study.runs, rows, instrument, off)
        if len(apart.run):
            jobs = _entries(history, study, apart.run, days)
            found.append(_cause(effects, history.instruments[instrument], instrument, apart, display, jobs))
    told = [cause for cause in found if cause.side == "for"]
    return replace(view, causes=(*told, *view.causes, *(cause for cause in found if cause.side != "for")))


def _entries(
    history: History, study: Study, runs: IntArray, days: Mapping[int, date]
) -> tuple[tuple[int, date | None], ...]:
    ends = [row_of(study.runs, name, run) for run in runs.tolist() for name in ("start_row", "end_row")]
    entries = [int(row_of(history.jobs, "entry", int(row))) for row in dict.fromkeys(int(row) for row in ends)]
    return tuple((entry, days.get(entry)) for entry in entries)


def _cause(
    effects: Effects, serial: str, row: int, apart: Apart, display: Display, jobs: tuple[tuple[int, date | None], ...]
) -> Cause:
    differs = [component for component in range(4) if effects.q[row, component] <= FALSE_RATE]
    seen = [Observation("for", _reads(effects, serial, row, component, display)) for component in differs]
    side: Side = "open"
    if not apart.returns:
        seen.append(Observation("open", say("asset.seen.off.no_return", name=serial)))
    else:
        side = "for" if apart.stand < apart.returns else "open"
        text = say(
            "asset.seen.off.returns",
            name=serial,
            n=count(apart.returns),
            of=count(apart.all_returns),
            stand=count(apart.stand),
        )
        seen.append(Observation("for" if side == "for" else "against", text))
    runs = say("asset.seen.off.runs", n=count(len(apart.run)), of=counted(apart.of, "run"))
    seen.append(Observation("open", runs))
    chance = float(np.min(effects.q[row, differs]))
    order = ("for", "against", "open")
    return Cause(KEY, side, tuple(sorted(seen, key=lambda one: order.index(one.side))), chance, jobs, serial)


def _reads(effects: Effects, serial: str, row: int, component: int, display: Display) -> str:
    raw, low, high = (
        display.show(float(part[row, component]), QUANTITIES[component])
        for part in (effects.raw, effects.low, effects.high)
    )
    unit = display.unit(QUANTITIES[component])
    return say(
        "asset.seen.off.reads",
        name=serial,
        component=component_name(component).lower(),
        size=f"{number(abs(raw), component, display, signed=False)} {unit}",
        way=say("people.effects.high" if raw > 0 else "people.effects.low"),
        low=number(low, component, display),
        high=f"{number(high, component, display)} {unit}",
        n=counted(int(effects.jobs[row]), "run"),
    )


def off_mark(history: History, row: int, display: Display) -> str:
    """Say that what a job left was read by an instrument that reads off, and the ratio with that taken out; else blank.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    row : int
        Row of the job; below 0 for none. [unitless]
    display : Display
        Units to show. [unitless]
    """
    instrument = int(row_of(history.jobs, "instrument", row)) if row >= 0 else -1
    if instrument < 0:
        return ""
    effects = effects_for(history, runs_for(history), "instrument")
    off = shown_off(effects, FALSE_RATE)
    if not off[instrument].any() or np.isnan(row_of(history.jobs, "left_ratio", row)):
        return ""
    component = int(np.nanargmin(effects.q[instrument]))
    without = float(ratio_without(history.jobs, np.array([row]), "left", off)[0])
    raw = display.show(float(effects.raw[instrument, component]), QUANTITIES[component])
    return say(
        "due.left_off",
        name=history.instruments[instrument],
        component=say(f"component.short.{COMPONENTS[component]}"),
        size=f"{number(abs(raw), component, display, signed=False)} {display.unit(QUANTITIES[component])}",
        way=say("due.left_off.high" if raw > 0 else "due.left_off.low"),
        ratio=ratio(without),
    )


def row_of_entry(history: History, entry: int) -> int:
    """Give the row of the job that stands in an entry; −1 where the history does not hold it."""
    found = np.flatnonzero(history.jobs.entry == entry)
    return int(found[0]) if len(found) else -1
