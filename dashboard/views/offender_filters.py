"""The filters of the repeat offenders: what the address asks for, and what can be asked for."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dashboard.place import Place, shortened
from dashboard.words import say
from models.history.columns import BoolArray, History, TextArray
from models.history.runs import Runs

SHORT, SPACER = "short", "spacer"
COUPLINGS = {SHORT: "coupling.short flexible", SPACER: "coupling.spacer"}
"""How a coupling is asked for, and the key of its name."""

NAMES = {
    "area": "offenders.filter.area",
    "coupling": "offenders.filter.coupling",
    "instrument": "offenders.filter.instrument",
    "person": "offenders.filter.person",
}
"""The filters beside window and speed class: name in the address, and key of the label."""

MOST_OPTIONS = 40
"""Longest row of options; what the address asks for holds all the same."""


@dataclass(frozen=True, slots=True)
class Filters:
    """What is asked for; an empty text is all of it.

    ``area`` and ``coupling`` are the machine's of today; ``instrument`` and ``person``
    are those of the visit that left the machine as it then drifted.
    """

    area: str = ""
    coupling: str = ""
    instrument: str = ""
    person: str = ""

    @property
    def any(self) -> bool:
        """Tell whether anything is asked for."""
        return bool(self.area or self.coupling or self.instrument or self.person)


@dataclass(frozen=True, slots=True)
class Options:
    """What can be asked for: value in the address and text, for each filter."""

    of: dict[str, tuple[tuple[str, str], ...]]


def options_of(history: History) -> Options:
    """Give what can be asked for in a history."""
    areas = sorted({str(area) for area in history.assets.area if area})
    return Options(
        {
            "area": tuple((area, area) for area in areas[:MOST_OPTIONS]),
            "coupling": tuple((name, say(key)) for name, key in COUPLINGS.items()),
            "instrument": tuple((serial, serial) for serial in sorted(history.instruments)[:MOST_OPTIONS]),
            "person": tuple((name, name) for name in sorted(history.people)[:MOST_OPTIONS]),
        }
    )


def read_filters(place: Place, history: History) -> tuple[Filters, tuple[str, ...]]:
    """Read the filters from an address, with a sentence on each that nothing answers to."""
    known: dict[str, set[str]] = {
        "area": {str(area) for area in history.assets.area},
        "coupling": set(COUPLINGS),
        "instrument": set(history.instruments),
        "person": set(history.people),
    }
    values, wrong = {}, []
    for name, label in NAMES.items():
        asked = place.get(name)
        if asked and asked not in known[name]:
            wrong.append(say("offenders.problem.filter", asked=shortened(asked), label=say(label)))
            asked = ""
        values[name] = asked
    return Filters(**values), tuple(wrong)


def keep_runs(history: History, runs: Runs, speed: int | None, filters: Filters) -> BoolArray:
    """Tell which runs are asked for.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    runs : Runs
        Its runs. [unitless]
    speed : int or None
        Speed class of today; all where ``None``. [unitless]
    filters : Filters
        The other filters. [unitless]
    """
    assets = history.assets
    machines = np.ones(len(assets), dtype=np.bool_)
    if speed is not None:
        machines &= assets.speed_class == speed
    if filters.area:
        machines &= _equal(assets.area, filters.area)
    if filters.coupling:
        machines &= assets.spacer == (filters.coupling == SPACER)
    keep = machines[runs.asset]
    for asked, names, column in (
        (filters.instrument, history.instruments, history.jobs.instrument),
        (filters.person, history.people, history.jobs.person),
    ):
        if asked:
            keep &= column[runs.start_row] == names.index(asked)
    return np.asarray(keep, dtype=np.bool_)


def _equal(texts: TextArray, wanted: str) -> BoolArray:
    return np.asarray(texts == wanted, dtype=np.bool_)
