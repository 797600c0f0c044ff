"""What the book holds of jobs by their numbers, field by field as a file names them: to say in what a row differs."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

import sqlalchemy as sa

from models.tables.base import to_microseconds
from models.tables.jobs import JobRow
from models.tables.people import InstrumentRow

_AT_ONCE: Final = 500
_FEET: Final = {"soft_before": "soft_before", "soft_after": "soft_after", "move_v": "moves_v", "move_h": "moves_h"}
_TEMPERATURES: Final = {f"temp_{what}": f"temp_{what}_c" for what in ("stationary", "movable", "ambient")}
_MEASURED: Final = tuple(
    f"{stage}_{part}_{axis}" for stage in ("found", "left", "target") for axis in "vh" for part in ("offset", "angle")
)
_TEXTS: Final = ("reason", "method", "work_order", "notes", "reviewer")


@dataclass(frozen=True, slots=True)
class HeldJob:
    """The newest version of a job: its entry, whether it is void, machine, moment [µs], and its values by the keys of fields.

    Feet stand under the prefix of their fields, as the list that is stored.
    """

    entry: int
    void: bool
    asset_id: int
    performed_us: int
    values: Mapping[str, Any]


def held_jobs(connection: sa.Connection, site_id: int, refs: Iterable[str]) -> dict[str, HeldJob]:
    """Give the newest version of each job that bears, or bore, one of some numbers.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    site_id : int
        Number of the site. [unitless]
    refs : iterable of str
        The numbers. [unitless]
    """
    wanted, found = list(refs), dict[str, HeldJob]()
    for start in range(0, len(wanted), _AT_ONCE):
        bears = (JobRow.site_id == site_id, JobRow.ref.in_(wanted[start : start + _AT_ONCE]))
        asked = sa.select(JobRow.ref, JobRow.job_id).where(*bears).order_by(JobRow.entry)
        jobs = {str(row[0]): int(row[1]) for row in connection.execute(asked)}
        question = (
            sa.select(JobRow.__table__, InstrumentRow.serial)
            .outerjoin(InstrumentRow, InstrumentRow.id == JobRow.instrument_id)
            .where(
                JobRow.site_id == site_id,
                sa.or_(
                    JobRow.entry.in_(set(jobs.values())),
                    sa.and_(JobRow.supersedes.is_not(None), JobRow.job_id.in_(set(jobs.values()))),
                ),
            )
            .order_by(JobRow.entry)
        )
        newest = {row["job_id"]: row for row in connection.execute(question).mappings()}
        found |= {ref: _held(newest[job_id]) for ref, job_id in jobs.items()}
    return found


def _held(row: sa.RowMapping) -> HeldJob:
    values: dict[str, Any] = {name: row[name] for name in (*_MEASURED, *_TEXTS, "hours_run")}
    values |= {key: row[name] for key, name in _TEMPERATURES.items()}
    values |= {name: tuple(_listed(row[name])) for name in ("people", "checks")}
    values |= {prefix: tuple(_listed(row[name])) for prefix, name in _FEET.items()}
    values["instrument"] = row["serial"]
    return HeldJob(row["entry"], bool(row["void"]), row["asset_id"], to_microseconds(row["performed_us"]), values)


def _listed(told: Any) -> list[Any]:
    return json.loads(told) if isinstance(told, str) else list(told or ())
