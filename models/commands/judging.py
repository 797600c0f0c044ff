"""The judgement that is stored with a job: the same for an imported sheet and for a job that is typed.

A job is judged by the limits in force on its day, for the machine as it was
described on that day.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from zoneinfo import ZoneInfo

import numpy as np

from models.maths.limits import limit_ratio, limits_for
from models.store.known import AdoptedSet, in_force
from models.values.asset import Asset
from models.values.job import Job
from models.values.kinds import Coupling
from models.values.limits import LimitsGiven


class Judge:
    """Gives the limits of a job; remembers what it has looked up, for an import asks a million times."""

    def __init__(self, sets: tuple[AdoptedSet, ...], zone: ZoneInfo) -> None:
        self._sets = sets
        self._zone = zone
        self._in_force: dict[date, AdoptedSet | None] = {}
        self._given: dict[tuple[int, Coupling, float | None], LimitsGiven] = {}

    def day(self, job: Job) -> date:
        """Give the day of a job on the site's calendar."""
        return job.performed_at.astimezone(self._zone).date()

    def adopted(self, job: Job) -> AdoptedSet | None:
        """Give the limit set in force on the day of a job."""
        day = self.day(job)
        if day not in self._in_force:
            self._in_force[day] = in_force(self._sets, day)
        return self._in_force[day]

    def entry_on(self, day: date) -> int | None:
        """Give the entry of the limit set in force on a day of the site's calendar."""
        if day not in self._in_force:
            self._in_force[day] = in_force(self._sets, day)
        adopted = self._in_force[day]
        return None if adopted is None else adopted.entry

    def limits(self, job: Job, asset: Asset) -> tuple[int | None, LimitsGiven]:
        """Give the entry of the set in force on the day of a job, and the limits that it gives.

        Parameters
        ----------
        job : Job
            The job. [as stored]
        asset : Asset
            The machine as it was that day. [as stored]
        """
        return self.limits_on(self.day(job), asset)

    def limits_on(self, day: date, asset: Asset) -> tuple[int | None, LimitsGiven]:
        """Give the entry of the set in force on a day of the site's calendar, and the limits that it gives a machine."""
        if day not in self._in_force:
            self._in_force[day] = in_force(self._sets, day)
        adopted = self._in_force[day]
        if adopted is None:
            return None, LimitsGiven()
        key = (adopted.entry, asset.coupling, asset.limit_speed_rpm)
        if key not in self._given:
            self._given[key] = limits_for(adopted.limit_set, asset.coupling, asset.limit_speed_rpm)
        return adopted.entry, self._given[key]


def version_on(versions: Sequence[Asset], day: date) -> Asset:
    """Give the description that held on a day: the latest start by then, and of those the latest entry.

    Parameters
    ----------
    versions : sequence of Asset
        At least one, in order of entry. [as stored]
    day : date
        The day. [unitless]

    Returns
    -------
    Asset
        A day before the first start is served by the earliest description.
    """
    best = versions[0]
    for version in versions:
        start, best_start = version.valid_from or date.min, best.valid_from or date.min
        if start <= day and (start >= best_start or best_start > day):
            best = version
    return best


def ratios(
    jobs: Sequence[Job], assets: Sequence[Asset], limits: Sequence[LimitsGiven]
) -> tuple[list[float | None], list[float | None]]:
    """Give the limit ratios of jobs, as-found and as-left.

    Parameters
    ----------
    jobs : sequence of Job
        The jobs. [as stored]
    assets : sequence of Asset
        The machine of each as it was that day. [as stored]
    limits : sequence of LimitsGiven
        The limits of each. [mm, mm/m]

    Returns
    -------
    tuple of two lists of float or None
        Ratios as-found and as-left; ``None`` where nothing was measured or nothing is judged. [unitless]
    """
    found = [None if job.found is None else job.found.as_tuple() for job in jobs]
    left = [None if job.left is None else job.left.as_tuple() for job in jobs]
    return ratios_of(found, left, [job.target.as_tuple() for job in jobs], assets, limits)


Four = tuple[float, float, float, float]


def ratios_of(
    found: Sequence[Four | None],
    left: Sequence[Four | None],
    targets: Sequence[Four],
    assets: Sequence[Asset],
    limits: Sequence[LimitsGiven],
) -> tuple[list[float | None], list[float | None]]:
    """Give the limit ratios of measurements that are plain numbers, as-found and as-left.

    Parameters
    ----------
    found, left : sequence of tuple or None
        Four numbers each; ``None`` where nothing was measured. [mm, mm/m]
    targets : sequence of tuple
        Four numbers each. [mm, mm/m]
    assets : sequence of Asset
        The machine of each as it was that day. [as stored]
    limits : sequence of LimitsGiven
        The limits of each. [mm, mm/m]

    Returns
    -------
    tuple of two lists of float or None
        As of :func:`ratios`. [unitless]
    """
    nan = float("nan")
    unknown = (nan, nan, nan, nan)
    target = np.array(targets)
    # The judge gives the same object for the same limits: each is turned into numbers once.
    distinct = {id(x): x for x in limits}
    place = {key: number for number, key in enumerate(distinct)}
    of = np.array([place[id(x)] for x in limits], dtype=np.intp)
    each_bound = [(x.offset_mm, x.angle_mm_m, x.flex_mm_m, x.soft_foot_mm) for x in distinct.values()]
    bounds = np.array(each_bound, dtype=np.float64)[of]
    each = np.array([x.each_axis for x in distinct.values()])[of]
    span = np.array([a.span_mm if a.coupling is Coupling.SPACER else None for a in assets], dtype=np.float64)
    result = []
    for stage in (found, left):
        measured = np.array([unknown if m is None else m for m in stage])
        values = limit_ratio(measured - target, bounds, each, span)
        result.append([None if value != value else value for value in values.tolist()])  # noqa: PLR0124 - NaN
    return result[0], result[1]
