"""The newest version of each job, by the number of its entry: how a program finds its job again, and what is new since it last asked."""

from __future__ import annotations

import sqlalchemy as sa

from models.store.entries import versions_of
from models.store.story import read_lines
from models.tables.declared import aliased
from models.tables.jobs import JobRow
from models.values.entry import JobFilter, JobPage
from models.values.story import Site


def newest_jobs(connection: sa.Connection, site: Site, asked: JobFilter, *, upto: int, most: int) -> JobPage:
    """Give a page of the newest versions of jobs, void ones too, the oldest entry first.

    A job that is amended while somebody turns the pages gets a larger number: it comes again, and none is left out.
    Job numbers, machines and entries have an index; work orders have none, and are looked for in what else is asked.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    site : Site
        The site. [unitless]
    asked : JobFilter
        Which jobs. [unitless]
    upto : int
        The last entry that counts. [unitless]
    most : int
        Longest page. [unitless]
    """
    site_id, job, later = site.site_id, JobRow, aliased(JobRow)
    overtaken = sa.exists().where(later.site_id == site_id, later.supersedes == job.entry).correlate(job)
    wanted = sa.select(job.entry).where(job.site_id == site_id, job.entry > asked.since, job.entry <= upto, ~overtaken)
    if asked.ref:
        wanted = wanted.where(job.entry.in_(versions_of(site_id, asked.ref)))
    if asked.work_order:
        wanted = wanted.where(job.work_order == asked.work_order)
    if asked.machines:
        wanted = wanted.where(job.asset_id.in_(asked.machines))
    found = list(connection.scalars(wanted.order_by(job.entry).limit(most + 1)))
    return JobPage(tuple(read_lines(connection, site, found[:most])), len(found) > most)
