"""The judgement that is stored with a job: the same for an imported sheet and for a job that is typed.

A job is judged by the limits in force on its day, for the machine as it was
described on that day.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from zoneinfo import ZoneInfo

from models.maths.judged import limits_for, ratio_of
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
    found_ratios: list[float | None] = []
    left_ratios: list[float | None] = []
    for stage, result in ((found, found_ratios), (left, left_ratios)):
        for measured, target, asset, given in zip(stage, targets, assets, limits, strict=True):
            if measured is None:
                result.append(None)
                continue
            span = asset.span_mm if asset.coupling is Coupling.SPACER else None
            deviation = (
                measured[0] - target[0],
                measured[1] - target[1],
                measured[2] - target[2],
                measured[3] - target[3],
            )
            result.append(ratio_of(deviation, given, span))
    return found_ratios, left_ratios
