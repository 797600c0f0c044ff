"""The filters of the repeat offenders: what the address asks for, and what can be asked for."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass
from threading import Lock

import numpy as np

from dashboard.place import Place, shortened
from dashboard.strict import refuse
from dashboard.words import say
from models.history.columns import AssetColumns, History, IntArray
from models.history.looks import Looks

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

KEPT = 4
"""Areas are kept for so many sets of assets."""

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


Areas = tuple[tuple[str, ...], IntArray]
_areas: OrderedDict[int, tuple[AssetColumns, Areas]] = OrderedDict()
_lock = Lock()


def areas_of(assets: AssetColumns) -> Areas:
    """Give the areas of a site in the order of the alphabet, and the place of each machine's among them.

    Made once for the same assets: a new job changes no machine as a rule.

    Parameters
    ----------
    assets : AssetColumns
        The assets. [unitless]
    """
    with _lock:
        known = _areas.get(id(assets))
        # An id is given again after its object is gone, so the object itself is compared.
        if known is None or known[0] is not assets:
            texts = [str(area) for area in assets.area.tolist()]
            names = tuple(sorted(set(texts)))
            place = {name: index for index, name in enumerate(names)}
            known = _areas[id(assets)] = (assets, (names, np.array([place[text] for text in texts], dtype=np.int64)))
        _areas.move_to_end(id(assets))
        while len(_areas) > KEPT:
            _areas.popitem(last=False)
        return known[1]


def options_of(history: History) -> Options:
    """Give what can be asked for in a history."""
    areas = [area for area in areas_of(history.assets)[0] if area]
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
        "area": set(areas_of(history.assets)[0]),
        "coupling": set(COUPLINGS),
        "instrument": set(history.instruments),
        "person": set(history.people),
    }
    values, wrong = {}, []
    for name, label in NAMES.items():
        asked = place.get(name)
        if asked and asked not in known[name]:
            wrong.append(say("offenders.problem.filter", asked=shortened(asked), label=say(label)))
            refuse(wrong[-1], sorted(known[name])[:MOST_OPTIONS])
            asked = ""
        values[name] = asked
    return Filters(**values), tuple(wrong)


def keep_looks(history: History, looks: Looks, from_us: int | None, speed: int | None, filters: Filters) -> IntArray:
    """Give the looks that are asked for, rising.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    looks : Looks
        Its looks. [unitless]
    from_us : int or None
        Only looks that ended from then on, UTC; all where ``None``. [µs]
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
        names_of, member = areas_of(assets)
        machines &= member == (names_of.index(filters.area) if filters.area in names_of else -1)
    if filters.coupling:
        machines &= assets.spacer == (filters.coupling == SPACER)
    tests = [] if machines.all() else [looks.of_assets(machines)]
    if from_us is not None:
        tests.append(looks.ended_us >= from_us)
    for asked, names, column in (
        (filters.instrument, history.instruments, looks.instrument),
        (filters.person, history.people, looks.person),
    ):
        if asked:
            tests.append(column == np.int32(names.index(asked)))
    if not tests:
        return np.arange(len(looks), dtype=np.int64)
    return np.flatnonzero(np.logical_and.reduce(tests))
