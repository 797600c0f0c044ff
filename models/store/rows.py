"""Values to rows: plain tuples in the order of the columns, as the drivers take them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from models.tables.base import canonical_json, to_microseconds
from models.values.asset import Asset, MachineBreak
from models.values.decision import SIDES, DecisionRule, Decisions
from models.values.job import FeetValues, Job, Misalignment
from models.values.limits import LimitRow, LimitSet, LimitsGiven
from models.values.people import Instrument, Person

_NONE4 = (None, None, None, None)


def _day(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def asset_version_row(
    entry: int, site_id: int, asset_id: int, asset: Asset, typed: Mapping[str, str]
) -> tuple[Any, ...]:
    """Give the row of ``asset_version``."""
    return (
        entry,
        site_id,
        asset_id,
        _day(asset.valid_from),
        asset.tag,
        asset.description,
        asset.area,
        asset.train,
        asset.driven,
        asset.driver,
        str(asset.coupling),
        asset.span_mm,
        asset.speed_rpm,
        asset.speed_max_rpm,
        asset.power_kw,
        asset.criticality,
        asset.equipment_class,
        canonical_json(asset.feet_movable_mm),
        canonical_json(asset.feet_stationary_mm),
        _day(asset.commissioned),
        _day(asset.retired),
        canonical_json(dict(typed)),
    )


def break_row(entry: int, site_id: int, asset_id: int, broken: MachineBreak) -> tuple[Any, ...]:
    """Give the row of ``machine_break``."""
    return (entry, site_id, asset_id, _day(broken.on), str(broken.part), broken.reason)


def person_row(entry: int, site_id: int, person_id: int, person: Person) -> tuple[Any, ...]:
    """Give the row of ``person_version``."""
    return (entry, site_id, person_id, person.name, person.qualification, person.active)


def instrument_row(entry: int, site_id: int, instrument_id: int, instrument: Instrument) -> tuple[Any, ...]:
    """Give the row of ``instrument_version``."""
    return (
        entry,
        site_id,
        instrument_id,
        instrument.serial,
        instrument.description,
        _day(instrument.calibrated),
        _day(instrument.due),
    )


def limit_version_row(entry: int, site_id: int, limit_set_id: int, given: LimitSet) -> tuple[Any, ...]:
    """Give the row of ``limit_version``."""
    return (
        entry,
        site_id,
        limit_set_id,
        given.version,
        given.source,
        given.adopted_by,
        _day(given.adopted_on),
        given.starter,
        given.note,
    )


def limit_row_row(entry: int, number: int, site_id: int, row: LimitRow) -> tuple[Any, ...]:
    """Give the row of ``limit_row``."""
    coupling = None if row.coupling is None else str(row.coupling)
    return (
        entry, number, site_id, str(row.judged), coupling, row.above_rpm, row.upto_rpm,
        row.value, row.per_rpm, row.floor_rpm, str(row.combine),
    )  # fmt: skip


def _four(given: Misalignment | None) -> tuple[float | None, ...]:
    return _NONE4 if given is None else given.as_tuple()


def _feet(given: FeetValues) -> str:
    return canonical_json(given.values) if given.values else "[]"


def job_row(
    entry: int,
    site_id: int,
    asset_id: int,
    job: Job,
    asset: Asset,
    *,
    person_id: int | None,
    instrument_id: int | None,
    limit_entry: int | None,
    limits: LimitsGiven,
    ratios: tuple[float | None, float | None],
    content: bytes,
    job_id: int | None = None,
    supersedes: int | None = None,
    void: bool = False,
) -> tuple[Any, ...]:
    """Give the row of ``job``: what was said, what the machine was that day, and the verdict."""
    return (
        entry,
        site_id,
        job_id or entry,
        asset_id,
        supersedes,
        void,
        job.ref,
        to_microseconds(job.performed_at),
        job.zone,
        str(job.reason),
        person_id,
        canonical_json(job.people) if job.people else "[]",
        instrument_id,
        str(job.method),
        job.work_order,
        *_four(job.found),
        *_four(job.left),
        *_four(job.target),
        _feet(job.soft_before),
        _feet(job.soft_after),
        _feet(job.moves_v),
        _feet(job.moves_h),
        job.temp_stationary_c,
        job.temp_movable_c,
        job.temp_ambient_c,
        job.hours_run,
        canonical_json(job.checks) if job.checks else "[]",
        job.notes,
        job.reviewer,
        asset.limit_speed_rpm,
        str(asset.coupling),
        asset.span_mm,
        limit_entry,
        limits.offset_mm,
        limits.angle_mm_m,
        limits.flex_mm_m,
        limits.soft_foot_mm,
        limits.each_axis,
        *ratios,
        canonical_json(dict(job.typed)) if job.typed else "{}",
        content,
    )


def rule_row(entry: int, site_id: int, rule: DecisionRule) -> tuple[Any, ...]:
    """Give the row of ``decision_rule``."""
    return (entry, site_id, str(rule.rule), rule.confidence)


def decision_rows(entry: int, site_id: int, decisions: Decisions) -> list[tuple[Any, ...]]:
    """Give the rows of ``decision`` that belong to one version of a job."""
    return [
        (
            entry, side, site_id, str(one.rule.rule), one.rule.confidence,
            None if one.covariance is None else canonical_json(one.covariance), one.probability, str(one.verdict),
        )
        for side, one in zip(SIDES, (decisions.found, decisions.left), strict=True) if one is not None
    ]  # fmt: skip
