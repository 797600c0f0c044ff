"""What every page asks first: which site, which units, which day, and the site's history.

The columns are kept by the number of the last entry, and with them what was
computed from them, so a page of an unchanged book computes nothing twice.  All
that a page asks is answered from one history, whatever is written meanwhile; of
a large book that is the last picture that is whole (``dashboard.pictures``).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime

from dashboard.auth.asking import lost_site
from dashboard.context import Context, context
from dashboard.kept import holds, keep
from dashboard.picture import StillReadingError, quick
from dashboard.place import Place, Read, read_display, read_file_place, read_place, read_site, shortened
from dashboard.prepared import runs_for
from dashboard.words import say
from models.errors import UnknownNameError
from models.history.columns import History
from models.history.engine import Study, study_of
from models.history.forecast import Recheck, recheck_of
from models.history.runs import Runs
from models.units import Display
from models.values.limits import LimitSet
from models.values.story import Site


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
    pinned: list[History] = field(default_factory=list)
    in_force: list[LimitSet | None] = field(default_factory=list)

    @property
    def history(self) -> History:
        """Give the history of the site; the same to all who ask in one scene."""
        if not self.pinned:
            here, site_id = context(), self.required.site_id
            picture = here.pictures.of(here.book, site_id)
            self.pinned.append(here.book.history(site_id) if picture is None else picture.history)
        return self.pinned[0]

    @property
    def runs(self) -> Runs:
        """Give the runs of the history."""
        return runs_for(self.history)

    @property
    def study(self) -> Study:
        """Give everything that the history says, with the choices of the project."""
        return study_for(self.history)

    @property
    def estimates_until(self) -> int | None:
        """Give the entry up to which the estimates over all machines go; ``None`` where that is as far as everything else."""
        history = self.history
        study = study_for(history) if holds(history, "study") else None
        return None if study is None or study.whole else study.fleet.until

    @property
    def limit_set(self) -> LimitSet | None:
        """Give the limit set that is in force today; the same to all who ask in one scene."""
        if not self.in_force:
            self.in_force.append(context().book.limit_set(self.required.site_id))
        return self.in_force[0]

    @property
    def said(self) -> tuple[str, ...]:
        """Give what stands above the page: what of its address could not be read, and how far it is behind the book.

        Ask when the page has its history: only then is it known which one is shown.
        """
        here = context()
        behind = "" if self.site is None else here.pictures.behind(here.book, self.site.site_id)
        return (*self.problems, behind)

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
    return _scene(read_place(pathname, search))


def file_scene(pathname: str, search: str) -> Scene:
    """Read the address of a file and find what it speaks of.

    Parameters
    ----------
    pathname, search : str
        Path and query of the address. [unitless]

    Raises
    ------
    UnknownNameError
        If it names a site that there is not, or not for who asks: another site's file would be taken for that one.
    """
    place = read_file_place(pathname, search)
    seen = _scene(place)
    if seen.site is not None and read_site(place, seen.sites).problem:
        if (lost := lost_site(place)) is not None:
            raise UnknownNameError(say("files.lost_site", asked=lost.code), remedy=say("problem.site.lost.remedy"))
        raise UnknownNameError(
            say("files.unknown_site", asked=shortened(place.get("site"))), remedy=say("files.unknown_site.remedy")
        )
    return seen


def _scene(place: Place) -> Scene:
    here: Context = context()
    sites = here.book.sites()
    site = read_site(place, sites)
    now = here.clock().astimezone(UTC)
    if site.value is None:
        return Scene(place, None, sites, Display(), now.date(), _us(now), (site.problem,))
    display = read_display(place, site.value)
    problems = (_about_site(place, site), display.problem, here.copied)
    return Scene(place, site.value, sites, display.value, here.today(site.value.zone), _us(now), problems)


def _about_site(place: Place, read: Read[Site | None]) -> str:
    """Say that the site of an address is not shown: there is none such here, or who asks has no role at it any more."""
    if not read.problem or read.value is None or (lost := lost_site(place)) is None:
        return read.problem
    said = say("problem.site.lost", asked=lost.code, used=read.value.code)
    return f"{said} {say('problem.site.lost.remedy')}"


def _us(now: datetime) -> int:
    return round(now.timestamp() * 1_000_000)


def study_for(history: History) -> Study:
    """Give the study of a history; see :func:`kept`.

    Raises
    ------
    StillReadingError
        If the history is long, and its study is being made.
    """
    if not quick(len(history.jobs)) and not holds(history, "study"):
        raise StillReadingError(say("picture.no_study"), remedy=say("picture.reading.remedy"))
    return keep(history, "study", lambda: study_of(history))


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
    return keep(history, f"recheck {risk:g}", lambda: recheck_of(study.standing, risk, study.choices.site_months))


def recheck_known(history: History, risk: float) -> Recheck | None:
    """Give the same where it is there already: for one machine alone it is quicker to work out only that machine.

    Parameters
    ----------
    history : History
        The columns. [unitless]
    risk : float
        Accepted probability of being found over limit. [unitless]
    """
    own = risk == study_for(history).choices.risk
    return recheck_for(history, risk) if own or holds(history, f"recheck {risk:g}") else None
