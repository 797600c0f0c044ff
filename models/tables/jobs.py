"""Jobs: one row a version; an amendment is a new row that supersedes the old one."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import sqlalchemy as sa

from models.tables.base import Base, Instant, Json, some_rows
from models.tables.declared import Mapped, mapped_column


class JobRow(Base):
    """One version of a job.

    ``job_id`` is the entry of the first version.  Offsets and feet in mm,
    angles in mm/m.  The asset's speed, coupling and span are those of the
    day, and the limits those that the set gave then: copied here because a
    verdict must be readable without knowing what changed since.  ``typed``
    keeps each number as typed.  ``content`` is the digest of what was said
    (not of who recorded it when), by which a second import is recognised.
    """

    __tablename__ = "job"
    __table_args__ = (
        some_rows("uq_job_site_id_ref", "site_id", "ref", unique=True, where="supersedes IS NULL"),
        sa.Index("ix_job_asset_id_performed_us", "asset_id", "performed_us"),
        some_rows("uq_job_supersedes", "supersedes", unique=True, where="supersedes IS NOT NULL"),
        some_rows("ix_job_instrument_id", "instrument_id", where="instrument_id IS NOT NULL"),
        some_rows("ix_job_person_id", "person_id", where="person_id IS NOT NULL"),
        sa.CheckConstraint("found_offset_v IS NOT NULL OR left_offset_v IS NOT NULL", name="measured"),
    )  # fmt: skip
    entry: Mapped[int] = mapped_column(
        sa.ForeignKey("entry.number", ondelete="RESTRICT"), primary_key=True, autoincrement=False
    )
    site_id: Mapped[int] = mapped_column(sa.ForeignKey("site.id", ondelete="RESTRICT"))
    job_id: Mapped[int] = mapped_column(sa.BigInteger)
    asset_id: Mapped[int] = mapped_column(sa.ForeignKey("asset.id", ondelete="RESTRICT"))
    supersedes: Mapped[int | None] = mapped_column(sa.BigInteger)
    void: Mapped[bool] = mapped_column(sa.Boolean)
    ref: Mapped[str] = mapped_column(sa.String(120))
    performed_at: Mapped[datetime] = mapped_column("performed_us", Instant)
    zone: Mapped[str] = mapped_column(sa.String(64))
    reason: Mapped[str] = mapped_column(sa.String(40))
    person_id: Mapped[int | None] = mapped_column(sa.ForeignKey("person.id", ondelete="RESTRICT"))
    people: Mapped[Any] = mapped_column(Json)
    instrument_id: Mapped[int | None] = mapped_column(sa.ForeignKey("instrument.id", ondelete="RESTRICT"))
    method: Mapped[str] = mapped_column(sa.String(40))
    work_order: Mapped[str] = mapped_column(sa.String(120))
    found_offset_v: Mapped[float | None] = mapped_column(sa.Double)
    found_angle_v: Mapped[float | None] = mapped_column(sa.Double)
    found_offset_h: Mapped[float | None] = mapped_column(sa.Double)
    found_angle_h: Mapped[float | None] = mapped_column(sa.Double)
    left_offset_v: Mapped[float | None] = mapped_column(sa.Double)
    left_angle_v: Mapped[float | None] = mapped_column(sa.Double)
    left_offset_h: Mapped[float | None] = mapped_column(sa.Double)
    left_angle_h: Mapped[float | None] = mapped_column(sa.Double)
    target_offset_v: Mapped[float] = mapped_column(sa.Double)
    target_angle_v: Mapped[float] = mapped_column(sa.Double)
    target_offset_h: Mapped[float] = mapped_column(sa.Double)
    target_angle_h: Mapped[float] = mapped_column(sa.Double)
    soft_before: Mapped[Any] = mapped_column(Json)
    soft_after: Mapped[Any] = mapped_column(Json)
    moves_v: Mapped[Any] = mapped_column(Json)
    moves_h: Mapped[Any] = mapped_column(Json)
    temp_stationary_c: Mapped[float | None] = mapped_column(sa.Double)
    temp_movable_c: Mapped[float | None] = mapped_column(sa.Double)
    temp_ambient_c: Mapped[float | None] = mapped_column(sa.Double)
    hours_run: Mapped[float | None] = mapped_column(sa.Double)
    checks: Mapped[Any] = mapped_column(Json)
    notes: Mapped[str] = mapped_column(sa.Text)
    reviewer: Mapped[str] = mapped_column(sa.String(120))
    speed_rpm: Mapped[float | None] = mapped_column(sa.Double)
    coupling: Mapped[str] = mapped_column(sa.String(40))
    span_mm: Mapped[float | None] = mapped_column(sa.Double)
    limit_entry: Mapped[int | None] = mapped_column(sa.ForeignKey("limit_version.entry", ondelete="RESTRICT"))
    limit_offset_mm: Mapped[float | None] = mapped_column(sa.Double)
    limit_angle_mm_m: Mapped[float | None] = mapped_column(sa.Double)
    limit_flex_mm_m: Mapped[float | None] = mapped_column(sa.Double)
    limit_soft_mm: Mapped[float | None] = mapped_column(sa.Double)
    limit_each_axis: Mapped[bool] = mapped_column(sa.Boolean)
    found_ratio: Mapped[float | None] = mapped_column(sa.Double)
    left_ratio: Mapped[float | None] = mapped_column(sa.Double)
    typed: Mapped[Any] = mapped_column(Json)
    content: Mapped[bytes] = mapped_column(sa.LargeBinary(32))
