"""What every page asks first: which site, which units, which day, and the site's history.

The columns and the runs are kept by the number of the last entry, so a
page of an unchanged book computes nothing twice.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass
from datetime import UTC, date, datetime
from threading import Lock

from dashboard.context import Context, context
from dashboard.place import Place, read_display, read_place, read_site
from models.history.columns import History
from models.history.runs import Runs, runs_of
from models.units import Display
from models.values.limits import LimitSet
from models.values.story import Site

KEPT = 8
"""Runs of so many histories are kept."""

_runs: OrderedDict[int, tuple[History, Runs]] = OrderedDict()
_lock = Lock()


@dataclass(frozen=True, slots=True)
class Scene:
    """What a page stands on; ``site`` is ``None`` in a book without one."""

    place: Place
    site: Site | None
    sites: tuple[Site, ...]
    display: Display
    today: date
    now_us: int
    problems: tuple[str, ...]

    @property
    def history(self) -> History:
        """Give the history of the site, as of the last entry."""
        return context().book.history(self.required.site_id)

    @property
    def runs(self) -> Runs:
        """Give the runs of the history."""
        return runs_for(self.history)

    @property
    def limit_set(self) -> LimitSet | None:
        """Give the limit set that is in force today."""
        return context().book.limit_set(self.required.site_id)

    @property
    def required(self) -> Site:
        """Give the site, where the caller knows that there is one."""
        if self.site is None:
            raise LookupError("this book has no site")
        return self.site


def scene(pathname: str | None, search: str | None) -> Scene:
    """Read an address and find what it speaks of.

    Parameters
    ----------
    pathname, search : str or None
        Path and query of the address, as the browser has them. [unitless]
    """
    here: Context = context()
    place = read_place(pathname, search)
    sites = here.book.sites()
    site = read_site(place, sites)
    now = here.clock().astimezone(UTC)
    if site.value is None:
        return Scene(place, None, sites, Display(), now.date(), _us(now), (site.problem,))
    display = read_display(place, site.value)
    return Scene(
        place, site.value, sites, display.value, here.today(site.value.zone), _us(now), (site.problem, display.problem)
    )


def _us(now: datetime) -> int:
    return round(now.timestamp() * 1_000_000)


def runs_for(history: History) -> Runs:
    """Give the runs of a history; kept as long as the very same columns are asked for."""
    key = id(history)
    with _lock:
        kept = _runs.get(key)
        # An id is given again after its object is gone, so the object itself is compared.
        if kept is not None and kept[0] is history:
            _runs.move_to_end(key)
            return kept[1]
    runs = runs_of(history.jobs, history.breaks)
    with _lock:
        _runs[key] = (history, runs)
        while len(_runs) > KEPT:
            _runs.popitem(last=False)
    return runs
