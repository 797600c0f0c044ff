"""What jobs that count were judged by."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from models.tables.declared import aliased
from models.tables.jobs import JobRow
from models.values.kinds import Coupling

_AT_ONCE = 500
"""How many machines go into one question; engines limit the number of parameters."""


@dataclass(frozen=True, slots=True)
class JudgedJob:
    """A job that counts: of which machine, when, and by which coupling, speed [rpm] and span [mm] it was judged."""

    asset_id: int
    performed_at: datetime
    coupling: Coupling
    speed_rpm: float | None
    span_mm: float | None


def judged_since(
    connection: sa.Connection, site_id: int, assets: Sequence[int], since: datetime
) -> Iterator[JudgedJob]:
    """Give the jobs of some machines from a moment on: the last version of each, void ones left out.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The book. [unitless]
    site_id : int
        The site. [unitless]
    assets : sequence of int
        Numbers of the machines. [unitless]
    since : datetime.datetime
        Aware moment. [unitless]
    """
    job, later = JobRow, aliased(JobRow)
    amended = sa.exists().where(later.supersedes == job.entry, later.site_id == job.site_id)
    for start in range(0, len(assets), _AT_ONCE):
        question = sa.select(job.asset_id, job.performed_at, job.coupling, job.speed_rpm, job.span_mm).where(
            job.site_id == site_id,
            job.asset_id.in_(assets[start : start + _AT_ONCE]),
            job.performed_at >= since,
            job.void.is_(False),
            ~amended,
        )
        for row in connection.execute(question):
            yield JudgedJob(row[0], row[1], Coupling(row[2]), row[3], row[4])
