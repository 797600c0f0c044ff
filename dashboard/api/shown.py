"""Values of the book as JSON: stored units, unrounded; what is unknown is ``null``."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import fields
from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from models.values.asset import Asset
from models.values.decision import Decision, DecisionRule
from models.values.entry import EntryLine
from models.values.job import COMPONENTS, FeetValues, Job, Misalignment
from models.values.limits import LimitsGiven
from models.values.story import JobLine, Site

Shown = dict[str, Any]

FOUR = {"offset_v": "offset_v_mm", "angle_v": "angle_v_mm_m", "offset_h": "offset_h_mm", "angle_h": "angle_h_mm_m"}
"""Names of the four components in the interface."""

FEET = {
    "soft_before": "soft_before_mm",
    "soft_after": "soft_after_mm",
    "moves_v": "moves_v_mm",
    "moves_h": "moves_h_mm",
}
"""Names of the lists of feet in the interface."""

PLAIN = ("temp_stationary_c", "temp_movable_c", "temp_ambient_c", "hours_run")
"""Numbers of a job whose names are the same inside and outside."""


def known(value: float | None) -> float | None:
    """Give a number; ``None`` for one that is not known."""
    return None if value is None or not math.isfinite(value) else float(value)


def moment(at: datetime, zone: str = "UTC") -> str:
    """Write a moment with its offset in a zone; in UTC where the offset of old times has seconds, which no standard allows."""
    local = at.astimezone(ZoneInfo(zone))
    offset = local.utcoffset()
    exact = offset is not None and offset.total_seconds() % 60 == 0
    return (local if exact else at.astimezone(UTC)).isoformat().replace("+00:00", "Z")


def on(day: date | None) -> str | None:
    """Write a day."""
    return None if day is None else day.isoformat()


def verdict(ratio: float | None) -> Shown | None:
    """Write a limit ratio with what it says."""
    value = known(ratio)
    return None if value is None else {"ratio": value, "verdict": "within" if value <= 1.0 else "over"}


def rule(of: DecisionRule) -> Shown:
    """Write a decision rule."""
    return {"rule": str(of.rule), "confidence": of.confidence}


def decision(one: Decision | None) -> Shown | None:
    """Write what was decided of one measurement."""
    if one is None:
        return None
    known = None if one.covariance is None else [list(row) for row in one.covariance]
    return {"verdict": str(one.verdict), "probability": one.probability, **rule(one.rule), "covariance": known}


def four(values: Misalignment | None) -> Shown | None:
    """Write the four components."""
    return None if values is None else {FOUR[name]: getattr(values, name) for name in COMPONENTS}


def feet(values: FeetValues) -> list[float | None]:
    """Write the values of the feet."""
    return list(values.values)


def job(said: Job) -> Shown:
    """Write what a job says, so that it can be sent as it is."""
    return {
        "ref": said.ref,
        "tag": said.tag,
        "performed_at": moment(said.performed_at, said.zone),
        "reason": str(said.reason),
        "people": list(said.people),
        "instrument": said.instrument or None,
        "method": str(said.method),
        "work_order": said.work_order,
        "found": four(said.found),
        "left": four(said.left),
        "target": four(said.target),
        **{outside: feet(getattr(said, inside)) for inside, outside in FEET.items()},
        **{name: getattr(said, name) for name in PLAIN},
        "checks": list(said.checks),
        "notes": said.notes,
        "reviewer": said.reviewer,
    }


def limits(given: LimitsGiven) -> Shown:
    """Write the limits of one machine."""
    return {field.name: getattr(given, field.name) for field in fields(given)}


def job_version(line: JobLine, site: Site) -> Shown:
    """Write one version of a job as it stands in the book."""
    return {
        "entry": line.entry,
        "first_entry": line.job_id,
        "site": site.code,
        "recorded_at": moment(line.recorded_at),
        "author": line.author,
        "job": job(line.job),
        "zone": line.job.zone,
        "limits": limits(line.limits),
        "limit_set": line.limit_set,
        "verdict_found": verdict(line.found_ratio),
        "verdict_left": verdict(line.left_ratio),
        "decision_found": decision(line.decisions.found),
        "decision_left": decision(line.decisions.left),
        "supersedes": line.supersedes,
        "superseded_by": line.superseded_by,
        "why": line.why_amended,
        "void": line.void,
        "source": line.source,
        "typed": dict(line.job.typed),
    }


def site_set(site: Site) -> Shown:
    """Write a site as it is set today."""
    return {
        "code": site.code,
        "name": site.name,
        "zone": site.zone,
        "length_unit": site.display.length,
        "temperature_unit": site.display.temperature,
        "interval_months": site.interval_months,
        "decision_rule": rule(site.rule or DecisionRule()),
    }


def described(asset: Asset) -> Shown:
    """Write a description of a machine."""
    said: Mapping[str, Any] = {field.name: getattr(asset, field.name) for field in fields(asset)}
    return {
        name: on(value) if isinstance(value, date) else list(value) if isinstance(value, tuple) else value
        for name, value in said.items()
    } | {"coupling": str(asset.coupling)}


def entry_line(line: EntryLine) -> Shown:
    """Write an entry as a line of the book."""
    return {
        "number": line.number,
        "at": moment(line.at),
        "author": line.author,
        "kind": str(line.kind),
        "name": line.name,
        "detail": line.detail,
        "why": line.why,
        "supersedes": line.supersedes,
        "superseded_by": line.superseded_by,
        "file_entry": line.file_entry,
        "row": line.row,
    }
