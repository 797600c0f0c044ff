"""What an amendment has to ask of the book: whose a job is, and who holds a job number."""

from __future__ import annotations

import sqlalchemy as sa

from models.store.known import current_tag, on_day, today
from models.tables.jobs import JobRow


def tag_of_entry(connection: sa.Connection, site_id: int, entry: int) -> str | None:
    """Give the tag of the asset whose job an entry records or amends; ``None`` where it is no such entry."""
    question = sa.select(current_tag(JobRow.asset_id)).where(JobRow.site_id == site_id, JobRow.entry == entry)
    tag: str | None = connection.execute(question, on_day(today(connection, site_id))).scalar()
    return tag


def ref_of_entry(connection: sa.Connection, site_id: int, entry: int) -> str | None:
    """Give the job number that an entry says; ``None`` where it is no entry of a job."""
    question = sa.select(JobRow.ref).where(JobRow.site_id == site_id, JobRow.entry == entry)
    ref: str | None = connection.execute(question).scalar()
    return ref


def holder_of_ref(connection: sa.Connection, site_id: int, ref: str) -> tuple[int, int, bytes, bool] | None:
    """Give the job, the entry, the content of the newest version that bears a job number, and whether that is void; ``None`` if it is free."""
    question = (
        sa.select(JobRow.job_id, JobRow.entry, JobRow.content, JobRow.void)
        .where(JobRow.site_id == site_id, JobRow.ref == ref)
        .order_by(JobRow.entry.desc())
        .limit(1)
    )
    row = connection.execute(question).first()
    return None if row is None else (row[0], row[1], bytes(row[2]), bool(row[3]))
