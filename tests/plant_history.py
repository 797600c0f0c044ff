"""The invented plant as columns without a database: the same as through files and import, but in a moment."""

from __future__ import annotations

from collections import defaultdict
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from models.commands.judging import ratios
from models.history.columns import (
    REASONS,
    UNKNOWN,
    AssetColumns,
    BreakColumns,
    History,
    IntArray,
    JobColumns,
    TextArray,
    speed_class_of,
)
from models.history.months import month_of
from models.maths.judged import limits_for
from models.maths.limits import FloatArray
from models.maths.soft_foot import spread
from models.values.asset import Asset
from models.values.description import version_on
from models.values.job import FeetValues, Job
from models.values.kinds import Coupling
from models.values.limits import LimitSet
from seed_data.generate import Plant

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def history_of(plant: Plant, limit_set: LimitSet) -> History:
    """Give the columns that the reader would give after the plant's files were imported.

    Parameters
    ----------
    plant : Plant
        The invented plant. [unitless]
    limit_set : LimitSet
        Limits in force from the first day on. [unitless]
    """
    versions: dict[str, list[Asset]] = defaultdict(list)
    for asset in plant.assets:
        versions[asset.tag].append(asset)
    place = {tag: number for number, tag in enumerate(versions)}
    jobs = sorted(plant.jobs, key=lambda job: (place[job.tag], job.performed_at))
    return History(
        head=1,
        zone=plant.zone,
        jobs=_jobs(plant, jobs, versions, place, limit_set),
        breaks=_breaks(plant, place),
        assets=_assets([version_on(told, date.max) for told in versions.values()], plant.until),
        people=tuple(person.name for person in plant.people),
        instruments=tuple(instrument.serial for instrument in plant.instruments),
    )


def _us(moment: datetime) -> int:
    return (moment.astimezone(UTC) - _EPOCH) // timedelta(microseconds=1)


def _numbers(values: list[tuple[float | None, ...]]) -> FloatArray:
    return np.array(values, dtype=np.float64)


def _soft(feet: list[FeetValues]) -> FloatArray:
    width = max(len(one.values) for one in feet)
    return spread(_numbers([one.values + (None,) * (width - len(one.values)) for one in feet]))


def _jobs(
    plant: Plant, jobs: list[Job], versions: dict[str, list[Asset]], place: dict[str, int], limit_set: LimitSet
) -> JobColumns:
    described = [version_on(versions[job.tag], job.performed_at.date()) for job in jobs]
    given = [limits_for(limit_set, asset.coupling, asset.limit_speed_rpm) for asset in described]
    found_ratio, left_ratio = ratios(jobs, described, given)
    people = {person.name: number for number, person in enumerate(plant.people)}
    serials = {instrument.serial: number for number, instrument in enumerate(plant.instruments)}
    performed = np.array([_us(job.performed_at) for job in jobs], dtype=np.int64)
    speed = _numbers([(asset.limit_speed_rpm,) for asset in described])[:, 0]
    spacer = np.array([asset.coupling is Coupling.SPACER for asset in described])
    unread = (None,) * 4
    first = [job.people[0] if job.people else "" for job in jobs]

    def column(name: str) -> FloatArray:
        return _numbers([(getattr(job, name),) for job in jobs])[:, 0]

    def stage(name: str) -> FloatArray:
        return _numbers([unread if (m := getattr(job, name)) is None else m.as_tuple() for job in jobs])

    return JobColumns(
        entry=np.arange(len(jobs)),
        job=np.arange(len(jobs)),
        asset=np.array([place[job.tag] for job in jobs], dtype=np.int64),
        performed_us=performed,
        month=month_of(performed, plant.zone),
        reason=np.array([REASONS.index(job.reason) for job in jobs], dtype=np.int64),
        found=stage("found"),
        left=stage("left"),
        target=stage("target"),
        limits=_numbers([(x.offset_mm, x.angle_mm_m, x.flex_mm_m, x.soft_foot_mm) for x in given]),
        each_axis=np.array([x.each_axis for x in given]),
        found_ratio=np.array(found_ratio, dtype=np.float64),
        left_ratio=np.array(left_ratio, dtype=np.float64),
        speed_rpm=speed,
        speed_class=speed_class_of(speed),
        spacer=spacer,
        span_mm=np.where(spacer, _numbers([(asset.span_mm,) for asset in described])[:, 0], np.nan),
        soft_before=_soft([job.soft_before for job in jobs]),
        soft_after=_soft([job.soft_after for job in jobs]),
        hours_run=column("hours_run"),
        temp_stationary_c=column("temp_stationary_c"),
        temp_movable_c=column("temp_movable_c"),
        temp_ambient_c=column("temp_ambient_c"),
        person=np.array([people.get(name, UNKNOWN) for name in first], dtype=np.int64),
        instrument=np.array([serials.get(job.instrument, UNKNOWN) for job in jobs], dtype=np.int64),
    )


def _breaks(plant: Plant, place: dict[str, int]) -> BreakColumns:
    zone = ZoneInfo(plant.zone)
    lines = sorted((place[b.tag], _us(datetime.combine(b.on, time(), zone))) for b in plant.breaks)
    grid: IntArray = np.array(lines, dtype=np.int64).reshape(-1, 2)
    return BreakColumns(entry=np.arange(len(grid)), asset=grid[:, 0], at_us=grid[:, 1])


def _assets(assets: list[Asset], until: date) -> AssetColumns:
    def text(name: str) -> TextArray:
        column = np.empty(len(assets), dtype=object)
        column[:] = [getattr(asset, name) for asset in assets]
        return column

    speed = _numbers([(asset.limit_speed_rpm,) for asset in assets])[:, 0]
    spacer = np.array([asset.coupling is Coupling.SPACER for asset in assets])
    return AssetColumns(
        asset=np.arange(len(assets)),
        tag=text("tag"),
        description=text("description"),
        area=text("area"),
        train=text("train"),
        driven=text("driven"),
        driver=text("driver"),
        criticality=text("criticality"),
        spacer=spacer,
        span_mm=np.where(spacer, _numbers([(asset.span_mm,) for asset in assets])[:, 0], np.nan),
        speed_rpm=speed,
        speed_class=speed_class_of(speed),
        feet_movable_mm=_numbers([(asset.feet_movable_mm[0], asset.feet_movable_mm[-1]) for asset in assets]),
        retired=np.array([asset.retired is not None and asset.retired <= until for asset in assets]),
    )
