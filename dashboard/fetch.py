"""What every page asks first: which site, which units, which day, and the site's history.

The columns are kept by the number of the last entry, and with them what was
computed from them, so a page of an unchanged book computes nothing twice.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from threading import Lock, RLock
from typing import Any, TypeVar

from dashboard.context import Context, context
from dashboard.place import Place, read_display, read_place, read_site
from models.history.columns import History
from models.history.engine import Study, study_of
from models.history.forecast import Recheck, recheck_of
from models.history.runs import Runs, runs_of
from models.units import Display
from models.values.limits import LimitSet
from models.values.story import Site

KEPT = 8
"""What was computed from so many histories is kept."""

KEPT_VALUES = 32
"""So many values are kept of each history; the one that nobody asked for the longest goes first."""

T = TypeVar("T")


@dataclass(slots=True)
class _Shelf:
    """What was computed from one history, by name, and a lock for each name that is being computed."""

    history: History
    values: OrderedDict[str, Any] = field(default_factory=OrderedDict)
    locks: dict[str, RLock] = field(default_factory=dict)


_shelves: OrderedDict[int, _Shelf] = OrderedDict()
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
    def study(self) -> Study:
        """Give everything that the history says, with the choices of the project."""
        return study_for(self.history)

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


def kept(history: History, name: str, make: Callable[[], T]) -> T:
    """Give what was computed from a history under a name; it is computed once, as long as the very same columns are asked for.

    Parameters
    ----------
    history : History
        The columns. [unitless]
    name : str
        What it is, with every choice that it depends on. [unitless]
    make : callable
        Computes it from nothing but the history and those choices. [unitless]
    """
    with _lock:
        shelf = _shelf_of(history)
        if name in shelf.values:
            shelf.values.move_to_end(name)
            found: T = shelf.values[name]
            return found
        lock = shelf.locks.setdefault(name, RLock())
    # Two readers that ask at once must not both compute: the second waits, and finds it on the shelf.
    with lock:
        with _lock:
            if name in shelf.values:
                waited: T = shelf.values[name]
                return waited
        value = make()
        with _lock:
            shelf.values[name] = value
            shelf.locks.pop(name, None)
            while len(shelf.values) > KEPT_VALUES:
                shelf.values.popitem(last=False)
    return value


def _shelf_of(history: History) -> _Shelf:
    key = id(history)
    shelf = _shelves.get(key)
    # An id is given again after its object is gone, so the object itself is compared.
    if shelf is None or shelf.history is not history:
        shelf = _shelves[key] = _Shelf(history)
    _shelves.move_to_end(key)
    while len(_shelves) > KEPT:
        _shelves.popitem(last=False)
    return shelf


def runs_for(history: History) -> Runs:
    """Give the runs of a history; see :func:`kept`."""
    return kept(history, "runs", lambda: runs_of(history.jobs, history.breaks))


def study_for(history: History) -> Study:
    """Give the study of a history; see :func:`kept`."""
    return kept(history, "study", lambda: study_of(history))


def recheck_for(history: History, risk: float) -> Recheck:
    """Give the re-check dates of a history for an accepted risk; see :func:`kept`.

    Parameters
    ----------
    history : History
        The columns. [unitless]
    risk : float
        Accepted probability of being found over limit. [unitless]
    """
    study = study_for(history)
    if risk == study.choices.risk:
        return study.recheck
    return kept(history, f"recheck {risk:g}", lambda: recheck_of(study.standing, risk, study.choices.site_months))
