"""What the People and instruments page shows of effects and repeatability: each with its interval, in alphabetical order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np

from dashboard.kept import holds, keep
from dashboard.words import say
from dashboard.writing import count, counted
from models.history.classes import group_series
from models.history.columns import FloatArray, History
from models.history.effects import FEWEST_JOBS, Effects, effects_of
from models.history.engine import study_of
from models.history.material import material_of
from models.history.repeatability import DEFAULT_ON, SHOWN_FROM, STATED_FROM, Repeatability
from models.history.runs import Runs
from models.units import Display, Quantity
from models.values.job import COMPONENTS

FALSE_RATE = 0.10
"""Accepted share of false statements among all that are made: as in ``models.history.engine.Choices``."""

QUANTITIES = (Quantity.OFFSET, Quantity.ANGULARITY) * 2


@dataclass(frozen=True, slots=True)
class EffectCell:
    """One component of one name: the estimate and its interval in the units of the page."""

    value: float
    low: float
    high: float
    differs: bool


@dataclass(frozen=True, slots=True)
class EffectLine:
    """One name; ``cells`` is empty where it has too few runs, or stands ``apart`` (see ``models.history.effects``)."""

    name: str
    runs: int
    cells: tuple[EffectCell, ...]
    apart: bool


@dataclass(frozen=True, slots=True)
class EffectsView:
    """Effects of instruments or of people, in alphabetical order; ``told`` are those that chance does not explain."""

    state: Literal["ok", "too_few"]
    lines: tuple[EffectLine, ...]
    compared: int
    told: tuple[str, ...]
    sentence: str


@dataclass(frozen=True, slots=True)
class RepeatLine:
    """Repeatability of one component; ``measured`` and ``interval`` are '–' without repeats."""

    component: str
    stated: str
    measured: str
    interval: str
    source: str


@dataclass(frozen=True, slots=True)
class RepeatView:
    """How well one reading is known."""

    sentence: str
    lines: tuple[RepeatLine, ...]


def effects_for(history: History, runs: Runs, who: Literal["instrument", "person"]) -> Effects:
    """Give the effects of a site's instruments or people; kept as long as the history is the same.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    runs : Runs
        Its runs. [unitless]
    who : str
        ``'instrument'`` or ``'person'``. [unitless]
    """

    def make() -> Effects:
        jobs = history.jobs
        if holds(history, "study"):
            study = keep(history, "study", lambda: study_of(history))  # it is held: nothing is computed here
            material, grouping = study.material, study.grouping
        else:
            material = material_of(jobs, history.breaks, runs, history.assets)
            grouping = group_series(history.assets.speed_class[material.series_asset], np.unique(material.series))
        column, names = (jobs.instrument, history.instruments) if who == "instrument" else (jobs.person, history.people)
        return effects_of(runs, material, grouping, column, len(names))

    return keep(history, ("effects", who), make)


def build(
    effects: Effects, names: Sequence[str], display: Display, who: Literal["instrument", "person"]
) -> EffectsView:
    """Put effects into words.

    Parameters
    ----------
    effects : Effects
        One row a name. [mm, mm/m, mm, mm/m]
    names : sequence of str
        The names. [unitless]
    display : Display
        Units of the page. [unitless]
    who : str
        ``'instrument'`` or ``'person'``. [unitless]
    """
    order = np.array(sorted(range(len(names)), key=lambda i: names[i].casefold()), dtype=np.int64)
    lines = tuple(_line(effects, names, int(row), display) for row in order)
    compared = sum(bool(line.cells) for line in lines)
    if compared < 2:
        return EffectsView("too_few", lines, compared, (), say("people.effects.none", fewest=FEWEST_JOBS))
    told = tuple(
        _told(line, component, display) for line in lines for component, cell in enumerate(line.cells) if cell.differs
    )
    if told:
        advice = "people.effects.suggests" if who == "instrument" else "people.effects.person"
        sentence = " ".join((*told, say(advice)))
    elif who == "instrument":
        sentence = say("people.effects.alike", n=counted(compared, "instrument"))
    else:
        sentence = say("people.effects.people_alike", n=counted(compared, "person"))
    return EffectsView("ok", lines, compared, told, sentence)


def _line(effects: Effects, names: Sequence[str], row: int, display: Display) -> EffectLine:
    if not np.isfinite(effects.raw[row]).all():
        return EffectLine(names[row], int(effects.jobs[row]), (), bool(effects.apart[row]))
    cells = []
    for component, quantity in enumerate(QUANTITIES):
        value, low, high = (float(part[row, component]) for part in (effects.raw, effects.low, effects.high))
        q = float(effects.q[row, component])
        value, low, high = (display.show(one, quantity) for one in (value, low, high))
        cells.append(EffectCell(value, low, high, differs=q <= FALSE_RATE))
    return EffectLine(names[row], int(effects.jobs[row]), tuple(cells), apart=False)


def component_name(component: int) -> str:
    """Give the name of a component, e.g. ``'Offset, vertical'``."""
    return say(f"component.{COMPONENTS[component]}")


def number(value: float, component: int, display: Display, *, signed: bool = True) -> str:
    """Write a number that is in the units of the page, with the digits that are worth showing, without its unit."""
    places = display.decimals(QUANTITIES[component])
    shown = round(value, places) + 0.0
    return (f"{shown:+.{places}f}" if signed and shown else f"{shown:.{places}f}").replace("-", "−")


def _told(line: EffectLine, component: int, display: Display) -> str:
    cell, unit = line.cells[component], display.unit(QUANTITIES[component])
    size = number(abs(cell.value), component, display, signed=False)
    return say(
        "people.effects.differs",
        name=line.name,
        component=component_name(component).lower(),
        size=f"{size} {unit}",
        way=say("people.effects.high") if cell.value > 0 else say("people.effects.low"),
        low=number(cell.low, component, display),
        high=f"{number(cell.high, component, display)} {unit}",
    )


def repeat_view(repeatability: Repeatability, display: Display) -> RepeatView:
    """Say how well one reading is known, and where that comes from.

    Parameters
    ----------
    repeatability : Repeatability
        From repeats, or the default. [mm, mm/m, mm, mm/m]
    display : Display
        Units of the page. [unitless]
    """
    set_on = date.fromisoformat(DEFAULT_ON)
    text = _repeat_sentence(repeatability, f"{set_on.day} {say(f'month.short.{set_on.month}')} {set_on.year}")
    lines = []
    for component, quantity in enumerate(QUANTITIES):
        places = display.decimals(quantity) + 1  # a standard deviation is smaller than what it is of
        unit = display.unit(quantity)

        def shown(values: FloatArray, at: int = component, of: Quantity = quantity, digits: int = places) -> str:
            return f"{display.show(float(values[at]), of):.{digits}f}"

        known = bool(np.isfinite(repeatability.measured[component]))
        default = say("people.repeat.from.default_offset" if component % 2 == 0 else "people.repeat.from.default_angle")
        lines.append(
            RepeatLine(
                component_name(component),
                f"{shown(repeatability.stated)} {unit}",
                f"{shown(repeatability.measured)} {unit}" if known else say("people.repeat.unknown"),
                say("write.interval", low=shown(repeatability.low), high=f"{shown(repeatability.high)} {unit}")
                if known
                else say("people.repeat.unknown"),
                say("people.repeat.from.repeats", df=counted(repeatability.df, "repeat"))
                if repeatability.from_repeats
                else default,
            )
        )
    return RepeatView(text, tuple(lines))


def _repeat_sentence(given: Repeatability, set_on: str) -> str:
    cut = say("people.repeat.cut.one") if given.cut == 1 else say("people.repeat.cut.many", n=count(given.cut))
    told = [cut] if given.cut else []
    if given.from_repeats:
        return " ".join([say("people.repeat.stated", df=counted(given.df, "repeat")), *told])
    if np.isfinite(given.measured).all():
        shown = say("people.repeat.shown", df=counted(given.df, "repeat"), stated=STATED_FROM, day=set_on)
        return " ".join([shown, *told])
    return say(
        "people.repeat.default", df=counted(given.df, "repeat"), shown=SHOWN_FROM, stated=STATED_FROM, day=set_on
    )


def few(lines: Sequence[EffectLine]) -> str:
    """Name those of whom nothing is said, with the reason; empty where there are none."""
    scarce = [line.name for line in lines if not line.cells and not line.apart]
    apart = [line.name for line in lines if line.apart]
    told = [say("people.effects.missing", fewest=FEWEST_JOBS, names=", ".join(scarce))] if scarce else []
    return " ".join([*told, *([say("people.effects.apart", names=", ".join(apart))] if apart else [])])
