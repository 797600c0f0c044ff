"""The plant's files: CSV in exactly the headings of the tool's template, and the planted truths as JSON."""

from __future__ import annotations

import csv
import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from pathlib import Path

from models.intake.fields import FEET, Table, fields_of
from models.units import Display
from models.values.asset import Asset, MachineBreak
from models.values.job import COMPONENTS, FeetValues, Job, Misalignment
from models.values.people import Instrument, Person
from seed_data.truths import Truth

DISPLAY = Display("mm", "°C")
"""The invented site reads millimetres and degrees Celsius."""

DECIMALS = {"offset_v": 3, "angle_v": 2, "offset_h": 3, "angle_h": 2}

Row = Asset | MachineBreak | Instrument | Person | Job


def write_table(folder: Path, rows: Sequence[Row]) -> Path:
    """Write one table as a CSV file (RFC 4180, UTF-8) that is named after it.

    Columns are those of the template, and the further ones (a third row of
    feet) that at least one row needs.

    Parameters
    ----------
    folder : Path
        Where to. [unitless]
    rows : sequence of assets, breaks, instruments, people or jobs
        At least one, all of one kind. [unitless]
    """
    table, texts = _texts(rows)
    fields = [f for f in fields_of(table) if f.in_template or any(row.get(f.key) for row in texts)]
    path = folder / f"{table}.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow([f.heading_with_unit(DISPLAY) for f in fields])
        writer.writerows([row.get(f.key, "") for f in fields] for row in texts)
    return path


def write_truths(
    path: Path, name: str, seed: int, until: date, truths: Iterable[Truth], ordinary: Sequence[str]
) -> None:
    """Write what was planted, and the tags at which nothing was, for tests that ask whether the tool finds it.

    Parameters
    ----------
    path : Path
        Where to. [unitless]
    name : str
        Name of the site. [unitless]
    seed : int
        Seed of the plant. [unitless]
    until : date
        Last day of the history. [unitless]
    truths : iterable of Truth
        What was planted. [unitless]
    ordinary : sequence of str
        Tags with ordinary scatter and nothing else. [unitless]
    """
    told = [
        {
            "cause": t.cause,
            "says": t.says,
            "tags": list(t.tags),
            "person": t.person,
            "instrument": t.instrument,
            "since": t.since.isoformat(),
            "until": t.until.isoformat() if t.until else None,
            "expected": t.expected,
            "size": t.size,
        }
        for t in truths
    ]
    book = {
        "invented": "Everything in this folder is made up; see the README of seed_data.",
        "site": name,
        "seed": seed,
        "until": until.isoformat(),
        "truths": told,
        "ordinary": list(ordinary),
    }
    path.write_text(json.dumps(book, ensure_ascii=False, indent=1) + "\n", encoding="utf-8", newline="\n")


def _texts(rows: Sequence[Row]) -> tuple[Table, list[Mapping[str, str]]]:
    if not rows:
        raise ValueError("A table without rows has no kind and is not written.")
    table = next(t for kind, t in _TABLES.items() if isinstance(rows[0], kind))
    return table, [_text(row) for row in rows]


_TABLES: dict[type, Table] = {
    Asset: Table.ASSETS,
    MachineBreak: Table.BREAKS,
    Instrument: Table.INSTRUMENTS,
    Person: Table.PEOPLE,
    Job: Table.JOBS,
}


def _text(row: Row) -> Mapping[str, str]:
    match row:
        case Asset():
            return _asset(row)
        case MachineBreak():
            return {"tag": row.tag, "on": row.on.isoformat(), "part": row.part.value, "why": row.reason}
        case Instrument():
            return {
                "serial": row.serial,
                "description": row.description,
                "calibrated": _day(row.calibrated),
                "due": _day(row.due),
            }
        case Person():
            return {"name": row.name, "qualification": row.qualification}
        case Job():
            return _job(row)


def _asset(asset: Asset) -> Mapping[str, str]:
    told = {
        "tag": asset.tag,
        "description": asset.description,
        "area": asset.area,
        "train": asset.train,
        "driven": asset.driven,
        "driver": asset.driver,
        "coupling": asset.coupling.value,
        "span": _number(asset.span_mm),
        "speed": _number(asset.speed_rpm),
        "speed_max": _number(asset.speed_max_rpm),
        "power": _number(asset.power_kw),
        "criticality": asset.criticality,
        "equipment_class": asset.equipment_class,
        "commissioned": _day(asset.commissioned),
        "retired": _day(asset.retired),
        "valid_from": _day(asset.valid_from),
    }
    for side, feet in (("movable", asset.feet_movable_mm), ("stationary", asset.feet_stationary_mm)):
        told |= {f"feet_{side}_{row}": _number(abs(x)) for row, x in enumerate(feet, start=1)}
    return told


def _job(job: Job) -> Mapping[str, str]:
    told = {
        "ref": job.ref,
        "tag": job.tag,
        "performed": f"{job.performed_at:%Y-%m-%d %H:%M}",
        "reason": job.reason.value,
        "people": "; ".join(job.people),
        "instrument": job.instrument,
        "method": job.method.value,
        "work_order": job.work_order,
        "temp_stationary": _number(job.temp_stationary_c),
        "temp_movable": _number(job.temp_movable_c),
        "temp_ambient": _number(job.temp_ambient_c),
        "hours_run": _number(job.hours_run),
        "checks": "; ".join(job.checks),
        "notes": job.notes,
        "reviewer": job.reviewer,
    }
    target = job.target if any(job.target.as_tuple()) else None
    for stage, values in (("found", job.found), ("left", job.left), ("target", target)):
        told |= _misalignment(stage, values)
    for prefix, feet, places in (
        ("soft_before", job.soft_before, 2),
        ("soft_after", job.soft_after, 2),
        ("move_v", job.moves_v, 3),
        ("move_h", job.moves_h, 2),
    ):
        told |= _feet(prefix, feet, places)
    return told


def _misalignment(stage: str, values: Misalignment | None) -> dict[str, str]:
    if values is None:
        return {}
    return {f"{stage}_{c}": f"{x:.{DECIMALS[c]}f}" for c, x in zip(COMPONENTS, values.as_tuple(), strict=True)}


def _feet(prefix: str, feet: FeetValues, places: int) -> dict[str, str]:
    known = zip(FEET, feet.values, strict=False)
    return {f"{prefix}_{foot}": f"{value:.{places}f}" for foot, value in known if value is not None}


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:g}" if value < 1e5 else f"{value:.0f}"


def _day(value: date | None) -> str:
    return value.isoformat() if value else ""
